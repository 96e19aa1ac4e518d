"""Layer 4: bits to packets (S-9.2 A)."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from . import core
from .account import Account, Element, Event
from .bit import Bit
from .fault import Fault, FaultKind
from .limits import RECEIVE, Limits
from .packet_type import Packet

__all__ = ["Packet", "PacketMachine", "packets"]


class PacketMachine:
    """Bits and faults in; packets, and one fault for each stretch that was lost, out.

    A fault comes out when the next preamble stands complete (or the capture ends): only then is
    known how far the loss reaches. Faults that came in are not passed on one by one: the
    fault that comes out names the first of them.
    """

    def __init__(self, limits: Limits = RECEIVE) -> None:
        self._core = limits.packets_core()
        self._account: Account | None = None
        self._limits = limits
        self._halves: deque[int] = deque(maxlen=Account.history(limits))
        self._end = 0

    def feed(self, event: Bit | Fault) -> tuple[Event, ...]:
        """Take the next bit or fault."""
        if self._account is None:
            self._account = Account(self._core, self._limits, event.start)
        if isinstance(event, Bit):
            bit = core.ONE if event.value else core.ZERO
            first, last = event.first, event.last
            self._halves.append(first)
            self._halves.append(last)
            at, detail = event.start, 0
        else:
            bit, at, detail = int(event.kind), event.at, event.detail
            first, last = event.end - event.start, 0
            if event.kind is FaultKind.UNEQUAL:
                first, last = event.at - event.start, event.end - event.at
                self._halves.append(first)
                self._halves.append(last)
            else:
                self._halves.append(first)
        self._end = event.end
        answer = self._core.feed(bit, first, last)
        if answer == core.MORE:
            return ()
        element = Element(bit, event.start, event.end, at, detail, tuple(self._halves))
        return self._account.answer(answer, element)

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        return () if self._account is None else self._account.finish(self._end)


def packets(bits: Iterable[Bit | Fault], limits: Limits = RECEIVE) -> Iterator[Event]:
    """The packets of a signal, in order, with faults in their places."""
    machine = PacketMachine(limits)
    for event in bits:
        yield from machine.feed(event)
    yield from machine.finish()
