"""Decision by sum: a bit is decided by the sum of its two halves.

A polling loop sees each change up to one period late. So the time between two changes is wrong by up
to one period in either direction. The halves of a one (58 us) and a zero (100 us) differ by 42 us. So
with periods above 21 us single halves cannot be told apart. Whole bits (116 and 200 us) differ by 84 us,
and the error of the change in their middle cancels out.

But whole bits do not show the phase, that is, which change starts a bit. So two lanes run in parallel, one for each
phase. Each has its own :class:`~.boundaries.Boundaries` and the core's layer 4. Preamble, framing and error detection
byte do not prove the phase: an idle packet, FF 00 FF, reads as 7F 00 7F in the wrong phase. The strain does prove it.

A packet is given if the other lane has had clearly more strain since the packet's start bit, together with the strain
from before. Strain from before counts only for a packet that has little strain itself, and no more than the other lane,
because a lost or extra change swaps the phase. A packet is held until the phase is clear. If it stays unclear, it
becomes a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import attrs

from .. import core
from ..event import Cutout, Fault, FaultKind, Packet, PacketEvent
from ..ledger import Element, Ledger, long_as_cutout
from ..limits import US, Limits
from .boundaries import CLEARLY, WHOLE, Boundaries, Lengths, cost_of, learned

__all__ = ["SumReceiver"]

NEVER = -1  # a difference that no two halves can have: the phase is fixed, so the core must not search for it

#: Number of half-bits from which lengths are learned. They always include one complete preamble with its packet.
LEARN = 240
#: Most half-bits kept while the lengths cannot be learned.
LEARN_MAX = 4 * LEARN
#: Most looks back (one every 240 half-bits) without a packet before the lengths are learned again.
PATIENCE_MAX = 15
#: Most strain of a packet itself.
OWN_MAX = 100
#: Most of it from changes outside the allowed lateness. After a change lost or added inside it, a packet with two wrong
#: bits may still have a right error detection byte. Stretched zeros look so too, so this counts only if at most the share
#: FEW of the last packets had any (in parts of WHOLE).
WRONG_MAX, FEW = 20, WHOLE // 4
#: How much less strain a packet's lane must have than the other: during the packet, if most zeros are stretched
#: (otherwise it must only not have more); and together with the strain from before.
OWN_CLEAR, CLEAR = 1, 50
#: Most that the strain from before counts, because the phase may have swapped.
PAST_MAX = 60
#: Difference in strain from which on lengths are learned from the better lane.
TEACHER = 30
#: Longest time that a packet is held, ns.
HELD_MAX = 60_000 * US


class _Mark(NamedTuple):
    """What counts from a packet's start bit on."""

    #: The strain of its own lane and of the other before it; and how much less its lane had in the past.
    own: int = 0
    others: int = 0
    past: int = 0
    #: The part of its own lane's strain that came from changes outside the allowed lateness.
    wrong: int = 0
    #: Number of stretched zeros in its lane before it.
    stretched: int = 0


