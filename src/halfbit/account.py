"""The account of a signal's time: what the core answers, dressed as packets and faults.

Every nanosecond between the first and the last edge comes to lie in one of: a packet with its
preamble, a cutout, a fault's stretch, or idle one-bits between them. The core decides what
happened; here stands only where it starts and ends, once for all ways through the layers.

A stretch that is lost grows with every further fault, until a preamble ends it. So its fields
are kept one by one, and a Fault is made of them only when it is over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import attrs

from . import core
from .fault import HALF_BIT_FAULTS, Cutout, Fault, fault_of
from .limits import US, Limits
from .packet_type import Packet

__all__ = ["Account", "Element", "Event"]

Event = Packet | Fault | Cutout

# Bi-directional communication cutout: ends 454 to 488 us after the packet end bit (S-9.3.2, RCN-217,
# both from memory). A rail seen alone may show the halves next to it as part of it.
CUTOUT_MIN = 454 * US
CUTOUT_MAX = 488 * US
CUTOUT_HALVES = 3


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


def long_as_cutout(duration: int, limits: Limits) -> bool:
    """Whether a stretch behind a packet, ns, lasts as long as a cutout with the half-bits next to it."""
    return CUTOUT_MIN - limits.late_max <= duration <= CUTOUT_MAX + 2 * limits.one_max


class Account:
    """Takes what happened, and gives the events that are complete with it.

    From the core itself: :meth:`answer`, with the element each answer came with, and :meth:`finish`.
    From whoever knows the answers otherwise: :meth:`settle`, :meth:`lose`, :meth:`found`; or, where a packet, or a
    lost stretch from end to end, is known at once, its event is theirs, and they move :attr:`settled` on.

    :param packets: the core's machine, from which bytes and counts are read.
    :param start: where the account starts, ns.
    """

    __slots__ = (
        "settled", "inside", "lost", "count",
        "_packets", "packet_end", "_limits", "_start", "_end", "_at", "_detail", "_data",
    )  # fmt: skip

    def __init__(self, packets: core.Packets, limits: Limits, start: int = 0) -> None:
        self._packets = packets
        #: Where the last packet ended, ns.
        self.packet_end: int | None = None
        # Its ends are seen no better than other changes: one may be seen late, the other in time.
        self._limits = limits
        #: Up to here everything is accounted for, ns.
        self.settled = start
        #: A packet has started.
        self.inside = False
        #: What was lost first, its end not yet known; 0 where nothing is lost. At first: what may be
        #: the rest of a packet.
        self.lost = core.CUT
        self._start = self._end = self._at = start
        self._detail = 0
        self._data = b""
        #: How many half-bits and bits of the lost stretch were wrong.
        self.count = 0

    @staticmethod
    def history(limits: Limits) -> int:
        """How many half-bits back :attr:`Element.halves` must reach for these limits."""
        return 2 * max(core.RUN_LENGTH, limits.preamble_min) + 2 + CUTOUT_HALVES

    def answer(self, answer: int, element: Element) -> tuple[Event, ...]:
        """Take an answer of the core's layer 4 other than MORE."""
        machine = self._packets
        if answer == core.START:
            self.inside = True
            return ()
        if answer == core.PACKET:
            data = bytes(machine.data[: machine.length])
            packet = Packet(data, machine.preamble, self.settled, element.end)
            self.settle(element.end)
            return (packet,)
        if answer != core.SYNC:
            data = bytes(machine.data[: machine.length]) if self.inside else b""
            detail = element.detail
            if answer == core.PREAMBLE:
                detail = machine.preamble
            elif answer == core.ERROR_BYTE:
                detail = machine.check
            self.lose(answer, element.start, element.end, element.at, detail, data)
            if answer != core.RUN:
                return ()
        found = self.found(self._run_start(element), element.end, lambda: element.halves)
        return () if found is None else (found,)

    def settle(self, end: int) -> None:
        """Up to here all is accounted for, by packets."""
        self.settled = self.packet_end = end
        self.inside = False

    def lose(
        self, kind: int, start: int, end: int, at: int, detail: int = 0, data: bytes = b""
    ) -> None:
        """Something is wrong; if nothing was before, a stretch is lost from here on.

        :param kind: the core's answer.
        :param start: the element's first three fields behind ``bit``, as in :class:`Element`.
        :param detail: the element's; the one-bits before the start bit for PREAMBLE, the exclusive or of
            the bytes for ERROR_BYTE.
        :param data: the bytes that were complete, where a packet had started.
        """
        self.count += 1
        lost_from = self.settled if self.inside else start
        self.inside = False
        if self.lost:
            if self.lost != core.CUT or kind not in HALF_BIT_FAULTS:
                return
            # More than the rest of a packet: the signal itself is wrong from the start.
            lost_from = self._start
        self.lost = kind
        if kind >= core.PREAMBLE:
            at = start
            if kind not in (core.PREAMBLE, core.MANY_BYTES):
                # The whole packet is wrong; its last bytes may be the next preamble's first bits.
                at = end = lost_from
            if kind not in (core.PREAMBLE, core.ERROR_BYTE):
                detail = len(data)
        self._start, self._end, self._at = lost_from, end, at
        self._detail, self._data = detail, data

    def found(
        self, start: int, end: int, halves: Callable[[], Sequence[int]]
    ) -> Fault | Cutout | None:
        """A preamble stands complete: what was lost before it ends where its first one-bit starts.

        :param start: of the preamble's run of one-bits.
        :param halves: gives half-bits up to ``end``, which reach back from there beyond the preamble's
            start by CUTOUT_HALVES half-bits, or to the beginning.
        """
        if start < self._end and self.lost:
            start = self._end
        self.settled = start
        if not self.lost:
            return None
        lost_from = self._start
        if self.lost == core.CUT and start - lost_from <= self._limits.one_max:
            # The capture starts among one-bits, perhaps with the last part of one.
            self.settled = lost_from
            self.lost = self.count = 0
            return None
        if lost_from == self.packet_end and not self._data and long_as_cutout(start - lost_from, self._limits):
            if _few_between(lost_from, start, end, halves()):
                self.lost = self.count = 0
                return Cutout(lost_from, start)
        return self._fault(start)

    def finish(self, end: int) -> tuple[Event, ...]:
        """The signal ends here: what is pending is lost or cut."""
        if self.inside:
            data = bytes(self._packets.data[: self._packets.length])
            self.inside = False
            self.lost, self._start, self._at = core.CUT, self.settled, end
            self._detail, self._data, self.count = len(data), data, 1
        elif not self.lost or self._start == end:
            self.lost = 0
            return ()
        elif self.lost in (core.LONE_ONE, core.LONE_ZERO) and self._end == end:
            # Not a half-bit without its other half, but one whose other half the capture lacks.
            self.lost, self._detail = core.CUT, len(self._data)
        self.settled = end
        return (self._fault(end),)

    def _fault(self, end: int) -> Fault:
        """The lost stretch, which ends here."""
        fault = fault_of(
            self.lost, self._start, end, self._at, self._detail, self._data, self.count
        )
        self.lost = self.count = 0
        return fault

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


def _few_between(start: int, end: int, now: int, halves: Sequence[int]) -> bool:
    """Whether no more half-bits lie between two changes than a cutout shows.

    :param now: the end of the last of ``halves``.
    """
    changes = [now]  # times of the changes, back from the latest
    for half in reversed(halves):
        now -= half
        changes.append(now)
    return start in changes and changes.index(start) - changes.index(end) <= CUTOUT_HALVES
