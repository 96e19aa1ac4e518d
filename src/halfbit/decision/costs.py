"""What makes a reading of the times less likely, and by how much.

A cost is the negative logarithm of how likely something is, in nepers. Costs order readings: how often each thing happens
need only be about right. The figures are those with which ``tests/trial`` read most and gave nothing that was not sent.
"""

from __future__ import annotations

import math

import attrs

__all__ = ["ADRIFT", "BEAM", "Costs", "How", "MOST", "NARROW", "RIVAL", "SURELY", "costs_of"]

#: Readings followed; more, up to ``MOST``, as long as they are nearly as likely as the best: up to ``RIVAL`` costlier.
BEAM = 14
MOST = 64
RIVAL = 5.0
#: Readings this much costlier than the best are dropped.
SURELY = 14.0
#: A preamble that starts although the best reading is amid a packet.
ADRIFT = 8.0
#: A change that fits, but leaves less than this of the lateness possible so far, may be another one.
NARROW = 1.0


class How:
    """What a reading assumes beside the bits: flags, plain numbers since thousands are joined."""

    MISSED = 1
    DOUBLED = 2
    SPIKE = 4
    LATE = 8
    TURN = 16
    STRETCHED = 32
    CUTOUT = 64


@attrs.frozen
class Costs:
    """The cost of each thing, nepers."""

    #: A change that is not in the capture.
    missed: float = 6.0
    #: A change that was noted twice, and one of a spike's two.
    doubled: float = 5.0
    spike: float = 7.0
    #: A change seen earlier or later than changes are.
    late: float = 6.0
    #: The same where the time since the change before is too short for a long turn.
    late_short: float = 6.0
    #: Two changes missing between two that are seen, and four: in one long turn of a loop, or in two.
    turn: float = 11.0
    turns: float = math.inf
    #: Three halves in one duration that ends late.
    turn_late: float = math.inf
    #: A stretched zero.
    stretched: float = 8.0
    #: The end bit's last half runs into a cutout.
    cutout: float = 3.0


#: Lateness from which on a capture is one of a loop that polls, ns: interrupts and timers see changes sooner.
POLLED = 25_000


def costs_of(rare: int, late: int, stretched: float) -> Costs:
    """The costs for a capture.

    :param rare: the lateness in a loop's long turns, ns; 0 if there are none.
    :param late: the usual lateness, ns. A loop that polls sees no change twice, and misses them in twos.
    :param stretched: share of the zeros that are stretched, 0 to 1.
    """
    stretch = min(max(-math.log(max(stretched, 1e-9)), 0.1), 8.0)
    if not rare and late < POLLED:
        return Costs(stretched=stretch)
    polled = Costs(missed=math.inf, doubled=math.inf, spike=math.inf, late=9.0, late_short=9.0, stretched=stretch)
    if not rare:
        return polled
    return attrs.evolve(polled, late=4.5, late_short=7.0, turn=3.0, turns=7.5, turn_late=7.5)
