"""Recovery: stretches that the decision by halves or by sum loses are read again by sequence.

A lost stretch is read from the end of the last event to a few half-bits after the start of the next preamble. The
lengths of the half-bits come from the packets before, or else from the lost stretch. If nothing can be learned, the
loss stays as it is. Only lost stretches are read again, so a capture with few losses takes hardly longer. Changes that
are missing, recorded twice or seen late then no longer lose packets.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Iterable, Sequence
from itertools import accumulate, islice, pairwise
from statistics import median_low

import attrs

from ..event import Cutout, Fault, Packet, PacketEvent, Recovery
from ..limits import US, Limits
from ..receiver import HalvesReceiver
from .guess import FIRST as TRIED, guessed, has_preambles
from .lengths import Lengths, Piece, learned, spread, whole_piece
from .reader import SequenceReader
from .sequence import LEAST_LATENCY, MORE_LATENCY
from .sums import SumReceiver
from .tiles import Tiles, recovery_of

__all__ = ["RecoveringReceiver"]

#: Number of durations taken at a time.
ROW = 4096
#: Number of changes read after a lost stretch, because the first one-bit of an apparent preamble may be a packet's
#: end bit.
BEHIND = 16
#: Number of durations without an event after which reading again starts, and by how many durations it stays behind.
#: That is more than a packet, so packets found there are really lost.
LONG = 3000
FAR = 700
#: Number of past durations that are kept, to learn lengths from the last packets.
KEPT = 1200
#: Number of packets from which lengths are learned, and number of packets after which they are learned again.
LAST = 6
AGAIN = 512
#: Number of durations after which lengths are guessed if there is no packet.
FIRST = 1500
#: How much later than the limits say a change may be, ns, because a clock counts in steps.
STEP = 1 * US


class RecoveringReceiver:
    """Takes durations and gives the events of another receiver, plus the packets that it lost.

    The events do not depend on how the durations are split into calls. Memory, and work per duration, are bounded.

    :param base: the receiver that decides first. It must not have been fed yet.
    """

    def __init__(self, limits: Limits, base: HalvesReceiver | SumReceiver) -> None:
        self._limits = limits
        self._base = base
        self._times = [base.now]  # times of the last changes, ns
        self._pending: deque[PacketEvent] = deque()  # events of the base that are not returned yet
        self._settled = base.now  # end of the last returned event, ns
        self._after_packet = False  # True if a packet ends there
        self._quiet = 0  # durations since the base's last event
        self._last: deque[Packet] = deque(maxlen=LAST)  # last packets of the base
        self._packets = 0  # packets since lengths were last learned
        self._lengths: Lengths | None = None
        self._reader: SequenceReader | None = None
        self._tiles: Tiles | None = None  # events of the lost stretch that is being read
        self._read = base.now  # end of the part that is read, ns
        self._vain = base.now  # end of the part of the present loss from which nothing can be learned, ns
        self._hopeless = False  # True if guesses at the lengths failed since the last packet
        self._latency = max(limits.latency_max, LEAST_LATENCY) + STEP
        self._known: Lengths | None = None  # the lengths that the reader uses

    @property
    def now(self) -> int:
        """The time of the last change, ns."""
        return self._times[-1]

    def feed(self, duration: int) -> list[PacketEvent]:
        """Take one duration, ns."""
        self._times.append(self._times[-1] + duration)
        self._quiet += 1
        return self._take(self._base.feed(duration))

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, in counts of ``scale`` ns each."""
        if isinstance(self._base, SumReceiver):
            # The base must be in the state it has when it gives an event, because its learned lengths are read then.
            return [event for duration in durations for event in self.feed(duration * scale)]
        events: list[PacketEvent] = []
        for begin in range(0, len(durations), ROW):
            row = durations[begin : begin + ROW]
            ns = row if scale == 1 else [count * scale for count in row]
            self._times += islice(accumulate(ns, initial=self._times[-1]), 1, None)
            self._quiet += len(row)
            events += self._take(self._base.feed_many(row, scale))
        return events

    def finish(self) -> list[PacketEvent]:
        """End of the capture: return all pending events."""
        self._pending.extend(self._base.finish())
        return self._give(final=True)

    def _take(self, events: Sequence[PacketEvent]) -> list[PacketEvent]:
        """The events that can be returned after these events of the base."""
        if events:
            self._pending.extend(events)
            self._quiet = len(self._times) - bisect_right(self._times, events[-1].end)
        given = self._give() if self._pending else []
        if self._quiet > LONG and not self._pending:
            given += self._read_ahead()
        if len(self._times) > KEPT + LONG + 2 * ROW:
            del self._times[: max(bisect_left(self._times, max(self._settled, self._read, self._vain)) - KEPT, 0)]
        return given

    def _give(self, final: bool = False) -> list[PacketEvent]:
        given: list[PacketEvent] = []
        while self._pending:
            event = self._pending[0]
            if not isinstance(event, Fault):
                given += self._pass(event)
            elif self._can_read(event, final):
                given += self._again(event)
            else:
                break
            self._pending.popleft()
        return given

    def _pass(self, event: Packet | Cutout) -> list[PacketEvent]:
        """An event of the base, without the part that is already returned."""
        if self._tiles is not None:
            self._settled, self._tiles = max(self._settled, self._tiles.settled), None
        start, self._settled = self._settled, max(event.end, self._settled)
        self._after_packet = isinstance(event, Packet)
        if isinstance(event, Packet):
            self._last.append(event)
            self._packets += 1
            self._hopeless = False
        self._vain = self._settled
        if event.end <= start:
            return []
        return [event if event.start >= start else attrs.evolve(event, start=start)]

    def _can_read(self, fault: Fault, final: bool) -> bool:
        """True if enough is known to read a lost stretch again, or to say that nothing can be learned to read it."""
        if final:
            return self._knows_lengths(fault.end, final)
        behind = len(self._times) - bisect_left(self._times, fault.end)
        return behind > BEHIND and (self._tiles is not None or self._knows_lengths(fault.end))

    def _again(self, fault: Fault) -> list[PacketEvent]:
        """Read a lost stretch again by sequence."""
        if self._lengths is None:
            return self._not_read(fault)
        last = bisect_left(self._times, fault.end)
        self._read_to(min(last + BEHIND, len(self._times) - 1))
        assert self._reader is not None and self._tiles is not None
        self._reader.finish()
        given = self._found()
        tiles, self._tiles = self._tiles, None
        if tiles.settled == self._settled:
            return self._not_read(fault)
        ones, inside = self._reader.rest()
        end = fault.end if inside else min(ones, fault.end)
        given += tiles.lose(end)
        self._after_packet = tiles.after_packet
        self._settled = self._vain = max(tiles.settled, fault.end)
        return given

    def _not_read(self, fault: Fault) -> list[PacketEvent]:
        """A fault of the base in whose stretch nothing was found."""
        self._after_packet = False
        start, self._settled = self._settled, max(fault.end, self._settled)
        self._vain = self._settled
        return [fault if fault.start >= start else attrs.evolve(fault, start=start, at=max(fault.at, start))]

    def _read_ahead(self) -> list[PacketEvent]:
        """Read ahead, because the base has given no event for long. Leave out what may still become its packet."""
        last = len(self._times) - FAR
        if self._tiles is None and not self._knows_lengths(self._times[last]) or self._lengths is None:
            return []
        self._read_to(last)
        return self._found()

    def _read_to(self, last: int) -> None:
        """Continue reading up to the change with index ``last``."""
        if self._tiles is None or self._reader is None:
            self._read = max(self._settled, self._vain)
            self._reader = self._new_reader(self._read)
            self._tiles = Tiles(self._limits, self._settled, self._after_packet)
        times = self._times
        feed = self._reader.feed
        for at in range(bisect_right(times, self._read), last + 1):
            feed(times[at] - times[at - 1])
        self._read = max(self._read, times[last])

    def _found(self) -> list[PacketEvent]:
        """The events found so far."""
        assert self._reader is not None and self._tiles is not None
        given: list[PacketEvent] = []
        for found in self._reader.found:
            given += self._tiles.take(found, recovery_of(found) or Recovery.TIMES)
        self._reader.found.clear()
        return given

    def _new_reader(self, start: int) -> SequenceReader:
        """A reader that starts at a change, ns."""
        lengths, reader = self._lengths, self._reader
        assert lengths is not None
        if reader is None:
            reader = SequenceReader(self._limits, lengths, self._latency, start)
        elif lengths != self._known:
            reader.learn(lengths)
        self._known = lengths
        reader.restart(start, self._after_packet and start == self._settled)
        return reader

    def _knows_lengths(self, end: int, final: bool = False) -> bool:
        """True if the lengths of half-bits are known, or cannot be learned from a loss. Learns them first.

        :param end: end of the loss, ns.
        """
        if self._lengths is not None:
            if self._packets >= AGAIN:
                self._learn(self._last)
            return True
        while self._lengths is None and max(self._settled, self._vain) < end:
            start = bisect_left(self._times, max(self._settled, self._vain))
            times = self._times[start : start + FIRST + 1]
            enough = final or len(times) > FIRST
            near = (event for event in self._pending if isinstance(event, Packet) and event.end <= times[-1])
            packets = [*self._last, *islice(near, LAST - len(self._last))]
            if packets and (enough or len(packets) == LAST):
                self._learn(packets)
            if self._lengths is None:
                if not enough:
                    return False
                self._guess(times)
        return True

    def _guess(self, times: Sequence[int]) -> None:
        """Guess the lengths from a part of the present loss, or say that it was in vain."""
        durations = [after - before for before, after in pairwise(times)]
        limits, latency = self._limits, max(self._limits.latency_max, LEAST_LATENCY)
        found = None if self._hopeless else guessed(durations, limits, latency)
        if found is not None:
            self._lengths = found.lengths
            self._allow(found.latency)
        else:
            self._hopeless = self._hopeless or has_preambles(durations, limits, latency)
            self._vain = max(times[min(TRIED, len(durations))], self._vain + 1)  # durations may be 0

    def _learn(self, packets: Iterable[Packet]) -> None:
        """Learn from packets of the base, which have all their half-bits."""
        self._packets = 0
        times = self._times
        pieces: list[Piece] = []
        for packet in packets:
            piece = whole_piece(packet.data, packet.preamble, packet.end, times)
            pieces += filter(_apart, piece) if self._limits.decision == "halves" else piece
        limits = self._limits
        new = learned(pieces, limits.latency_max)
        if new is not None:
            self._lengths = new
            # A packet with a slightly stretched half-bit says nothing about the latency.
            self._allow(median_low(spread(piece, new, limits.latency_max) for piece in pieces))

    def _allow(self, seen: int) -> None:
        """Accept the lateness that was seen as possible, if it is larger than before."""
        self._latency = min(max(seen + STEP, self._latency), self._limits.latency_max + MORE_LATENCY)


def _apart(piece: Piece) -> bool:
    """True if all one-halves are shorter than all zero-halves. This is false if the end bit runs into a cutout."""
    ones = max(duration for duration, ((kind, _),) in piece if kind)
    return ones < min(duration for duration, ((kind, _),) in piece if not kind)
