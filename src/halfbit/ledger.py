"""The ledger of a signal's time: turns the core's answers into packets, faults and cutouts.

Every nanosecond between the first and the last edge is in exactly one of: a packet with its
preamble, a cutout, a fault's stretch, or idle one-bits between them. The core decides what
happened. The ledger only works out when it starts and ends.

A lost stretch grows with every further fault, until a preamble ends it. So the ledger keeps its
fields one by one, and makes a Fault of them when it is over.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from . import core
from .event import HALF_BIT_FAULTS, Cutout, Fault, FaultKind, Packet, PacketEvent
from .limits import US, Limits

__all__ = ["Element", "Ledger", "element_of", "long_as_cutout"]

# Bi-directional communication cutout: begins 26 to 32 us and ends 454 to 488 us after the packet end bit (S-9.3.2,
# RCN-217, both from memory). A capture of one rail may show the halves next to it as part of it.
CUTOUT_BEGINS = (26 * US, 32 * US)
CUTOUT_MIN = 454 * US
CUTOUT_MAX = 488 * US
CUTOUT_HALVES = 3

_UNPAIRED = (core.UNPAIRED_ONE, core.UNPAIRED_ZERO)

# The lowest of the core's answers that only adds to the count of faults: while a stretch is lost, any fault; at the
# capture's start, which may be inside a packet, any but those of layer 2; and else none.
ANY_FAULT = core.SHORT
FAULT_OF_BITS = core.UNPAIRED_ONE
NO_FAULT = core.UNCLEAR  # the core gives no answer as high as this


@attrs.frozen(slots=True)
class Element:
    """The bit, or the faulty half-bit or bit, that the core answered to. Times in ns."""

    #: The core's layer 3 answer for it.
    bit: int
    start: int
    end: int
    #: Its place and detail, as a Fault of layer 2 or 3 has them.
    at: int
    detail: int


def element_of(bit: int, first: int, last: int, end: int) -> Element:
    """The element of layer 3's answer ``bit`` with halves ``first`` and ``last``; the last one ends at ``end``, ns."""
    start = end - last - first
    if bit in _UNPAIRED:
        # The last half is not lost: it waits for its other half now.
        return Element(bit, start, end - last, start, first)
    if bit == core.UNEQUAL:
        return Element(bit, start, end, end - last, abs(first - last))
    if bit in HALF_BIT_FAULTS:
        return Element(bit, start, end, end - last, last)
    return Element(bit, start, end, start, first + last)


def long_as_cutout(duration: int, limits: Limits) -> bool:
    """True if a stretch after a packet, ns, lasts as long as a cutout with the half-bits next to it."""
    return CUTOUT_MIN - limits.latency_max <= duration <= CUTOUT_MAX + 2 * limits.one_max


