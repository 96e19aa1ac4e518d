"""Finds the lengths of a station's half-bits if no packet is known yet: reads with guesses, learns from the packets.

A wrong guess reads almost no packets, because its errors add up. So the number of packets shows if a guess is right. A
guess within 2 us reads enough packets to learn the exact lengths.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, product
from operator import sub
from typing import NamedTuple

import attrs

from ..limits import US, Limits
from .costs import How
from .lengths import ALL, BETWEEN, SLACK, WITHIN, Lengths, Piece, learned, pieces_of, spread, whole_piece
from .reader import MARGIN, Found, SequenceReader

__all__ = ["FIRST", "Learned", "guessed", "has_preambles", "learned_from", "ones_of"]

#: Number of one-halves in a row that make a preamble: the fewest that a decoder may accept (S-9.2 A: 10 one-bits).
RUN = 20
#: Lengths of a one's half, ns: 52 to 64 us (S-9.1 A, table 1, decoder), measured by a clock that may be 8 % off.
ONES = range(48 * US, 70 * US)
#: Differences tried between a zero's and a one's half, ns, the usual ones first (S-9.1 A, table 1, station: zeros from
#: 95 us, ones from 55 to 61 us).
BEYOND = tuple(us * US for us in (42, 46, 38, 50, 54, 58, 34, 62, 66, 30))
#: The least difference, ns, used if all zeros are stretched.
LEAST = 36 * US
#: Shares of stretched zeros that are tried: the first if durations of one kind stand out as groups, else the others.
STRETCHED = (0.15, 0.0, 0.25)


class _Rough(NamedTuple):
    """Extra tolerance while lengths are not exact, ns: for the lateness of changes, and for half-bits."""

    latency: int
    slack: int


#: For lengths that stand out among the durations, and for others.
SEEN = _Rough(3 * US, US // 2)
GUESSED = _Rough(12 * US, 2 * US)
#: For lengths that were learned.
EXACT = _Rough(0, SLACK)
#: Up to this lateness, ns, durations of one kind stand out as a group; and the smallest share of all durations in a
#: group.
CLEAR = 8 * US
#: Least distance between durations of different kinds, in addition to the latency, ns.
NEAR = 10 * US
GROUP = 0.03
GROUPS = 4
#: Number of durations on which guesses are tried: about six packets.
FIRST = 800
#: Fewest durations of a packet from which its lateness is measured.
WHOLE = 40
#: A guess is accepted at once if packets are read after this share of the preambles.
ENOUGH = 0.7
#: Half-bits without a packet after which a guess is given up: about three packets.
VAIN = 350
#: Fewest packets to learn from.
FEWEST = 2


@attrs.frozen
class Learned:
    """The lengths and the latency learned from a capture."""

    lengths: Lengths
    #: Longest time from a change until it is seen, minus the shortest, ns.
    latency: int
    #: Number of packets it was learned from.
    packets: int


def guessed(durations: Sequence[int], limits: Limits, latency: int) -> Learned | None:
    """The lengths of the half-bits in some hundreds of durations; ``None`` if no guess reads packets.

    :param latency: longest time from a change until it is seen, minus the shortest, ns.
    """
    each = 2 if limits.one_edge else 1
    few = durations[:FIRST]
    one, some = ones_of(few, latency, each)
    if not some:
        return None
    preambles = ones_of(durations, latency, each)[1]
    best: Learned | None = None
    most = 0
    for lengths, rough in _guesses(few, one, latency, each):
        found = _tried(few, limits, lengths, latency, rough)
        if found is None or found.packets <= most:
            continue
        most = found.packets
        better = _refined(durations, limits, found, latency)
        if better is not None and (best is None or better.packets > best.packets):
            best = better
        if best is not None and best.packets >= ENOUGH * preambles:
            break
    return best


def has_preambles(durations: Sequence[int], limits: Limits, latency: int) -> bool:
    """True if a guess failed although there were preambles. Then a guess from durations after these will fail too."""
    return ones_of(durations[:FIRST], latency, 2 if limits.one_edge else 1)[1] >= FEWEST


def _refined(durations: Sequence[int], limits: Limits, learned: Learned, latency: int) -> Learned | None:
    """Read all durations again with the learned lengths, twice, because the guess may have been 2 us off."""
    for rough in (SEEN, EXACT):
        again = _tried(durations, limits, learned.lengths, max(latency, learned.latency), rough)
        if again is None:
            return None
        learned = again
    return learned


def _tried(durations: Sequence[int], limits: Limits, lengths: Lengths, latency: int, rough: _Rough) -> Learned | None:
    """Read with some lengths and learn from the packets; ``None`` if there are too few packets."""
    reader = SequenceReader(limits, lengths, latency + rough.latency, slack=rough.slack)
    vain = VAIN * (1 + bool(limits.latency_rare)) // (1 + limits.one_edge)
    for at, duration in enumerate(durations):
        reader.feed(duration)
        if at == vain and not reader.found:
            return None
    reader.finish()
    found = [packet for packet in reader.found if packet.margin >= MARGIN]
    if len(found) < FEWEST:
        return None
    times = list(accumulate(durations, initial=0))
    better, pieces = learned_from(found, times, lengths, limits, latency, rough.latency)
    if better is None:
        return None
    # A slightly stretched zero looks like a late change.
    whole = [] if better.stretched else [piece for piece in pieces if len(piece) >= WHOLE]
    spreads = sorted(spread(piece, better, latency) for piece in whole)
    seen = spreads[len(spreads) // 2] if spreads else 0
    return Learned(better, seen if seen <= latency + GUESSED.latency else 0, len(found))


def learned_from(
    found: Iterable[Found], times: Sequence[int], lengths: Lengths, limits: Limits, latency: int, off: int = 0
) -> tuple[Lengths | None, list[Piece]]:
    """The lengths learned from packets (``None`` if not possible), and the packets' durations.

    :param times: of the changes, ns.
    :param lengths: approximate lengths of the half-bits.
    :param off: how far these lengths may be off, ns.
    """
    found = list(found)
    pieces: list[Piece] = []
    for changes in (BETWEEN, WITHIN) if limits.one_edge else (ALL,):
        tried: list[Piece] = []
        for packet in found:
            if packet.how & ~How.STRETCHED or limits.one_edge:
                tried += pieces_of(packet.data, packet.end, times, lengths, latency + off, changes)
            else:
                tried += whole_piece(packet.data, packet.preamble, packet.end, times)
        pieces = max(pieces, tried, key=lambda pieces: sum(map(len, pieces)))
    return learned(pieces, latency, limits.latency_rare), pieces


def ones_of(durations: Sequence[int], latency: int, each: int) -> tuple[int, int]:
    """Half of a one-bit, ns, and the number of preambles; both 0 if there are no preambles."""
    count = RUN // each
    totals = list(accumulate(durations, initial=0))
    if len(totals) <= count:
        return 0, 0
    near = [duration for duration in durations if duration // each in ONES]
    frequent = next(iter(_groups(near, 0, latency)), 0) // each
    shortest = min(map(sub, totals[count:], totals)) // RUN
    # Changes recorded twice make the shortest run too short. With a loop's latency several lengths are frequent.
    for one in (frequent, shortest) if latency <= CLEAR else (shortest, frequent):
        found = _preambles(durations, one, latency, each)
        if found[1]:
            return found
    return 0, 0


def _preambles(durations: Sequence[int], one: int, latency: int, each: int) -> tuple[int, int]:
    """Half of a one-bit, ns, if ``one`` is about right, and the number of preambles; both 0 without preambles."""
    if one not in ONES:
        return 0, 0
    count = RUN // each
    halves = total = preambles = 0
    for run in _runs(durations, one * each, latency, each):
        if len(run) >= count:
            # The zero's half next to the run may look like the run's first or last one.
            inner = run[2:-2]
            halves, total, preambles = halves + len(inner) * each, total + sum(inner), preambles + 1
    return (total // halves, preambles) if halves else (0, 0)


def _runs(durations: Sequence[int], nominal: int, latency: int, each: int) -> Iterator[list[int]]:
    """Runs of durations whose changes can all be ``nominal`` ns apart."""
    run: list[int] = []
    low, high = 0, latency
    for duration in durations:
        low = max(low + duration - nominal - each * GUESSED.slack, 0)
        high = min(high + duration - nominal + each * GUESSED.slack, latency)
        if low <= high:
            run.append(duration)
            continue
        yield run
        run, low, high = [], 0, latency
    yield run


def _guesses(durations: Sequence[int], one: int, latency: int, each: int) -> Iterator[tuple[Lengths, _Rough]]:
    """Lengths to try, the likeliest first."""
    pairs: list[tuple[int, int]] = []
    clear = latency <= CLEAR
    if clear:
        groups = _groups(durations, one * each + latency + NEAR, latency)
        if each == 1:
            pairs = list(product(groups, groups))
        else:
            pairs = [(group // 2, group // 2) for group in groups]
            split = [(first - one, last - one) for first, last in product(groups, groups)]
            # With two zeros in a row, a duration of one edge is as long as both halves together.
            split.sort(key=lambda pair: min(abs(sum(pair) - group) for group in groups) > latency + NEAR)
            pairs += split
        pairs = [pair for pair in pairs if min(pair) > one]
    for stretched in (STRETCHED[:1] if clear else STRETCHED[1:]):
        for first, last in pairs:
            yield Lengths(one, first, last, 0, stretched), SEEN
        for beyond in BEYOND:
            yield Lengths(one, one + beyond, one + beyond, 0, stretched), GUESSED
    yield Lengths(one, one + LEAST, one + LEAST, 0, 1.0), GUESSED


def _groups(durations: Sequence[int], least: int, latency: int) -> list[int]:
    """Frequent lengths above ``least``, ns, the most frequent first."""
    width = latency // 2 + 4 * US
    bins = Counter(duration // US for duration in durations if duration >= least)
    groups: list[int] = []
    while bins and len(groups) < GROUPS:
        (top, _), = bins.most_common(1)
        near = [us for us in bins if abs(us - top) * US <= width]
        count = sum(bins[us] for us in near)
        if count < GROUP * len(durations):
            break
        groups.append(sum((us * US + US // 2) * bins[us] for us in near) // count)
        for us in near:
            del bins[us]
    return groups