class _Lane:
    """One phase: takes pairs of half-bits and gives packets and faults."""

    def __init__(self, limits: Limits, start: int, lengths: Lengths) -> None:
        self._packets = core.Packets(NEVER, limits.preamble_min, limits.packet_min, limits.packet_max)
        self.ledger = Ledger(self._packets, limits, start)
        self.boundaries = Boundaries(lengths)
        self._shortest = 2 * limits.one_min
        self._longest = 2 * limits.zero_max
        #: Time of the start of the last start bit, ns.
        self.opened = start
        #: The loss in this lane since the last packet was given or held, as one stretch.
        self.lost: Fault | Cutout | None = None
        #: Packets that are held, each with the loss before it.
        self.held: list[tuple[Fault | Cutout | None, Packet]] = []

    def feed(self, first: int, last: int, end: int, halves: Sequence[int]) -> tuple[int, PacketEvent | None]:
        """Take one bit's halves, ns; the last ends at ``end``. Return the core's answer, and the event or ``None``."""
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
        self._lanes: tuple[_Lane, _Lane] | None = None
        self._limits = limits
        self._start = self._settled = start  # end of the last returned event, ns
        self._read = start  # end of the durations that are read, ns
        self._halves: list[int] = []
        # Number of looks back before learning again, and number of looks back so far.
        self._patience = self._looked = 0
        self._turn = 0
        self._before: int | None = None
        self._given: _Lane | None = None  # the lane that gave the last packet
        # Strain of the second lane minus strain of the first that is forgotten. The past counts from there, so it is
        # bounded.
        self._level = 0
        #: The time of the last change, ns.
        self.now = start
        self._marks = [_Mark(), _Mark()]  # of the packet begun in each lane
        self._stretches = 0  # share of the last packets that had stretched zeros, in parts of WHOLE

    def feed(self, duration: int) -> tuple[PacketEvent, ...]:
        """Take one duration, ns."""
        self.now += duration
        if self._lanes is not None:
            return self._take(duration, self._lanes)
        self._halves.append(duration)
        return self._begin(False) if not len(self._halves) % LEARN else ()

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, in counts of ``scale`` ns each."""
        events: list[PacketEvent] = []
        for duration in durations:
            events += self.feed(duration * scale)
        return events

    def finish(self) -> tuple[PacketEvent, ...]:
        """End of the capture: a packet that has begun becomes a fault, and a loss ends here."""
        out = () if self._lanes is not None else self._begin(True)
        assert self._lanes is not None
        for lane in self._lanes:
            lane.give_up()
            fault = lane.ledger.finish(self.now)
            if fault is not None:
                lane.lose(fault)
        # Before the first packet the right lane is not known, so the lane that lost less is used.
        lane = self._given or min(
            self._lanes, key=lambda lane: 0 if lane.lost is None else lane.lost.end - lane.lost.start
        )
        return out + self._losses(lane.lost, self.now)

    def _begin(self, now: bool) -> tuple[PacketEvent, ...]:
        """Learn the lengths if possible, then read the kept durations."""
        halves = self._halves
        lengths, sure = learned(halves[-LEARN:], self._limits)
        if not (sure or now or len(halves) >= LEARN_MAX):
            return ()
        self._halves = []
        self._stretches = lengths.stretching
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
        """From time to time, forget old data. Learn again if no packet has come for a long time."""
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
        """Record the strains when a packet begins in a lane."""
        own, others = lane.boundaries, other.boundaries
        past = (others.strain_before - own.strain_before) * (1 - 2 * turn) - self._level
        if abs(past) > PAST_MAX:
            bounded = PAST_MAX if past > 0 else -PAST_MAX
            self._level += past - bounded
            past = bounded
        own.lengths.teacher = None if abs(past) < TEACHER else (own, others)[(past < 0) != bool(turn)]
        past *= 1 - 2 * turn
        self._marks[turn] = _Mark(own.strain_before, others.strain_before, past, own.wrong_before, own.stretched)

    def _offer(self, packet: Packet, turn: int, lane: _Lane, other: _Lane) -> tuple[PacketEvent, ...]:
        """Decide about a packet that is complete in a lane: give it, hold it, or lose it."""
        if lane.opened < self._settled:
            return ()  # found by chance in the wrong phase, over a packet that was given
        mark = self._marks[turn]
        own = lane.boundaries.strain - mark.own
        clear = other.boundaries.strain - mark.others - own
        wrong = self._stretches <= FEW and lane.boundaries.wrong - mark.wrong > WRONG_MAX
        if own > OWN_MAX or wrong or clear < (OWN_CLEAR if lane.boundaries.lengths.mostly_stretches else 0):
            lane.lose(Fault(FaultKind.UNCLEAR, packet.start, packet.end, packet.start))
            return ()
        if lane.held and packet.end - lane.held[0][1].start > HELD_MAX:
            lane.give_up()
        if clear + mark.past < CLEAR:
            lane.held.append((lane.lost, packet))
            lane.lost = None
            return ()
        stretched = WHOLE if lane.boundaries.stretched > mark.stretched else 0
        self._stretches += (stretched - self._stretches) >> 3
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
        """The losses of a lane since the last packet, without the part that the other lane has read."""
        if lost is None or min(lost.end, end) <= self._settled:
            return ()
        start = max(lost.start, self._settled)
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
