"""Sum decision: both halves of a bit together against the midpoint.

A loop that looks at the level every so often sees each change up to one period late. The time
between two changes is then wrong by up to a period either way, and a half of a one (58 us)
and a half of a zero (100 us) are 42 us apart: beyond periods of 21 us single halves cannot be told
apart. Whole bits, 116 and 200 us, are 84 us apart: the change in their middle cancels out, and
they can be told apart up to periods of 42 us.

What is lost is the phase: which change starts a bit showed in single halves. So two lanes run
side by side, one for each phase, each with the core's layer 4. Preamble, framing and error
detection byte choose between them. Where that leaves both (one time in some hundreds the wrong
lane's bits agree by chance), drift chooses. Errors of the right lane do not add up: while its
bits are read right, no change is seen more than one period later or earlier than any other,
counted from where the bits say it should be. In the wrong lane a bit between a one and a zero
lasts 158 us; whichever it is taken for, the count is 42 us off from there on.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from .. import core
from ..ledger import Element, Ledger, long_as_cutout
from ..event import Cutout, Fault, Packet, PacketEvent
from ..limits import Limits

__all__ = ["SumReceiver"]

NEVER = -1  # a difference no two halves keep: with fixed phases, the core is not to look for another


class _Lane:
    """One phase: pairs of half-bits to packets and faults."""

    def __init__(self, limits: Limits, start: int) -> None:
        self._packets = core.Packets(
            NEVER, limits.preamble_min, limits.packet_min, limits.packet_max
        )
        self.ledger = Ledger(self._packets, limits, start)
        self._shortest = 2 * limits.one_min
        self._longest = 2 * limits.zero_max
        self._midpoint = limits.midpoint
        self._one = 2 * limits.one_nominal
        self._zero = 2 * limits.zero_nominal
        #: When the start bit of the packet begun last started.
        self.opened = start
        # How late the last change is by the bits read since then, ns; and the extremes of that.
        self._late = self._earliest = self._latest = 0
        #: What this lane has lost since the last packet was given, as one stretch.
        self.lost: Fault | Cutout | None = None

    def feed(self, first: int, last: int, end: int, halves: Sequence[int]) -> tuple[PacketEvent, ...]:
        """Take one bit's halves; the second ends at ``end``."""
        duration = first + last
        if duration < self._shortest:
            bit = core.SHORT
        elif duration > self._longest:
            bit = core.LONG
        else:
            bit = core.ONE if duration <= self._midpoint else core.ZERO
        self._drift(duration)
        answer = self._packets.feed(bit, first, last)
        if answer == core.MORE:
            return ()
        start = end - duration
        if answer == core.START:
            self.opened = start
            self._late = self._earliest = self._latest = 0
            self._drift(duration)
        event = self.ledger.answer(answer, Element(bit, start, end, start, duration), halves)
        return () if event is None else (event,)

    @property
    def drift(self) -> int:
        """How far the changes of the packet begun last disagree about when its bits began, ns."""
        return self._latest - self._earliest

    def _drift(self, duration: int) -> None:
        late = duration - (self._one if duration <= self._midpoint else self._zero)
        if late > self._zero - self._midpoint:
            return  # a stretched zero: by how much, only the station knows
        self._late += late
        self._earliest = min(self._earliest, self._late)
        self._latest = max(self._latest, self._late)


@attrs.frozen
class _Candidate:
    packet: Packet
    lane: _Lane
    opened: int
    drift: int


