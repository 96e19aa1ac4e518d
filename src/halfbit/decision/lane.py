"""One phase of the decision by sum: twos of half-bits to bits, and the core's layer 4 on them."""

from __future__ import annotations

from collections.abc import Sequence

from .. import core
from ..event import Cutout, Fault, FaultKind, Packet
from ..ledger import CUTOUT_MAX, CUTOUT_MIN, Element, Ledger
from ..limits import US, Limits
from .lengths import MOST, Lengths

__all__ = ["Lane", "joined"]

#: Middle between ones and zeros if nearly all zeros are stretched, ns beyond a one: latency of a loop of 42 us leaves it.
BEYOND = 42 * US
NEVER = -1  # a difference no two halves keep: with fixed phases, the core is not to look for another


class Lane:
    """Halves of bits in; packets, and what is lost between them, out."""

    def __init__(self, limits: Limits, lengths: Lengths, start: int) -> None:
        self._packets = core.Packets(NEVER, limits.preamble_min, limits.packet_min, limits.packet_max)
        self._ledger = Ledger(self._packets, limits, start)
        self._latency = limits.latency_max
        self._shortest = 2 * limits.one_min
        self._longest = 2 * limits.zero_max
        #: When the start bit of the packet begun last started, ns.
        self.opened = start
        #: What this lane has lost since the last packet was given, as one stretch.
        self.lost: Fault | Cutout | None = None
        self.learn(lengths)

    def learn(self, lengths: Lengths) -> None:
        """Go on with other lengths."""
        self._one = lengths.one
        self._middle = lengths.one + (lengths.zero_first + lengths.zero_last) // 2
        if lengths.stretched > MOST:
            self._middle = 2 * lengths.one + BEYOND  # hardly a zero is as short as that

    @property
    def inside(self) -> bool:
        """Whether a packet is under way."""
        return self._ledger.inside

    def feed(self, first: int, last: int, end: int, halves: Sequence[int]) -> Packet | None:
        """Take one bit's halves; the last ends at ``end``, ns.

        :param halves: the durations up to there, ns.
        """
        duration = first + last
        if duration < self._shortest:
            bit = core.SHORT
        elif duration > self._longest:
            bit = core.LONG
        else:
            bit = core.ONE if duration <= self._middle else core.ZERO
        cutout = bit == core.ZERO and self._runs_into_cutout(last)
        answer = self._packets.feed(core.ONE if cutout else bit, first, last)
        if answer == core.MORE:
            return None
        start = end - duration
        if answer == core.START:
            self.opened = start
        if cutout:
            end += self._one - last
        event = self._ledger.answer(answer, Element(bit, start, end, start, duration), halves)
        if isinstance(event, Packet):
            return event
        if event is not None:
            self.lost = joined(self.lost, event)
        return None

    def finish(self, end: int) -> None:
        """The capture ends here: what was under way is lost."""
        fault = self._ledger.finish(end)
        if fault is not None:
            self.lost = joined(self.lost, fault)

    def refuse(self, packet: Packet) -> None:
        """A packet of this lane is not one: its times do not fit its bits, or fit another's too."""
        self.lost = joined(self.lost, Fault(FaultKind.UNCLEAR, packet.start, packet.end, packet.start))

    def _runs_into_cutout(self, last: int) -> bool:
        """Whether a cutout begins within the end bit's last half."""
        packets, latency = self._packets, self._latency
        return (
            CUTOUT_MIN + self._one - latency <= last <= CUTOUT_MAX + 3 * self._one + latency
            and packets.state == core.SEPARATOR
            and packets.check == 0
            and packets.length >= packets.packet_min
        )


def joined(lost: Fault | Cutout | None, event: Fault | Cutout) -> Fault | Cutout:
    """Two stretches as one that names the first fault: a lane may lose much before a packet comes."""
    if isinstance(lost, Fault):
        return Fault(lost.kind, lost.start, event.end, lost.at, lost.detail, lost.data, lost.count + _count(event))
    if isinstance(lost, Cutout):
        if isinstance(event, Cutout):
            return Cutout(lost.start, event.end)
        return Fault(event.kind, lost.start, event.end, event.at, event.detail, event.data, event.count)
    return event


def _count(event: Fault | Cutout) -> int:
    return event.count if isinstance(event, Fault) else 0
