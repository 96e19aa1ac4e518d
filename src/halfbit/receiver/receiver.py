"""The receiver: layers 2 to 4 in one, for all durations.

Step by step through the core is always right, and :meth:`HalvesReceiver.feed` does nothing else. For many durations
at once there is a shorter way: between the end of one packet and the end of the next flawless one, ``flawless.py``
finds the whole packet in the row. The core's state at both ends depends on the last half-bit alone, so
the core goes on from there as if it had been fed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from .. import core
from ..event import PacketEvent
from ..limits import RECEIVE, Limits
from ..ledger import Element, Ledger, element_of
from .flawless import FlawlessPackets

__all__ = ["HalvesReceiver"]

#: How many durations are looked at in one go. Enough to make the cost of a row small.
ROW = 1 << 14


class HalvesReceiver:
    """Durations in; packets, cutouts, and one fault for each lost stretch, out. Each half-bit is decided by itself.

    The events are the same as from the machines of the layers one after the other, however the
    durations are divided between :meth:`feed` and :meth:`feed_many`.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits = RECEIVE, start: int = 0) -> None:
        self._core = limits.receiver_core()
        self._ledger = Ledger(self._core.packets, limits, start)
        self._flawless = FlawlessPackets(limits)
        #: The last durations, ns.
        self._halves: deque[int] = deque(maxlen=Ledger.history(limits))
        #: The time of the last change, ns.
        self.now: int = start

    def feed(self, duration: int) -> tuple[PacketEvent, ...]:
        """Take one duration, ns, 0 or more; give the event that is complete with it, if any."""
        self.now += duration
        self._halves.append(duration)
        answer = self._core.feed(duration)
        if answer == core.MORE:
            return ()
        ledger = self._ledger
        if answer >= ledger.counts_from:
            ledger.count += 1
            return ()
        bits = self._core.bits
        halves = list(self._halves)
        if bits.held != core.MORE:
            halves.pop()  # it waits for its other half, and so comes after the element
        return self._answer(answer, element_of(self._core.bit, bits.first, bits.last, self.now), halves)

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations; give the events that are complete with them.

        :param durations: counts, 0 or more; a list, an array or a view of one.
        :param scale: ns in a count.
        """
        events: list[PacketEvent] = []
        for begin in range(0, len(durations), ROW):
            row = durations[begin : begin + ROW]
            self._feed_row(row if isinstance(row, list) else list(row), scale, events)
        return events

    def finish(self) -> tuple[PacketEvent, ...]:
        """The capture is over: a packet that has started is cut, a lost stretch ends here."""
        bits = self._core.bits
        events: tuple[PacketEvent, ...] = ()
        if bits.held != core.MORE:
            bit = core.UNPAIRED_ONE if bits.held == core.ONE else core.UNPAIRED_ZERO
            first, last = bits.waiting, 0
            answer = self._core.packets.feed(bit, first, last)
            if answer != core.MORE:
                events = self._answer(answer, element_of(bit, first, last, self.now), list(self._halves))
        fault = self._ledger.finish(self.now)
        return events if fault is None else (*events, fault)

    def _answer(self, answer: int, element: Element, halves: Sequence[int]) -> tuple[PacketEvent, ...]:
        event = self._ledger.answer(answer, element, halves)
        return () if event is None else (event,)

    def _feed_row(self, row: list[int], scale: int, events: list[PacketEvent]) -> None:
        """After each packet take flawless ones as far as they go, then step by step to the end of the next packet."""
        feed = self.feed
        symbols = b""  # worked out when a packet has ended: noise needs none
        place = 0
        while place < len(row):
            if self._ledger.packet_end == self.now and self._core.packets.state == core.IDLE:
                symbols = symbols or self._flawless.symbols(row, scale)
                place = self._take_flawless(row, symbols, place, scale, events)
            for place in range(place, len(row)):
                if complete := feed(row[place] * scale):
                    events += complete
                    break
            place += 1

    def _take_flawless(self, row: list[int], symbols: bytes, place: int, scale: int, events: list[PacketEvent]) -> int:
        """Take the flawless packets from ``place`` on, which is the end of a packet; return where they end.

        Only the last half of a packet matters to the core afterwards. No loss starts before a packet's end, so the
        ledger needs none of its half-bits.
        """
        for data, preamble, place, length in self._flawless.packets(row, symbols, place):
            self.now += length * scale
            events.append(self._ledger.packet(data, preamble, self.now))
            self._core.packets.previous_half = row[place - 1] * scale
        return place
