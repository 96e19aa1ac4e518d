"""Learns the lengths of the station's half-bits from packets that were read. They are never assumed.

By the standard, a station's halves of ones last 55 to 61 us, halves of zeros 95 us or more, and the two halves of a bit
may differ (S-9.1 A, table 1). In addition, the capture's clock may be inaccurate.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import accumulate, pairwise
from operator import sub
from statistics import fmean, median_low
from typing import NamedTuple

from ..limits import US

__all__ = [
    "ALL", "BETWEEN", "WITHIN", "NOMINAL", "SLACK", "Lengths", "Piece", "bits_of", "groups_of",
    "learned", "piece_of", "pieces_of", "spread", "whole_piece",
]  # fmt: skip

#: How far a half-bit may be from the learned length, ns.
SLACK = 300
#: A zero's half is stretched if it is longer than usual by more than the latency and this, ns.
STRETCHED = 8 * US
#: Up to this share of stretched zeros, they are probably late changes instead.
SOME = 0.01
#: Above this share of stretched zeros, the length of normal zeros cannot be learned. Then a zero's half is taken to be
#: LEAST ns longer than a one's half, the least by the standard (S-9.1 A, table 1: zeros from 95 us, ones up to 61 us).
MOST = 0.6
LEAST = 34 * US
#: How far approximate lengths may be off, ns.
NEAR = 3 * US
#: Most changes in a row that may be missing.
MISSING = 4
#: Totals that are off by more than the latency and this, ns, are left out.
OFF = 4 * US
#: Number of one-bits before the start bit that are used.
PREAMBLE = 13

ALL, BETWEEN, WITHIN = range(3)  #: Which changes a capture holds.

#: The half-bits in one duration. Each is a pair: the bit (1 or 0), and 1 for the bit's last half, else 0.
Halves = tuple[tuple[int, int], ...]
#: Consecutive durations, ns, each with the half-bits in it.
Piece = list[tuple[int, Halves]]
#: The changes of a piece: number of one-halves and of zero-halves before each, and its time, ns.
Run = list[tuple[int, int, float]]


class Lengths(NamedTuple):
    """Lengths of half-bits, as sent by this station and measured by this clock, ns."""

    #: Half of a one-bit: the mean of both halves.
    one: int
    zero_first: int
    zero_last: int
    #: A one-bit's first half minus its last half.
    one_difference: int = 0
    #: Share of the zeros that are stretched, 0 to 1.
    stretched: float = 0.0
    #: Share of the pairs of stretched zeros that are stretched by the same time, 0 to 1.
    alike: float = 0.0

    def half(self, kind: int, last: int) -> int:
        """Length of a half-bit, ns. ``kind`` is 1 or 0; ``last`` is 0 for the first half of a bit, 1 for the last."""
        if kind:
            return self.one
        return self.zero_last if last else self.zero_first

    def towards(self, other: Lengths) -> Lengths:
        """The weighted mean: 3 parts these lengths (from many packets), 1 part ``other`` (from a few packets)."""
        one, first, last, difference = ((3 * old + new) // 4 for old, new in zip(self[:4], other[:4]))
        return Lengths(one, first, last, difference, *((3 * old + new) / 4 for old, new in zip(self[4:], other[4:])))

    def of(self, halves: Halves) -> int:
        """Total length of some half-bits, ns."""
        return sum(self.half(kind, last) for kind, last in halves)


#: Nominal lengths (S-9.1 A, table 1). Surveys and diagnoses start to measure with them; no decision rests on them.
NOMINAL = Lengths(58 * US, 100 * US, 100 * US)


def bits_of(data: bytes) -> list[int]:
    """The bits of a packet from its start bit to its end bit (S-9.2 A)."""
    bits = []
    for byte in data:
        bits += [0, *(byte >> place & 1 for place in range(7, -1, -1))]
    return [*bits, 1]


def groups_of(bits: Iterable[int], changes: int = ALL) -> list[Halves]:
    """The half-bits of bits, those between two changes of the capture together.

    :param changes: which changes the capture holds: ``ALL``, those ``BETWEEN`` bits, or those ``WITHIN`` bits. The
        last leaves out the first half of the first bit and the last half of the last one.
    """
    halves = [(bit, last) for bit in bits for last in (0, 1)]
    if changes == ALL:
        return [(half,) for half in halves]
    first = 0 if changes == BETWEEN else 1
    return list(zip(halves[first::2], halves[first + 1 :: 2]))


def piece_of(bits: Sequence[int], durations: Iterable[int]) -> Piece:
    """Combine bits with the durations of their half-bits, ns. No duration may be missing."""
    return list(zip(durations, groups_of(bits)))


def whole_piece(data: bytes, preamble: int, end: int, times: Sequence[int]) -> list[Piece]:
    """A packet's durations, if all its changes are in ``times``; an empty list if not.

    :param preamble: number of one-bits before the start bit. At most :data:`PREAMBLE` of them are used.
    :param end: end of the packet, ns.
    :param times: of the changes, ns.
    """
    bits = [1] * min(preamble - 1, PREAMBLE) + bits_of(data)
    last = bisect_left(times, end)
    first = last - 2 * len(bits)
    if first < 0 or last == len(times) or times[last] != end:
        return []
    return [piece_of(bits, [after - before for before, after in pairwise(times[first : last + 1])])]


def pieces_of(
    data: bytes, end: int, times: Sequence[int], lengths: Lengths, latency: int, changes: int = ALL
) -> list[Piece]:
    """The durations of a packet whose half-bits are clear, from about its preamble on.

    :param end: end of the packet, ns.
    :param times: of the changes around it, ns.
    :param lengths: approximate lengths of the half-bits.
    :param latency: longest time from a change until it is seen, minus the shortest, ns.
    :param changes: which changes the capture holds: ``ALL``, those ``BETWEEN`` bits, or those ``WITHIN`` bits.
    """
    groups = groups_of([1] * PREAMBLE + bits_of(data), changes)
    return _aligned(groups, end - lengths.one if changes == WITHIN else end, times, lengths, latency)


def _aligned(groups: Sequence[Halves], end: int, times: Sequence[int], lengths: Lengths, latency: int) -> list[Piece]:
    """Match half-bits with changes, from the last one backwards. Half-bits that do not match are left out."""
    near = latency + NEAR
    at = bisect_left(times, end - near)
    while at + 1 < len(times) and abs(times[at + 1] - end) <= abs(times[at] - end):
        at += 1
    pieces: list[Piece] = [[]]
    seen = at < len(times) and abs(times[at] - end) <= near
    now = times[at] if seen else end
    for place in range(len(groups) - 1, -1, -1):
        halves = groups[place]
        expected = now - lengths.of(halves)
        while at > 0 and times[at - 1] > expected + near:
            at, seen = at - 1, False  # an extra change, or a late one
        if at == 0:
            break
        before = times[at - 1]
        fits = before >= expected - near
        if not fits and not all(kind for kind, _ in halves):
            # A stretched zero, unless the change fits an earlier half-bit.
            further = accumulate(map(lengths.of, groups[place - 1 : max(place - MISSING, 0) - 1 : -1]), initial=0)
            fits = all(abs(expected - before - length) > near for length in further)
        if fits and seen:
            pieces[-1].append((now - before, halves))
        elif pieces[-1]:
            pieces.append([])
        at, now, seen = (at - 1, before, True) if fits else (at, expected, False)
    return [piece[::-1] for piece in pieces if piece]


def learned(pieces: Iterable[Piece], latency: int, rare: int = 0) -> Lengths | None:
    """Learn the lengths of half-bits from packets; ``None`` if the packets are not enough.

    :param latency: longest time from a change until it is seen, minus the shortest, ns.
    :param rare: the same in a loop's long turns, ns; 0 if there are no long turns.
    """
    pieces = list(pieces)
    by_halves: dict[Halves, list[int]] = {}
    for piece in pieces:
        for duration, halves in piece:
            by_halves.setdefault(halves, []).append(duration)
    middles = {halves: _middle(durations, latency) for halves, durations in by_halves.items()}
    means = {
        halves: fmean(d for d in durations if abs(d - middles[halves]) <= latency + OFF)
        for halves, durations in by_halves.items()
    }
    most = {halves: middle + latency + STRETCHED for halves, middle in middles.items()}
    over = sorted(d - most[halves] - rare for halves, all_ in by_halves.items() for d in all_ if not _ones(halves))
    if not over or not any(map(_ones, by_halves)):
        return None
    one, zero = _fitted(list(_runs(pieces, most, means)), means, latency)
    if not 0 < one < zero:
        return None
    first, last = _apart(means, zero)
    ones = [means.get(((1, last),), one) for last in (0, 1)]
    share = fmean(more > 0 for more in over)
    if share <= SOME:
        return Lengths(round(one), round(first), round(last), round(ones[0] - ones[1]))
    # Slightly stretched zeros count as normal zeros, so normal zeros are shorter than the mean. The median will not do:
    # a loop of 40 us sees all of them last one turn, or two.
    zero = _zero(means, one)
    first, last = _apart(means, zero - latency // 16)
    if share > MOST:
        first, last = min(first, one + LEAST), min(last, one + LEAST)
    longer = over[bisect_right(over, 0) :]
    pairs = sum(bisect_right(longer, more + (latency + US) // 2) - at for at, more in enumerate(longer, 1))
    alike = 2 * pairs / max(len(longer) * (len(longer) - 1), 1)
    return Lengths(round(one), round(first), round(last), round(ones[0] - ones[1]), share, alike)


def _middle(durations: list[int], latency: int) -> int:
    """The median of durations of one kind, without stretched ones, ns; the least, if most are stretched."""
    ordered = sorted(durations)
    least = ordered[len(ordered) // 20]
    plain = ordered[: bisect_right(ordered, least + 2 * latency + STRETCHED)]
    return median_low(plain) if 2 * len(plain) > len(ordered) else least


def _ones(halves: Halves) -> int:
    """The number of half-bits, if all are halves of ones; else 0."""
    return len(halves) if all(kind for kind, _ in halves) else 0


def _fitted(runs: list[Run], means: dict[Halves, float], latency: int) -> tuple[float, float]:
    """Half of a one and half of a zero, ns, fitted to all changes of the runs without outliers; 0 if that fails.

    Outliers come from slightly stretched zeros and from changes matched to the wrong half-bit.
    """
    one = fmean(mean / _ones(halves) for halves, mean in means.items() if _ones(halves))
    zero = _zero(means, one)
    for each in (US, US // 4):
        points: list[tuple[float, ...]] = []  # from the middle of their run
        for run in runs:
            late = [time - ones * one - zeros * zero for ones, zeros, time in run]
            if max(late) - min(late) <= latency + OFF + each * len(run):
                middle = [fmean(column) for column in zip(*run)]
                points += (tuple(map(sub, point, middle)) for point in run)
        ones_ones, ones_zeros, zeros_zeros, ones_time, zeros_time = (
            sum(point[a] * point[b] for point in points) for a, b in ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2))
        )
        weight = ones_ones * zeros_zeros - ones_zeros * ones_zeros
        if weight <= 0:
            return 0.0, 0.0
        one = (zeros_zeros * ones_time - ones_zeros * zeros_time) / weight
        zero = (ones_ones * zeros_time - ones_zeros * ones_time) / weight
    return one, zero


def _zero(means: Mapping[Halves, float], one: float) -> float:
    """The mean half of a zero, ns.

    :param one: half of a one, ns.
    """
    return fmean(
        (mean - one * sum(kind for kind, _ in halves)) / sum(not kind for kind, _ in halves)
        for halves, mean in means.items()
        if not _ones(halves)
    )


def _runs(pieces: Iterable[Piece], most: dict[Halves, int], means: dict[Halves, float]) -> Iterator[Run]:
    """The changes of pieces, split at stretched zeros, as if both halves of a bit were of the same length."""
    mirrored = {halves: tuple((kind, 1 - last) for kind, last in halves[::-1]) for halves in means}
    longer = {halves: (mean - means.get(mirrored[halves], mean)) / 2 for halves, mean in means.items()}
    for piece in pieces:
        run: Run = [(0, 0, 0.0)]
        for duration, halves in piece:
            if duration > most[halves]:
                yield run
                run = [(0, 0, 0.0)]
            else:
                ones, zeros, time = run[-1]
                kinds = sum(kind for kind, _ in halves)
                run.append((ones + kinds, zeros + len(halves) - kinds, time + duration - longer[halves]))
        yield run


def _apart(means: Mapping[Halves, float], zero: float) -> tuple[float, float]:
    """Both halves of a zero, ns, from their mean and the mean durations."""
    for first, last in ((((0, 0),), ((0, 1),)), (((1, 1), (0, 0)), ((0, 1), (1, 0)))):
        if first in means and last in means:
            difference = means[first] - means[last]
            return zero + difference / 2, zero - difference / 2
    return zero, zero


def spread(piece: Piece, lengths: Lengths, latency: int) -> int:
    """The latency spread: the latest change minus the earliest, ns. It starts again after each stretched zero."""
    runs = [[0]]
    for duration, halves in piece:
        off = duration - lengths.of(halves)
        if off <= latency + STRETCHED:
            runs[-1].append(off)
        else:
            runs.append([0])
    totals = [list(accumulate(run)) for run in runs]
    return max(max(total) - min(total) for total in totals)
