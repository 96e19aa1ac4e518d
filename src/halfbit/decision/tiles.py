"""Makes events from a reading: the packets found and the losses between them. All other time is idle one-bits."""

from __future__ import annotations

import math

from ..event import Cutout, Fault, FaultKind, Packet, PacketEvent, Recovery
from ..ledger import long_as_cutout
from ..limits import Limits
from .costs import How
from .reader import MARGIN, Found

__all__ = ["Tiles", "recovery_of"]

#: Ways of recovery, by what a reading assumes. The first that applies is used.
_RECOVERIES = (
    (How.TURN, Recovery.LONG_TURNS),
    (How.MISSED, Recovery.MISSED_CHANGES),
    (How.DOUBLED | How.SPIKE, Recovery.EXTRA_CHANGES),
    (How.LATE, Recovery.LATE_CHANGES),
    (How.CUTOUT, Recovery.CUTOUT),
)


def recovery_of(found: Found) -> Recovery | None:
    """How a packet was recovered; ``None`` if it had no error. A stretched zero is not an error (S-9.1 A)."""
    return next((recovery for how, recovery in _RECOVERIES if found.how & how), None)


class Tiles:
    """Takes packets and gives packets, faults and cutouts without gaps.

    :param start: start of the first event, ns.
    :param after_packet: True if a packet ended there.
    """

    def __init__(self, limits: Limits, start: int, after_packet: bool = False) -> None:
        self._limits = limits
        #: End of the last event, ns.
        self.settled: int = start
        #: True if a packet ends there.
        self.after_packet: bool = after_packet
        self._any = after_packet

    def take(self, found: Found, recovered: Recovery | None) -> list[PacketEvent]:
        """The packet, after the loss before it; nothing if the packet was not clear."""
        if found.margin < MARGIN or found.end <= self.settled:
            return []
        events = self.lose(found.run_start)
        margin = None if recovered is None else round(math.exp(found.margin))
        events.append(Packet(found.data, found.preamble, self.settled, found.end, recovered, margin))
        self.settled = found.end
        self.after_packet = self._any = True
        return events

    def lose(self, end: int, inside: bool = False) -> list[PacketEvent]:
        """The loss up to ``end``, ns: a cutout or a fault.

        :param inside: True if the capture ends there inside a packet.
        """
        start = self.settled
        if end <= start:
            return []
        self.settled = end
        after_packet, self.after_packet = self.after_packet, False
        if after_packet and long_as_cutout(end - start, self._limits):
            return [Cutout(start, end)]
        kind = FaultKind.CUT if inside or not self._any else FaultKind.UNCLEAR
        self._any = True
        return [Fault(kind, start, end, start)]
