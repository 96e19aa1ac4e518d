"""Decision by sum: a bit is decided by the sum of its two halves.

The rules stand in ``core_sum.py``, for boards and for the library alike. Here they get times: each lane of the core has
a ledger, which knows what the lane reads and what it loses. Only the losses of the lane that gives a packet count.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from .. import core, core_sum
from ..event import Cutout, Fault, FaultKind, Packet, PacketEvent
from ..ledger import Element, Ledger, long_as_cutout
from ..limits import UNIT, US, Limits

__all__ = ["SumReceiver"]

#: Number of past half-bits that are kept for the ledgers.
KEPT = 600


class _Times:
    """What one lane of the core reads, with times."""

    def __init__(self, limits: Limits, lane: core_sum.Lane, start: int) -> None:
        self.ledger = Ledger(lane.packets, limits, start)
        #: The loss in this lane since the last packet was given or held, as one stretch.
        self.lost: Fault | Cutout | None = None
        #: Packets that are held, each with the loss before it.
        self.held: list[tuple[Fault | Cutout | None, Packet]] = []

    def lose(self, event: Fault | Cutout) -> None:
        """Record a loss."""
        self.lost = _joined(self.lost, event)

    def give_up(self) -> None:
        """Record the held packets as lost."""
        held, rest = self.held, self.lost
        self.held, self.lost = [], None
        for lost, packet in held:
            if lost is not None:
                self.lose(lost)
            self.lose(Fault(FaultKind.UNCLEAR, packet.start, packet.end, packet.start))
        if rest is not None:
            self.lose(rest)


class SumReceiver:
    """Takes durations, decides by sums, and gives packets and a fault for each lost stretch.

    The first half-bits are kept until the lengths of bits can be learned from them. After that, a packet
    comes out with its end bit if the phase is clear. If not, it comes out within 60 ms or becomes a fault. Memory, and
    work per duration, are bounded.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int = 0) -> None:
        self._core = machine = limits.sums_core()
        self._times = {lane: _Times(limits, lane, start) for lane in machine.lanes}
        self._limits = limits
        self._start = self._settled = start  # end of the last returned event, ns
        self._read = start  # end of the durations that are taken, ns
        self._waiting: list[int] = []  # durations that the core keeps, ns
        self._halves: list[int] = []  # durations that it has taken, ns
        self._given: _Times | None = None  # the lane that gave the last packet
        #: The time of the last change, ns.
        self.now: int = start
        self._counted = 0  # the time since the start in the core's units

    def feed(self, duration: int) -> tuple[PacketEvent, ...]:
        """Take one duration, ns."""
        self.now += duration
        before, self._counted = self._counted, (self.now - self._start) * UNIT // US
        machine = self._core
        machine.keep(self._counted - before)
        waiting = self._waiting
        waiting.append(duration)
        if machine.known:
            return self._take()
        if machine.behind < len(waiting):
            given_up = len(waiting) - machine.behind
            self._read += sum(waiting[:given_up])
            del waiting[:given_up]
        return ()

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, in counts of ``scale`` ns each."""
        events: list[PacketEvent] = []
        for duration in durations:
            events += self.feed(duration * scale)
        return events

    def finish(self) -> tuple[PacketEvent, ...]:
        """End of the capture: a packet that has begun becomes a fault, and a loss ends here."""
        self._core.finish()
        out = self._take()
        for times in self._times.values():
            times.give_up()
            fault = times.ledger.finish(self.now)
            if fault is not None:
                times.lose(fault)
        # Before the first packet the right lane is not known, so the lane that lost less is used.
        given = self._given or min(
            self._times.values(), key=lambda times: 0 if times.lost is None else times.lost.end - times.lost.start
        )
        return out + self._losses(given.lost, self.now)

    def _take(self) -> tuple[PacketEvent, ...]:
        """Let the core take all durations that it keeps."""
        machine, halves = self._core, self._halves
        out: tuple[PacketEvent, ...] = ()
        for duration in self._waiting:
            self._read += duration
            halves.append(duration)
            machine.take()
            if machine.answer != core.MORE:
                out += self._answer(machine.answer)
        self._waiting.clear()
        if len(halves) > 2 * KEPT:
            del halves[:-KEPT]
        return out

    def _answer(self, answer: int) -> tuple[PacketEvent, ...]:
        """Take an answer of the core's lane."""
        machine, halves = self._core, self._halves
        times = self._times[machine.lane]
        duration = halves[-2] + halves[-1]
        start = self._read - duration
        event = times.ledger.answer(answer, Element(machine.bit, start, self._read, start, duration), halves)
        if machine.dropped:
            times.give_up()
        if not isinstance(event, Packet):
            if event is not None:
                times.lose(event)
            return ()
        if machine.verdict == core_sum.CHANCE:
            return ()
        if machine.verdict == core_sum.UNSURE:
            times.lose(Fault(FaultKind.UNCLEAR, event.start, event.end, event.start))
            return ()
        times.held.append((times.lost, event))
        times.lost = None
        if machine.verdict == core_sum.HELD:
            return ()
        out: tuple[PacketEvent, ...] = ()
        for lost, packet in times.held:
            out += self._give(lost, packet)
        for each in self._times.values():
            each.held.clear()
            each.lost = None
        self._given = times
        machine.due = 0
        return out

    def _give(self, lost: Fault | Cutout | None, packet: Packet) -> tuple[PacketEvent, ...]:
        losses = self._losses(lost, packet.start)
        start = max(packet.start, self._settled) if losses else self._settled
        self._settled = packet.end
        return (*losses, attrs.evolve(packet, start=start))

    def _losses(self, lost: Fault | Cutout | None, end: int) -> tuple[PacketEvent, ...]:
        """The losses of a lane since the last packet, without the part that the other lane has read."""
        if lost is None or min(lost.end, end) <= self._settled:
            return ()
        start = max(lost.start, self._settled)
        if isinstance(lost, Cutout) and self._settled > self._start:
            start = self._settled  # this lane may end the packet before it half a bit later
        # The phase may change at a cutout. Then the lane that continues does not know the packet before.
        behind_packet = start == self._settled > self._start
        self._settled = min(lost.end, end)
        if isinstance(lost, Cutout) or behind_packet and long_as_cutout(self._settled - start, self._limits):
            return (Cutout(start, self._settled),)
        return (attrs.evolve(lost, start=start, end=self._settled, at=max(lost.at, start)),)


def _joined(lost: Fault | Cutout | None, event: Fault | Cutout) -> Fault | Cutout:
    """Join two lost stretches into one with the first fault's kind. A lane may lose much before a packet comes."""
    if lost is None:
        return event
    if isinstance(lost, Cutout):
        if isinstance(event, Cutout):
            return Cutout(lost.start, event.end)
        return attrs.evolve(event, start=lost.start)
    more = event.count if isinstance(event, Fault) else 0
    return attrs.evolve(lost, end=event.end, count=lost.count + more)
