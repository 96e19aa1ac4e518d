"""The costs of assumptions that make a reading of the times less likely.

A cost is the negative natural logarithm of a probability, in nepers. Costs only sort readings, so the probabilities
need only be about right. With these values ``tests/trial`` read the most packets and gave no packet that was not
sent.
"""

from __future__ import annotations

import math

import attrs

from ..limits import US

__all__ = [
    "ADRIFT", "BEAM", "CHANCE", "CLEAR", "COST", "COST_HALF_STRETCHED", "Costs", "How", "MANY", "MOST",
    "NARROW", "POLLED", "REPEATED", "RIVAL", "RIVAL_ONE_EDGE", "SURELY", "costs_of",
]

#: Number of readings followed. Up to ``MOST`` are followed if they cost at most ``RIVAL`` more than the best.
BEAM = 14
MOST = 128
RIVAL = 5.0
#: The same for captures of one edge with stretched zeros, because many readings fit these.
RIVAL_ONE_EDGE = 7.0
#: There, a packet that was clear before is this much likelier, nepers, because stations repeat packets, and a new one
#: may be any other. And the number of such packets that are remembered.
REPEATED = 2.5
CLEAR = 64
#: Readings that cost this much more than the best are dropped.
SURELY = 12.0
#: Cost of starting a preamble while the best reading is inside a packet.
ADRIFT = 8.0
#: A change narrows down the possible lateness. If it narrows it by this much or more, nepers, the change may be a
#: wrong one.
NARROW = 1.0
#: Share of stretched zeros from which there are many, 0 to 1.
MANY = 0.1
#: With one edge, a stretched zero may end just where another reading expects a change. This costs the logarithm of this
#: time, ns, over the lateness: so little that, at 3 us, one such chance is not enough for the margin, but two are. It
#: costs less if the station stretches zeros by few different times.
CHANCE = 110 * US


class How:
    """Flags for what a reading assumes besides the bits. Plain ints for speed, because thousands are combined."""

    MISSED = 1
    DOUBLED = 2
    SPIKE = 4
    LATE = 8
    TURN = 16
    STRETCHED = 32
    CUTOUT = 64


@attrs.frozen
class Costs:
    """The cost of each assumption, nepers."""

    #: A change that is not in the capture.
    missed: float = 6.0
    #: A change that was recorded twice, and one of the two changes of a spike.
    doubled: float = 5.0
    spike: float = 7.0
    #: A change seen earlier or later than the usual lateness allows.
    late: float = 6.0
    #: The same, if the time since the change before is too short for a long turn.
    late_short: float = 6.0
    #: Two missing changes in a row (one long turn of a loop), and four (two long turns).
    turn: float = 11.0
    turns: float = math.inf
    #: Three halves in one duration that ends late.
    turn_late: float = math.inf
    #: A stretched zero.
    stretched: float = 8.0
    #: A packet end bit whose last half runs into a cutout.
    cutout: float = 1.5
    #: Highest cost of a packet for each of its half-bits, in addition to :data:`COST`.
    per_half: float = 0.3
    #: By how much a reading with a wrong error detection byte may be likelier than a packet.
    refused: float = 3.0

    def cheapest(self) -> float:
        """The least cost of an error or a stretched zero. A cutout is not an error."""
        errors = self.missed, self.doubled, self.spike, self.late, self.late_short, self.turn, self.turns
        return min(*errors, self.stretched)


#: Highest cost of a packet, nepers, and the addition for each half-bit if zeros are stretched.
COST = 12.0
COST_HALF_STRETCHED = 0.6
#: From this lateness on, ns, a capture comes from a polling loop. Interrupts and timers see changes sooner.
POLLED = 25_000


def costs_of(rare: int, late: int, stretched: float) -> Costs:
    """The costs for a capture.

    :param rare: the lateness in a loop's long turns, ns; 0 if there are no long turns.
    :param late: the usual lateness, ns. A polling loop misses changes in long turns only, in pairs, and doubles none.
    :param stretched: share of the zeros that are stretched, 0 to 1.
    """
    stretch = min(max(-math.log(max(stretched, 1e-9)), 0.1), 8.0)
    if not rare and late < POLLED:
        return Costs(stretched=stretch)
    errors = dict.fromkeys(("missed", "doubled", "spike", "turn"), math.inf)
    polled = Costs(**errors, late=9.0, late_short=9.0, stretched=stretch)
    if not rare:
        # No change is later than the loop's period, so more than one such error is not believed.
        return attrs.evolve(polled, per_half=0.15)
    return attrs.evolve(polled, late=4.5, late_short=7.0, turn=3.0, turns=7.5, turn_late=7.5, per_half=0.8, refused=2.0)
