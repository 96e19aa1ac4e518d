"""Layer 4: bits to packets (S-9.2 A)."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from . import core
from .bit import Bit
from .error import HalfbitError
from .event import Fault, FaultKind, Packet, PacketEvent
from .limits import RECEIVE, Limits, checked
from .machine import run
from .ledger import Element, Ledger

__all__ = ["Packet", "PacketMachine", "packets"]


class PacketMachine:
    """Bits and faults in; packets, cutouts, and one fault for each lost stretch, out.

    A fault comes out when the next preamble is complete, or when the capture ends: only then is it known how far
    the loss reaches. It names the first fault that came in. The others are counted in :attr:`Fault.count`.
    """

    def __init__(self, limits: Limits = RECEIVE) -> None:
        self._core = checked(limits).packets_core()
        self._limits = limits
        self._ledger: Ledger | None = None
        self._reach = Ledger.history(limits)
        #: The last ones fed. Each has at least one half-bit, so they reach back far enough.
        self._events: deque[Bit | Fault] = deque(maxlen=self._reach)

    def feed(self, event: Bit | Fault, /) -> tuple[PacketEvent, ...]:
        """Take the next bit or fault of layer 2 or 3.

        :raises HalfbitError: if ``event`` is neither.
        """
        if isinstance(event, Bit):
            bit, at, detail = core.ONE if event.value else core.ZERO, event.start, 0
            first, last = event.first, event.last
        elif isinstance(event, Fault):
            bit, at, detail = int(event.kind), event.at, event.detail
            first, last = (*_halves_of(event), 0)[:2]
        else:
            raise HalfbitError(f"{event!r} is neither a Bit nor a Fault: feed what BitMachine gives")
        if self._ledger is None:
            self._ledger = Ledger(self._core, self._limits, event.start)
        self._events.append(event)
        answer = self._core.feed(bit, first, last)
        if answer == core.MORE:
            return ()
        halves = self._last_halves() if answer == core.SYNC else []
        complete = self._ledger.answer(answer, Element(bit, event.start, event.end, at, detail), halves)
        return () if complete is None else (complete,)

    def finish(self) -> tuple[PacketEvent, ...]:
        """The capture is over: a packet that has started is cut, a lost stretch ends here."""
        fault = None if self._ledger is None else self._ledger.finish(self._events[-1].end)
        return () if fault is None else (fault,)

    def _last_halves(self) -> list[int]:
        """The durations of the last half-bits, ns, as many as the ledger may need."""
        halves: list[int] = []
        for event in reversed(self._events):
            halves[:0] = (event.first, event.last) if isinstance(event, Bit) else _halves_of(event)
            if len(halves) >= self._reach:
                break
        return halves[-self._reach :]


def _halves_of(fault: Fault) -> tuple[int, ...]:
    """The durations of a fault's half-bits, ns."""
    if fault.at > fault.start:
        return fault.at - fault.start, fault.end - fault.at
    if fault.kind is FaultKind.ZERO_TOO_LONG:
        # Where its middle was is not kept. No cutout starts or ends there.
        return fault.end - fault.start, 0
    return (fault.end - fault.start,)


def packets(bits: Iterable[Bit | Fault], limits: Limits = RECEIVE) -> Iterator[PacketEvent]:
    """The packets of a signal, in order, with cutouts and faults in their places.

    :raises HalfbitError: as :meth:`PacketMachine.feed`.
    """
    return run(PacketMachine(limits), bits)
