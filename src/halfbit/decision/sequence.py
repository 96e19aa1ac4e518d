"""Decision by sequence: finds the likeliest bits of a whole packet, not bit by bit.

:mod:`.reader` does the reading. It needs the lengths of this station's half-bits. So the start of a capture is kept
until they are learned from it (:mod:`.guess`), and is read then. Later packets make the lengths more exact. If
nothing can be learned, nothing is read: that time is a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

from ..event import PacketEvent
from ..limits import US, Limits
from .guess import FIRST as TRIED, guessed, has_preambles, learned_from
from .lengths import Lengths
from .reader import MARGIN, Found, SequenceReader
from .tiles import Tiles, recovery_of

__all__ = ["LEAST_LATENCY", "SequenceReceiver"]

#: Number of durations from which lengths are learned: about twelve packets.
FIRST = 1500
#: Most durations that are kept to be read as soon as lengths are learned.
KEPT = 8 * FIRST
#: Number of packets after which they are learned again: at first, and later.
AGAIN = (8, 32)
EVERY = 128
#: Number of durations without a packet after which the lengths may be wrong. Doubled each time a new guess does not
#: help.
NO_PACKET = 3000
#: Number of last packets from which they are learned.
LAST = 12
#: How much larger than the limits say the latency may be, ns.
MORE_LATENCY = 12 * US
#: The least latency assumed, ns, because a timer counts in steps and a crossing takes time.
LEAST_LATENCY = 3 * US


class SequenceReceiver:
    """Takes durations and gives packets, cutouts, and a fault for each stretch that no reading fits.

    Memory, and work per duration, are bounded.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int = 0) -> None:
        self._limits = limits
        # With one edge, more latency would let more stretched zeros be something else.
        latency = limits.latency_max
        self._latency = max(latency, US) if limits.one_edge else max(latency, LEAST_LATENCY) + US
        self._tiles = Tiles(limits, start)
        self._reader: SequenceReader | None = None
        self._recent: list[int] = []  # the last durations, ns
        self._learned: Lengths | None = None
        self._found: list[Found] = []  # packets found since lengths were last learned
        self._packets = 0
        self._again = NO_PACKET
        self._since = 0  # durations since the last packet, or since lengths were last guessed
        self._wait = self._longer = FIRST  # durations until they are guessed, while none is known; and the next time
        #: The time of the last change, ns.
        self.now: int = start

    def feed(self, duration: int) -> list[PacketEvent]:
        """Take one duration, ns."""
        self.now += duration
        self._recent.append(duration)
        reader = self._reader
        if len(self._recent) > (2 * FIRST if reader else KEPT):
            del self._recent[: -FIRST if reader else -KEPT // 2]
        self._since += 1
        if reader is None:
            return self._begin() if self._since >= self._wait else []
        reader.feed(duration)
        if reader.found:
            return self._take(reader)
        if self._since > self._again:
            self._guess_again(reader)
        return []

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, in counts of ``scale`` ns each."""
        return [event for duration in durations for event in self.feed(duration * scale)]

    def finish(self) -> list[PacketEvent]:
        """End of the capture: return the best reading's packets. A packet that has begun becomes a fault."""
        events = self._begin() if self._reader is None else []
        reader = self._reader
        if reader is None:
            return events + self._tiles.lose(self.now)
        reader.finish()
        events += self._take(reader)
        return events + self._tiles.lose(*reader.rest())

    def _begin(self) -> list[PacketEvent]:
        """Learn the lengths from the durations so far, then read these durations."""
        recent = self._recent
        new = recent[-min(max(self._since, TRIED), FIRST) :]
        found = guessed(new, self._limits, self._latency)
        if found is None:
            # Preambles without packets: a later guess will hardly do better, and it takes long.
            if has_preambles(new, self._limits, self._latency):
                self._wait, self._longer = self._longer, 2 * self._longer
            else:
                self._wait = TRIED
            self._since = 0
            return []
        self._learned = found.lengths
        # The latency may be a little above the limits, but not with long turns.
        if not self._limits.latency_rare and found.latency <= self._latency + MORE_LATENCY:
            self._latency = max(self._latency, found.latency)
        self._reader = reader = SequenceReader(self._limits, self._learned, self._latency, self.now - sum(recent))
        for duration in recent:
            reader.feed(duration)
        return self._take(reader)

    def _take(self, reader: SequenceReader) -> list[PacketEvent]:
        """The events of the reader's packets; learns from these packets."""
        events: list[PacketEvent] = []
        for found in reader.found:
            events += self._tiles.take(found, recovery_of(found))
            if found.margin >= MARGIN:
                self._found.append(found)
                self._packets += 1
                if self._packets in AGAIN or self._packets % EVERY == 0:
                    self._learn(reader)
        reader.found.clear()
        self._since, self._again = 0, NO_PACKET
        return events

    def _learn(self, reader: SequenceReader) -> None:
        """Learn the lengths from the last packets."""
        assert self._learned is not None
        times = list(accumulate(self._recent, initial=self.now - sum(self._recent)))
        new = learned_from(self._found[-LAST:], times, self._learned, self._limits, self._latency)[0]
        del self._found[:-LAST]
        if new is not None:
            self._learned = self._learned.towards(new)
            reader.learn(self._learned)

    def _guess_again(self, reader: SequenceReader) -> None:
        """Guess the lengths again: there was no packet for a long time, so they may be wrong."""
        self._since, self._again = 0, 2 * self._again
        found = guessed(self._recent, self._limits, self._latency)
        if found is not None:
            self._learned = found.lengths
            reader.learn(found.lengths)