class SumReceiver:
    """Durations in; packets, and a fault for each stretch that was lost, out, by sums.

    A packet comes out with its end bit, except where the other phase's reading of the same
    stretch looks the better so far: then when that one has ended too. Memory and
    work for one duration are bounded.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int = 0) -> None:
        self._lanes = (_Lane(limits, start), _Lane(limits, start))
        self._turn = 0
        self._before: int | None = None
        self._keep = Ledger.history(limits)
        self._halves: list[int] = []
        self._limits = limits
        self._start = start
        self._settled = start  # how far the events given reach
        self._given = self._lanes[0]  # the lane that gave the last packet
        self._held: _Candidate | None = None
        #: The time of the last change, ns.
        self.now = start

    def feed(self, duration: int) -> tuple[PacketEvent, ...]:
        """Take one duration, ns."""
        self.now += duration
        self._halves.append(duration)
        before, self._before = self._before, duration
        if before is None:
            return ()
        lane, other = self._lanes[self._turn], self._lanes[1 - self._turn]
        self._turn = 1 - self._turn
        events = lane.feed(before, duration, self.now, self._halves)
        if len(self._halves) > 64 * self._keep:
            del self._halves[: -self._keep]
        out: tuple[PacketEvent, ...] = ()
        for event in events:
            if isinstance(event, Packet):
                out += self._offer(event, lane, other)
            else:
                lane.lost = _joined(lane.lost, event)
        if self._held is not None:
            out += self._resolve(self._held)
        return out

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, each of so many counts of ``scale`` ns."""
        events: list[PacketEvent] = []
        for duration in durations:
            events += self.feed(duration * scale)
        return events

    def finish(self) -> tuple[PacketEvent, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        out: tuple[PacketEvent, ...] = ()
        if self._held is not None:
            out = self._give(self._held)
        for lane in self._lanes:
            fault = lane.ledger.finish(self.now)
            if fault is not None:
                lane.lost = _joined(lane.lost, fault)
        # Before the first packet no lane is known to be right: the one that lost less speaks.
        lane = self._given
        if self._settled == self._start:
            lane = min(self._lanes, key=lambda lane: 0 if lane.lost is None else lane.lost.end - lane.lost.start)
        return out + self._losses(lane, self.now)

    def _offer(self, packet: Packet, lane: _Lane, other: _Lane) -> tuple[PacketEvent, ...]:
        if lane.opened < self._settled:
            return ()  # the other phase's chance hit on a packet that was given
        candidate = _Candidate(packet, lane, lane.opened, lane.drift)
        out: tuple[PacketEvent, ...] = ()
        held = self._held
        if held is not None:
            if held.packet.end <= candidate.opened:
                out = self._give(held)
            elif held.drift <= candidate.drift:
                return self._give(held)
            self._held = None
        if other.ledger.inside and other.drift < candidate.drift:
            self._held = candidate
            return out
        return out + self._give(candidate)

    def _resolve(self, held: _Candidate) -> tuple[PacketEvent, ...]:
        """Give the packet held back, once the other phase's reading has failed or begun anew."""
        other = self._lanes[self._lanes[0] is held.lane]
        if other.ledger.inside and other.opened < held.packet.end:
            return ()
        return self._give(held)

    def _give(self, candidate: _Candidate) -> tuple[PacketEvent, ...]:
        self._held = None
        packet, lane = candidate.packet, candidate.lane
        losses = self._losses(lane, packet.start)
        self._given = lane
        start = max(packet.start, self._settled) if losses else self._settled
        self._settled = packet.end
        return (*losses, attrs.evolve(packet, start=start))

    def _losses(self, lane: _Lane, end: int) -> tuple[PacketEvent, ...]:
        """What the lane lost since the last packet, without what the other lane made of it."""
        lost = lane.lost
        for each in self._lanes:
            each.lost = None
        if lost is None or min(lost.end, end) <= self._settled:
            return ()
        start = max(lost.start, self._settled)
        # With a cutout the phase may change, and the lane that goes on knows nothing of the packet before.
        behind_packet = start == self._settled > self._start
        self._settled = min(lost.end, end)
        if isinstance(lost, Cutout) or behind_packet and long_as_cutout(self._settled - start, self._limits):
            return (Cutout(start, self._settled),)
        return (attrs.evolve(lost, start=start, end=self._settled, at=max(lost.at, start)),)


def _joined(lost: Fault | Cutout | None, event: Fault | Cutout) -> Fault | Cutout:
    """Two stretches as one that names the first fault: a lane may lose much before a packet comes."""
    if lost is None:
        return event
    if isinstance(lost, Cutout):
        if isinstance(event, Cutout):
            return Cutout(lost.start, event.end)
        return attrs.evolve(event, start=lost.start)
    more = event.count if isinstance(event, Fault) else 0
    return attrs.evolve(lost, end=event.end, count=lost.count + more)
