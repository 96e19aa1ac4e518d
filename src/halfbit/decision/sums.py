"""Sum decision: both halves of a bit together.

A loop that looks at the level every so often sees each change up to one period late. The time
between two changes is then wrong by up to a period either way, and a half of a one (58 us)
and a half of a zero (100 us) are 42 us apart: beyond periods of 21 us single halves cannot be told
apart. Whole bits, 116 and 200 us, are 84 us apart: the change in their middle cancels out.

What is lost is the phase: which change starts a bit showed in single halves. So two lanes run
side by side, one for each phase, each with its :class:`~.boundaries.Boundaries` and the core's layer 4. Preamble,
framing and error detection byte are no proof of the phase: an idle packet, FF 00 FF, reads 7F 00 7F in the wrong
one. The strain is. A packet is given if the other lane showed so much more strain since its start bit that, together
with what was seen before, the phase is clear. The past may help, but only a packet that shows little strain
itself, and no more than the other lane: a change lost or added turns the phase. Until the phase is clear a packet is
held; what stays unclear is a fault.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from .. import core
from ..event import Cutout, Fault, FaultKind, Packet, PacketEvent
from ..ledger import Element, Ledger, long_as_cutout
from ..limits import US, Limits
from .boundaries import CLEARLY, Boundaries, Lengths, cost_of, learned

__all__ = ["SumReceiver"]

NEVER = -1  # a difference no two halves keep: with fixed phases, the core is not to look for another

#: Half-bits from which the lengths are learned: whatever they start with, a preamble and a packet behind it are whole.
LEARN = 240
#: Half-bits that are kept at most while they cannot.
LEARN_MAX = 4 * LEARN
#: Looks back, one every 240 half-bits, without a packet after which the lengths are learned anew, at most.
PATIENCE_MAX = 15
#: A packet's own strain, at most.
OWN_MAX = 100
#: By how much its own time must speak for its lane where most zeros are stretched (elsewhere, never against it); and
#: together with what was seen before.
OWN_CLEAR, CLEAR = 1, 50
#: What was seen before counts for no more than this: the phase may have turned.
PAST_MAX = 60
#: From here on a lane teaches the lengths.
TEACHER = 30
#: Longest that a packet is held, ns.
HELD_MAX = 60_000 * US


class _Lane:
    """One phase: pairs of half-bits to packets and faults."""

    def __init__(self, limits: Limits, start: int, lengths: Lengths) -> None:
        self._packets = core.Packets(NEVER, limits.preamble_min, limits.packet_min, limits.packet_max)
        self.ledger = Ledger(self._packets, limits, start)
        self.boundaries = Boundaries(lengths)
        self._shortest = 2 * limits.one_min
        self._longest = 2 * limits.zero_max
        #: When the start bit of the packet begun last started.
        self.opened = start
        #: What this lane has lost since the last packet was given or held, as one stretch.
        self.lost: Fault | Cutout | None = None
        #: Packets that are held, each with what was lost before it.
        self.held: list[tuple[Fault | Cutout | None, Packet]] = []

    def feed(self, first: int, last: int, end: int, halves: Sequence[int]) -> tuple[int, PacketEvent | None]:
        """Take one bit's halves; the second ends at ``end``. Gives the core's answer, and the event if there is one."""
        duration = first + last
        if self._shortest <= duration <= self._longest:
            bit = self.boundaries.bit(first, last)
        else:
            bit = core.SHORT if duration < self._shortest else core.LONG
            self.boundaries.lose()
        answer = self._packets.feed(bit, first, last)
        if answer == core.MORE:
            return answer, None
        start = end - duration
        if answer == core.START:
            self.opened = start
        return answer, self.ledger.answer(answer, Element(bit, start, end, start, duration), halves)

    def lose(self, event: Fault | Cutout) -> None:
        """Something is lost."""
        self.lost = _joined(self.lost, event)

    def give_up(self) -> None:
        """Packets held are lost."""
        held, rest = self.held, self.lost
        self.held, self.lost = [], None
        for lost, packet in held:
            if lost is not None:
                self.lose(lost)
            self.lose(Fault(FaultKind.UNCLEAR, packet.start, packet.end, packet.start))
        if rest is not None:
            self.lose(rest)


class SumReceiver:
    """Durations in; packets, and a fault for each stretch that was lost, out, by sums.

    The first half-bits are kept until the lengths of bits can be learned from them. From then on a packet
    comes out with its end bit if the phase is clear; if not, within 60 ms or as a fault. Memory and work for one
    duration are bounded.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int = 0) -> None:
        self._lanes: tuple[_Lane, _Lane] | None = None
        self._limits = limits
        self._start = self._settled = start  # how far the events given reach
        self._read = start  # how far durations are read
        self._halves: list[int] = []
        # How often to look back before learning anew, and how often that was done.
        self._patience = self._looked = 0
        self._turn = 0
        self._before: int | None = None
        self._given: _Lane | None = None  # the lane that gave the last packet
        # By how much more strain the second lane has shown than the first up to here; the past, bounded.
        self._level = 0
        #: The time of the last change, ns.
        self.now = start
        # For the packet begun in each lane: own strain, other's strain, and the past, at its start bit.
        self._marks = [(0, 0, 0), (0, 0, 0)]

    def feed(self, duration: int) -> tuple[PacketEvent, ...]:
        """Take one duration, ns."""
        self.now += duration
        if self._lanes is not None:
            return self._take(duration, self._lanes)
        self._halves.append(duration)
        return self._begin(False) if not len(self._halves) % LEARN else ()

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, each of so many counts of ``scale`` ns."""
        events: list[PacketEvent] = []
        for duration in durations:
            events += self.feed(duration * scale)
        return events

    def finish(self) -> tuple[PacketEvent, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        out = () if self._lanes is not None else self._begin(True)
        assert self._lanes is not None
        for lane in self._lanes:
            lane.give_up()
            fault = lane.ledger.finish(self.now)
            if fault is not None:
                lane.lose(fault)
        # Before the first packet no lane is known to be right: the one that lost less speaks.
        lane = self._given or min(
            self._lanes, key=lambda lane: 0 if lane.lost is None else lane.lost.end - lane.lost.start
        )
        return out + self._losses(lane.lost, self.now)

    def _begin(self, now: bool) -> tuple[PacketEvent, ...]:
        """Learn the lengths, if that can be done yet, then read what was kept."""
        halves = self._halves
        lengths, sure = learned(halves[-LEARN:], self._limits)
        if not (sure or now or len(halves) >= LEARN_MAX):
            return ()
        self._halves = []
        self._lengths = lengths
        lanes = self._lanes = (
            _Lane(self._limits, self._start, lengths),
            _Lane(self._limits, self._start, lengths),
        )
        return tuple(event for duration in halves for event in self._take(duration, lanes))

    def _take(self, duration: int, lanes: tuple[_Lane, _Lane]) -> tuple[PacketEvent, ...]:
        self._read += duration
        halves = self._halves
        halves.append(duration)
        if len(halves) == 2 * LEARN:
            self._look_back(halves, lanes)
        before, self._before = self._before, duration
        if before is None:
            return ()
        turn = self._turn
        self._turn = 1 - turn
        answer, event = lanes[turn].feed(before, duration, self._read, halves)
        if answer == core.MORE:
            return ()
        lane, other = lanes[turn], lanes[1 - turn]
        if answer == core.START:
            self._mark(turn, lane, other)
        elif isinstance(event, Packet):
            return self._offer(event, turn, lane, other)
        elif event is not None:
            lane.lose(event)
        return ()

    def _look_back(self, halves: list[int], lanes: tuple[_Lane, _Lane]) -> None:
        """From time to time: forget what is old; learn anew if no packet has come for long."""
        del halves[:-LEARN]
        self._looked += 1
        if self._looked <= self._patience:
            return
        self._looked, self._patience = 0, min(2 * self._patience + 1, PATIENCE_MAX)
        lengths, sure = learned(halves, self._limits)
        known = lanes[0].boundaries.lengths.copied()
        if sure and cost_of(known, halves)[0] >= cost_of(lengths.copied(), halves)[0] + CLEARLY:
            self._level = lanes[1].boundaries.strain - lanes[0].boundaries.strain
            for lane in lanes:
                lane.boundaries.use(lengths)

    def _mark(self, turn: int, lane: _Lane, other: _Lane) -> None:
        """A packet begins in a lane."""
        own, others = lane.boundaries, other.boundaries
        past = (others.strain_before - own.strain_before) * (1 - 2 * turn) - self._level
        if abs(past) > PAST_MAX:
            bounded = PAST_MAX if past > 0 else -PAST_MAX
            self._level += past - bounded
            past = bounded
        own.lengths.teacher = None if abs(past) < TEACHER else (own, others)[(past < 0) != bool(turn)]
        self._marks[turn] = (own.strain_before, others.strain_before, past * (1 - 2 * turn))

    def _offer(self, packet: Packet, turn: int, lane: _Lane, other: _Lane) -> tuple[PacketEvent, ...]:
        """A packet is complete in a lane: give it, hold it, or lose it."""
        if lane.opened < self._settled:
            return ()  # the other phase's chance hit on a packet that was given
        own_before, others_before, past = self._marks[turn]
        own = lane.boundaries.strain - own_before
        clear = other.boundaries.strain - others_before - own
        if own > OWN_MAX or clear < (OWN_CLEAR if lane.boundaries.lengths.mostly_stretches else 0):
            lane.lose(Fault(FaultKind.UNCLEAR, packet.start, packet.end, packet.start))
            return ()
        if lane.held and packet.end - lane.held[0][1].start > HELD_MAX:
            lane.give_up()
        if clear + past < CLEAR:
            lane.held.append((lane.lost, packet))
            lane.lost = None
            return ()
        out: tuple[PacketEvent, ...] = ()
        for lost, held in (*lane.held, (lane.lost, packet)):
            out += self._give(lost, held)
        for each in (lane, other):
            each.held.clear()
            each.lost = None
        self._given = lane
        self._looked, self._patience = 0, 3
        return out

    def _give(self, lost: Fault | Cutout | None, packet: Packet) -> tuple[PacketEvent, ...]:
        losses = self._losses(lost, packet.start)
        start = max(packet.start, self._settled) if losses else self._settled
        self._settled = packet.end
        return (*losses, attrs.evolve(packet, start=start))

    def _losses(self, lost: Fault | Cutout | None, end: int) -> tuple[PacketEvent, ...]:
        """What a lane lost since the last packet, without what the other lane made of it."""
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
