"""Measures the signal from decoded packets: the lengths of its bits, and how late its changes are seen.

The bits of a decoded packet are known, so each duration between its changes can be laid beside its half-bits. The
decision by sequence learns a station's lengths from that (:mod:`halfbit.decision.lengths`), and so does a survey. How
late changes are seen shows in the preambles, because all their halves are alike.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import accumulate, takewhile
from statistics import median

import attrs

from ..decision.lengths import BETWEEN, NOMINAL, PREAMBLE, WITHIN, Piece, bits_of, groups_of, learned, pieces_of
from ..event import Packet, Recovery
from ..limits import US
from .trial import Trial

__all__ = ["Fit", "fitted"]

#: Fewest packets for a fit.
FEWEST = 3
#: Fewest half-bits of a preamble that show how late changes are seen: the least that a decoder may accept, 10 one-bits
#: (S-9.2 A), without those at the ends.
LONG = 16
#: Share of the preambles, 0 to 1, whose lateness is usual. The others hold rare late changes.
USUAL = 0.95
#: If a change is later than the usual lateness by this factor, and by 2 us, it is a rare late one.
BEYOND = 1.25
#: If packets were recovered in one of these ways, not all their half-bits can be laid beside the changes.
MISSING = (Recovery.MISSED_CHANGES, Recovery.EXTRA_CHANGES, Recovery.LONG_TURNS)
#: How far a station's half-bits may be from nominal ones, ns, where changes are missing.
NEAR = 10 * US


@attrs.frozen
class Fit:
    """The signal's values as measured from decoded packets. Times in ns."""

    #: Half of a one-bit, and half of a zero-bit that is not stretched, as sent by the station.
    one: int
    zero: int
    #: Latency spread: the longest time from a change until it is seen, minus the shortest.
    late: int
    #: The median of that over the preambles.
    late_median: int
    #: The same for rare changes that are seen even later; 0 if there are no such changes.
    latency_rare: int
    #: How much longer one half of a one-bit is than the other; 0 if only one edge was captured.
    difference: int
    #: Share of the zeros that are stretched, 0 to 1.
    stretched: float
    #: Number of packets it was measured from.
    packets: int

    @property
    def usual(self) -> int:
        """The usual lateness, ns: less than ``late`` if long turns, which can hide a half, meet many preambles."""
        return self.late_median if self.latency_rare > self.one else self.late


def fitted(trial: Trial) -> Fit | None:
    """The fit to a trial's packets; ``None`` if there are too few, or if they do not agree."""
    limits = trial.limits
    late = float(limits.latency_max)
    # Which durations are whole half-bits is clearer once the true latency is known.
    for _ in range(2):
        pieces = list(_pieces(trial, round(late)))
        runs = [_preamble(piece) for piece in pieces]
        runs = [run for run in runs if sum(count for _, count in run) >= LONG]
        if len(runs) < FEWEST:
            return None
        halves = sum(count for run in runs for _, count in run)
        one = sum(duration for run in runs for duration, _ in run) / halves
        odd = 0.0 if limits.one_edge else _odd(runs) * 2 / halves
        spreads = sorted(_spread(run, one, odd) for run in runs)
        late = spreads[int(USUAL * (len(spreads) - 1))]
    lengths = learned(pieces, round(late), limits.latency_rare)
    if lengths is None:
        return None
    return Fit(
        one=round(one),
        zero=(lengths.zero_first + lengths.zero_last) // 2,
        late=round(late),
        late_median=round(median(spreads)),
        latency_rare=limits.latency_rare or round(spreads[-1]) * (spreads[-1] > BEYOND * late + 2 * US),
        difference=round(abs(odd)),
        stretched=lengths.stretched,
        packets=len(runs),
    )


def _odd(runs: Sequence[Sequence[tuple[int, int]]]) -> int:
    """By how much the first halves of all pairs together are longer than the last halves, ns."""
    return sum(duration * (1 - place % 2 * 2) for run in runs for place, (duration, _) in enumerate(run))


def _preamble(piece: Piece) -> list[tuple[int, int]]:
    """The durations of a preamble, ns, with the number of one-halves in each. Pairs of halves are complete."""
    ones = takewhile(lambda step: all(kind for kind, _ in step[1]), piece)
    run = [(duration, len(halves)) for duration, halves in ones][2:]
    return run[: len(run) // 2 * 2]


def _spread(run: Sequence[tuple[int, int]], one: float, odd: float) -> float:
    """How much later one change of a preamble is seen than another, ns. The first halves are longer by ``odd`` ns."""
    offs = (d - count * one - (odd / 2 if place % 2 == 0 else -odd / 2) for place, (d, count) in enumerate(run))
    lates = list(accumulate(offs, initial=0.0))
    return max(lates) - min(lates)


def _pieces(trial: Trial, late: int) -> Iterator[Piece]:
    """Packets with the certain part of their preambles: durations and the half-bits in them.

    If changes are missing, the parts of a packet between them.

    :param late: how late changes may be seen, ns.
    """
    for stretch in trial.stretches:
        for packet in stretch.events:
            if not isinstance(packet, Packet):
                continue
            if packet.recovered in MISSING:
                if not trial.limits.one_edge:
                    yield from pieces_of(packet.data, packet.end, stretch.times, NOMINAL, late + NEAR)
                continue
            # The first one-bit may be the end bit of the packet before, or wrong by half a bit.
            bits = [1] * min(packet.preamble - 1, PREAMBLE) + bits_of(packet.data)
            last = bisect_left(stretch.times, packet.end)
            if last == len(stretch.times):
                continue
            if not trial.limits.one_edge:
                groups = groups_of(bits)
            elif stretch.times[last] == packet.end:
                groups = groups_of(bits, BETWEEN)
            else:  # the last change is in the one-bit after the packet
                groups = groups_of([*bits, 1], WITHIN)
            first = last - len(groups)
            if first >= 0:
                yield list(zip(stretch.durations[first:last], groups))
