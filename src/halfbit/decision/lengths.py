"""How long the station's half-bits are: learned from packets that were read, never assumed.

A sound station's ones last 55 to 61 us a half, its zeros 95 us and more, and the halves of a bit may differ (S-9.1 A,
table 1); a capture's clock may be off on top.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from statistics import fmean
from typing import NamedTuple

from ..limits import US

__all__ = ["Lengths", "Span", "learned", "spread"]

#: By how much more than lateness explains a zero's half is longer than a typical one, to count as stretched, ns.
STRETCHED = 8 * US


class Lengths(NamedTuple):
    """Half-bits as this station sends them and this clock counts them, ns."""

    #: Half of a one-bit, the mean of both. ``one_difference``: the first less the last.
    one: int
    zero_first: int
    zero_last: int
    one_difference: int = 0
    #: Share of the zeros that are stretched beyond that, 0 to 1.
    stretched: float = 0.0

    def half(self, kind: int, last: bool) -> int:
        """A half-bit of a kind, 1 or 0, the first or the last of its bit."""
        if kind:
            return self.one
        return self.zero_last if last else self.zero_first


class Span(NamedTuple):
    """A packet's bits from its preamble to its end bit, and the durations they last."""

    bits: Sequence[int]
    #: Of their half-bits, ns; or of twos of them, where only every second change was captured.
    durations: Sequence[int]
    #: Half-bits in each duration; and the first duration's first half-bit, 1 if it is a bit's last one.
    each: int = 1
    offset: int = 0

    def steps(self) -> Iterator[tuple[int, tuple[tuple[int, int], ...]]]:
        """Each duration, with the half-bits in it: kind, and 1 for the last of its bit."""
        halves = [(bit, last) for bit in self.bits for last in (0, 1)][self.offset :]
        return zip(self.durations, zip(*(halves[place :: self.each] for place in range(self.each))))


def learned(spans: Iterable[Span], late: int) -> Lengths | None:
    """The lengths of the half-bits of some packets; None if they do not tell.

    :param late: from a change to when it is seen, the longest time less the shortest, ns.
    """
    by_halves: dict[tuple[tuple[int, int], ...], list[int]] = {}
    for span in spans:
        for duration, halves in span.steps():
            by_halves.setdefault(halves, []).append(duration)
    most = round(1.5 * late) + STRETCHED
    means = {}
    plain = zeros = 0
    for halves, durations in by_halves.items():
        if all(kind for kind, _ in halves):
            means[halves] = fmean(durations)
            continue
        limit = sorted(durations)[len(durations) // 4] + most
        kept = [duration for duration in durations if duration <= limit]
        means[halves] = fmean(kept)
        plain, zeros = plain + len(kept), zeros + len(durations)
    return _lengths(means, 1 - plain / zeros) if zeros else None


def _lengths(means: dict[tuple[tuple[int, int], ...], float], stretched: float) -> Lengths | None:
    """The lengths, from the means of durations."""
    if ((1, 0),) in means:  # single half-bits
        ones = [means.get(((1, last),), 0.0) for last in (0, 1)]
        zeros = [means.get(((0, last),), 0.0) for last in (0, 1)]
        one, difference = fmean(ones), ones[0] - ones[1]
    else:
        split = ((1, 1), (1, 0)) in means  # each last half-bit with the next bit's first
        bits = means.get(((1, 1), (1, 0)) if split else ((1, 0), (1, 1)), 0.0)
        one, difference = bits / 2, 0.0
        if split:
            zeros = [means.get(((1, 1), (0, 0)), 0.0) - one, means.get(((0, 1), (1, 0)), 0.0) - one]
        else:
            zeros = [means.get(((0, 0), (0, 1)), 0.0) / 2] * 2
    if one <= 0 or min(zeros) <= one:
        return None
    return Lengths(round(one), round(zeros[0]), round(zeros[1]), round(difference), stretched)


def spread(span: Span, lengths: Lengths, late: int) -> int:
    """By how much more some change of a packet is late than another, ns; behind a stretched zero that starts anew."""
    runs = [[0]]
    for duration, halves in span.steps():
        off = duration - sum(lengths.half(kind, bool(last)) for kind, last in halves)
        if off > late + STRETCHED and not all(kind for kind, _ in halves):
            runs.append([])
        runs[-1].append(off)
    totals = [list(accumulate(run, initial=0)) for run in runs]
    return max(max(total) - min(total) for total in totals)
