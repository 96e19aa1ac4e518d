"""The account of a signal's time: the core's answers of layer 4, dressed as packets and faults.

Every nanosecond between the first and the last edge comes to lie in one of: a packet with its
preamble, a cutout, a fault's stretch, or idle one-bits between them. The core decides what
happened; here stands only where it starts and ends, once for both ways through the layers.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from . import core
from .fault import Cutout, Fault, FaultKind, Layer
from .limits import US, Limits
from .packet_type import Packet

__all__ = ["Account", "Element", "Event"]

Event = Packet | Fault | Cutout

# Bi-directional communication cutout: ends 454 to 488 us after the packet end bit (S-9.3.2, RCN-217,
# both from memory). A rail seen alone may show the halves next to it as part of it.
CUTOUT_MIN = 454 * US
CUTOUT_MAX = 488 * US
CUTOUT_HALVES = 3

_BIT_LAYER = frozenset((core.LONE_ONE, core.LONE_ZERO, core.UNEQUAL, core.STRETCHED))
_HALF_BIT_LAYER = frozenset((core.SHORT, core.BETWEEN, core.LONG))


@attrs.frozen(slots=True)
class Element:
    """The bit, or the faulty half-bit or bit, with which the core answered. Times in ns."""

    #: The core's layer 3 answer for it.
    bit: int
    start: int
    end: int
    #: Its place, and the number that says more, as a Fault has them; for layers 2 and 3.
    at: int
    detail: int
    #: Durations of the half-bits up to and including it, the latest last: enough for the longest run.
    halves: Sequence[int]


class Account:
    """Takes the core's answers with the element each came with, and gives the events now complete.

    :param packets: the core's machine, from which bytes and counts are read.
    :param start: where the account starts, ns.
    """

    def __init__(self, packets: core.Packets, limits: Limits, start: int = 0) -> None:
        self._packets = packets
        self._one_max = limits.one_max
        self.settled = start
        self._packet_end: int | None = None
        self.inside = False  # a packet has started
        # What was lost, its end not yet known. At first: what may be the rest of a packet.
        self._lost: Fault | None = Fault(FaultKind.CUT, Layer.PACKET, start, start, start, count=0)

    @staticmethod
    def history(limits: Limits) -> int:
        """How many half-bits back :attr:`Element.halves` must reach for these limits."""
        return 2 * max(core.RUN_LENGTH, limits.preamble_min) + 2 + CUTOUT_HALVES

    def answer(self, answer: int, element: Element) -> tuple[Event, ...]:
        """Take an answer of the core's layer 4 other than MORE."""
        if answer == core.START:
            self.inside = True
            return ()
        if answer == core.PACKET:
            return self._packet(element.end)
        if answer == core.SYNC:
            return self._found(element)
        self._lose(FaultKind(answer), element)
        self.inside = False
        if answer == core.RUN:
            return self._found(element)
        return ()

    def finish(self, end: int) -> tuple[Event, ...]:
        """The signal ends here: what is pending is lost or cut."""
        lost, self._lost = self._lost, None
        if self.inside:
            data = bytes(self._packets.data[: self._packets.length])
            lost = Fault(FaultKind.CUT, Layer.PACKET, self.settled, end, end, len(data), data)
        elif lost is None or lost.start == end:
            return ()
        elif lost.kind in (FaultKind.LONE_ONE, FaultKind.LONE_ZERO) and lost.end == end:
            # Not a half-bit without its other half, but one whose other half the capture lacks.
            lost = attrs.evolve(lost, kind=FaultKind.CUT, layer=Layer.PACKET, detail=len(lost.data))
        self.inside = False
        self.settled = end
        return (attrs.evolve(lost, end=end),)

    def _packet(self, end: int) -> tuple[Event, ...]:
        machine = self._packets
        packet = Packet(bytes(machine.data[: machine.length]), machine.preamble, self.settled, end)
        self.settled = self._packet_end = end
        self.inside = False
        return (packet,)

    def _lose(self, kind: FaultKind, element: Element) -> None:
        lost = self._lost
        if lost is None:
            self._lost = self._fault(kind, element)
        elif lost.kind is FaultKind.CUT and kind in _HALF_BIT_LAYER:
            # More than the rest of a packet: the signal itself is wrong from the start.
            fault = self._fault(kind, element)
            self._lost = attrs.evolve(fault, start=lost.start, count=lost.count + 1)
        else:
            self._lost = attrs.evolve(lost, count=lost.count + 1)

    def _fault(self, kind: FaultKind, element: Element) -> Fault:
        machine = self._packets
        start = self.settled if self.inside else element.start
        data = bytes(machine.data[: machine.length]) if self.inside else b""
        at, detail, end = element.at, element.detail, element.end
        layer = Layer.PACKET
        if kind in _HALF_BIT_LAYER:
            layer = Layer.HALF_BIT
        elif kind in _BIT_LAYER:
            layer = Layer.BIT
        elif kind is FaultKind.PREAMBLE:
            at, detail = element.start, machine.preamble
        elif kind is FaultKind.MANY_BYTES:
            at, detail = element.start, len(data)
        else:
            # The whole packet is wrong; its last bytes may be the next preamble's first bits.
            at = end = start
            detail = machine.check if kind is FaultKind.ERROR_BYTE else len(data)
        return Fault(kind, layer, start, end, at, detail, data)

    def _found(self, element: Element) -> tuple[Event, ...]:
        """A preamble stands complete: what was lost before it ends where its first one-bit starts."""
        start = max(self._run_start(element), self._lost.end if self._lost else 0)
        lost, self._lost = self._lost, None
        self.settled = start
        if lost is None:
            return ()
        if lost.kind is FaultKind.CUT and start - lost.start <= self._one_max:
            # The capture starts among one-bits, perhaps with the last part of one.
            self.settled = lost.start
            return ()
        if lost.start == self._packet_end and not lost.data and self._is_cutout(lost.start, start, element):
            return (Cutout(lost.start, start),)
        return (attrs.evolve(lost, end=start),)

    def _is_cutout(self, start: int, end: int, element: Element) -> bool:
        """Whether what stands between a packet's end and the run of ones just found is a cutout."""
        if not CUTOUT_MIN <= end - start <= CUTOUT_MAX + 2 * self._one_max:
            return False
        changes = []  # times of the changes, back from the latest
        time = element.end
        for half in reversed(element.halves):
            time -= half
            changes.append(time)
        return start in changes and changes.index(start) - changes.index(end) <= CUTOUT_HALVES

    def _run_start(self, element: Element) -> int:
        machine = self._packets
        halves = element.halves
        if element.bit == core.LONE_ONE:
            run, end = machine.ones, element.end
        elif machine.skew >= machine.ones:
            run, end, halves = machine.skew, element.end - halves[-1], halves[:-1]
        else:
            run, end = machine.ones, element.end
        return end - sum(halves[-2 * run :])