class Ledger:
    """Takes the core's answers; gives the packet, fault or cutout that is complete with each.

    :param packets: the core's machine of layer 4, from which the ledger reads bytes and counts.
    :param start: where the ledger starts, ns.
    """

    def __init__(self, packets: core.Packets, limits: Limits, start: int) -> None:
        self._packets = packets
        self._limits = limits
        #: Everything up to here is accounted for, ns.
        self.settled: int = start
        #: Where the last packet ended, ns.
        self.packet_end: int | None = None
        #: True after a start bit, until the packet ends or is lost.
        self.inside: bool = False
        #: The first fault of the stretch that is being lost; 0 if nothing is lost. A capture may start inside a packet.
        self._first_fault = core.CUT
        #: From this answer on the receiver only adds to ``count``: in noise nearly each half-bit is such a fault. While
        #: a packet's end bit lacks its last half though the error detection byte is right, it is ``NO_FAULT``.
        self.counts_from: int = FAULT_OF_BITS
        self.count: int = 0  #: Half-bits and bits of the lost stretch that were wrong.
        # The stretch's start, the end and the place of that first fault, ns.
        self._start = self._end = self._at = start
        self._detail, self._data = 0, b""

    @staticmethod
    def history(limits: Limits) -> int:
        """How many half-bits back :meth:`answer` needs for these limits.

        A cutout, the halves of a preamble, and one more if the pairs are one half-bit off.
        """
        return CUTOUT_HALVES + 2 * limits.preamble_min + 1

    def answer(self, answer: int, element: Element, halves: Sequence[int]) -> PacketEvent | None:
        """Take an answer of the core's layer 4 other than MORE.

        :param element: what it answered to.
        :param halves: the durations up to the end of ``element``, ns, the latest last; :meth:`history` says how many.
        """
        machine = self._packets
        if answer == core.START:
            self.inside = True
            return None
        if answer == core.PACKET:
            return self.packet(bytes(machine.data[: machine.length]), machine.preamble, element.end)
        if answer == core.SYNC:
            return self._found(self._run_start(element.end, halves), element.end, halves)
        if self._first_fault and self.counts_from == NO_FAULT:
            self.counts_from = ANY_FAULT
            # Only the half right behind the end bit's first half can hold its last half and a cutout.
            behind = answer == core.UNPAIRED_ZERO and element.start == self._end
            if behind and long_as_cutout(element.detail, self._limits):
                return self._ended_by_cutout(element)
        self._lose(answer, element)
        return None

    def _ended_by_cutout(self, element: Element) -> Packet:
        """The packet whose end bit runs into a cutout: its last half and the cutout show as one duration, ``element``.

        The packet ends with the last change before it, and the cutout starts there.
        """
        machine = self._packets
        packet = self.packet(bytes(machine.data[: machine.length]), machine.preamble, element.start)
        self._first_fault, self._start, self._end, self._at = element.bit, element.start, element.end, element.at
        self._detail, self._data, self.count = element.detail, b"", 1
        return packet

    def packet(self, data: bytes, preamble: int, end: int) -> Packet:
        """The packet that ends here."""
        packet = Packet(data, preamble, self.settled, end)
        self.settled = self.packet_end = end
        self.inside = False
        return packet

    def finish(self, end: int) -> Fault | None:
        """The signal ends here: a packet that has started is cut, a lost stretch ends."""
        if self.inside:
            self._data = bytes(self._packets.data[: self._packets.length])
            self.inside = False
            self._first_fault, self._start, self._at, self.count = core.CUT, self.settled, end, 1
            self._detail = 0
        elif not self._first_fault or self._start == end:
            return None
        elif self._first_fault in _UNPAIRED and self._end == end:
            # The capture ended before the other half came.
            self._first_fault, self._detail = core.CUT, 0
        return self._fault(end)

    def _lose(self, answer: int, element: Element) -> None:
        """Something is wrong. If nothing was before, a stretch is lost from here on."""
        self.count += 1
        if answer >= self.counts_from:
            return
        machine, inside = self._packets, self.inside
        self.inside = False
        # The packet was complete but for the last half of its end bit: no bit of a byte is missing, and all agree.
        complete = inside and not machine.room and not machine.check and machine.length >= machine.packet_min
        self.counts_from = NO_FAULT if complete and answer == core.UNPAIRED_ONE else ANY_FAULT
        start = self.settled if inside else element.start
        if self._first_fault:
            # The capture started with more than the rest of a packet: its signal is wrong from the first half-bit on.
            start = self._start
        self._first_fault = answer
        self._start, self._end, self._at = start, element.end, element.at
        self._detail = element.detail
        self._data = bytes(machine.data[: machine.length]) if inside else b""
        if answer in (core.FEW_BYTES, core.ERROR_BYTE):
            # The whole packet is wrong. Its last bits may be the first ones of the next preamble.
            self._end = self._at = start
        if answer == core.SHORT_PREAMBLE:
            self._detail = machine.preamble
        elif answer == core.ERROR_BYTE:
            self._detail = machine.check
        elif answer in (core.FEW_BYTES, core.MANY_BYTES):
            self._detail = 0

    def _found(self, start: int, now: int, halves: Sequence[int]) -> Fault | Cutout | None:
        """A preamble is complete: what was lost before it ends at the start of its first one-bit."""
        start = max(start, self._end)
        self.settled = start
        lost_from = self._start
        if self._first_fault == core.CUT and start - lost_from <= self._limits.one_max:
            self.settled = lost_from  # the capture starts among one-bits, perhaps with the last half of one
            self._regain()
            return None
        if lost_from == self.packet_end and not self._data and long_as_cutout(start - lost_from, self._limits):
            if _few_between(lost_from, start, now, halves):
                self._regain()
                return Cutout(lost_from, start)
        return self._fault(start)

    def _fault(self, end: int) -> Fault:
        """The lost stretch, which ends here."""
        fault = Fault(FaultKind(self._first_fault), self._start, end, self._at, self._detail, self._data, self.count)
        self._regain()
        return fault

    def _regain(self) -> None:
        """Nothing is lost any more."""
        self._first_fault = self.count = 0
        self.counts_from = NO_FAULT

    def _run_start(self, end: int, halves: Sequence[int]) -> int:
        """Where the first one-bit of the preamble starts that is complete at ``end``, ns."""
        machine = self._packets
        if machine.shifted_ones >= machine.ones:
            # In the later pairing the last half belongs to the next bit.
            return end - sum(halves[-2 * machine.shifted_ones - 1 :])
        return end - sum(halves[-2 * machine.ones :])


def _few_between(start: int, end: int, now: int, halves: Sequence[int]) -> bool:
    """True if no more half-bits are between two changes than a cutout shows.

    :param now: the end of the last of ``halves``.
    """
    changes = [now]  # times of the changes, back from the latest
    for half in reversed(halves):
        now -= half
        changes.append(now)
    return start in changes and changes.index(start) - changes.index(end) <= CUTOUT_HALVES
