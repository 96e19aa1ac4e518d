"""Layer 4: bits to packets (S-9.2 A)."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from . import core
from .account import Account, Element, Event
from .bit import Bit
from .fault import Fault, FaultKind
from .limits import RECEIVE, Limits
from .packet_type import Packet, exclusive_or

__all__ = ["Packet", "PacketMachine", "packets"]

#: How many one-bits are kept until it shows whether a clean packet follows.
LONGEST = 1024

#: Answers with which a preamble stands complete: only with these does the account look back.
_FOUND = (core.SYNC, core.RUN)


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
        self._reach = Account.history(limits)
        #: The last ones fed. Each has a half-bit at least, so they reach back far enough.
        self._events: deque[Bit | Fault] = deque(maxlen=self._reach)

    def feed(self, event: Bit | Fault) -> tuple[Event, ...]:
        """Take the next bit or fault."""
        if self._account is None:
            self._account = Account(self._core, self._limits, event.start)
        self._events.append(event)
        if isinstance(event, Bit):
            bit = core.ONE if event.value else core.ZERO
            answer = self._core.feed(bit, event.first, event.last)
        else:
            first, *others = _halves(event)
            answer = self._core.feed(int(event.kind), first, sum(others))
        return () if answer == core.MORE else self._answer(answer, event)

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        return () if self._account is None else self._account.finish(self._events[-1].end)

    def _answer(self, answer: int, event: Bit | Fault) -> tuple[Event, ...]:
        """What is complete with an answer of the core, which came with the last event."""
        if isinstance(event, Bit):
            bit, at, detail = core.ONE if event.value else core.ZERO, event.start, 0
        else:
            bit, at, detail = int(event.kind), event.at, event.detail
        halves: list[int] = []
        if answer in _FOUND:
            halves = [half for one in self._events for half in _halves(one)][-self._reach :]
        assert self._account is not None
        return self._account.answer(answer, Element(bit, event.start, event.end, at, detail, halves))

    def _clean(self, bits: Iterator[Bit | Fault], taken: list[Bit | Fault]) -> Packet | None:
        """While the core is IDLE: take bits up to the end of the next packet, if it is clean.

        The core need not see these: up to there it would answer nothing but START, and there it is IDLE
        again, with the end bit counted (S-9.2 A).

        :param taken: gets what was taken, if it was anything.
        :returns: ``None`` with the first bit that shows no clean packet (a fault, too short a preamble, a
            wrong error byte), or where the bits end. Then what was taken has still to be fed.
        """
        layer_4, account = self._core, self._account
        assert account is not None
        take = taken.append
        for bit in bits:
            take(bit)
            if not isinstance(bit, Bit) or len(taken) == LONGEST:
                return None
            if not bit.value:
                break
        preamble = layer_4.ones + len(taken) - 1
        if preamble < layer_4.preamble_min:
            return None
        data = bytearray()
        value = 0
        while not value & 1:
            if len(data) == len(layer_4.data):
                return None
            value = 1  # and behind it the bits of a byte, and the one that tells whether the packet ends
            for bit in bits:
                take(bit)
                if not isinstance(bit, Bit):
                    return None
                value += value + bit.value
                if value >= 1 << 9:
                    break
            else:
                return None
            data.append(value >> 1 & 255)
        if len(data) < layer_4.packet_min or exclusive_or(data) or not isinstance(bit, Bit):
            return None
        layer_4.ones, layer_4.skew, layer_4.before = 1, 0, bit.last
        self._events.extend(taken)
        packet = Packet(bytes(data), min(preamble, core.COUNT_MAX), account.settled, bit.end)
        account.settle(bit.end)
        return packet

    def _search(self, bits: Iterator[Bit | Fault]) -> list[Bit | Fault]:
        """While the core is LOST and has counted no one-bit: take bits up to where a preamble may be.

        Up to each zero-bit the core would only count, and behind it from 0 again.

        :returns: what has still to be fed: the one-bits since the last zero-bit, enough for a preamble,
            or fewer and a fault or the end behind them.
        """
        enough = self._core.preamble_min
        ones: list[Bit | Fault] = []
        for bit in bits:
            ones.append(bit)
            if not isinstance(bit, Bit):
                break
            if not bit.value:
                self._events.extend(ones)
                ones.clear()
            elif len(ones) == enough:
                break
        return ones


def _halves(event: Bit | Fault) -> tuple[int, ...]:
    """The durations of its half-bits, where they are known."""
    if isinstance(event, Bit):
        return event.first, event.last
    if event.kind is FaultKind.UNEQUAL:
        return event.at - event.start, event.end - event.at
    return (event.end - event.start,)


def packets(bits: Iterable[Bit | Fault], limits: Limits = RECEIVE) -> Iterator[Event]:
    """The packets of a signal, in order, with faults in their places.

    Most bits are taken past the machine, where what they do to it can be told in a few words.
    """
    machine = PacketMachine(limits)
    layer_4, feed = machine._core, machine.feed
    source = iter(bits)
    for event in source:
        if complete := feed(event):
            yield from complete
        if layer_4.state == core.LOST and layer_4.ones == layer_4.skew == layer_4.before == 0:
            for one in machine._search(source):
                yield from feed(one)
        while layer_4.state == core.IDLE:
            taken: list[Bit | Fault] = []
            packet = machine._clean(source, taken)
            if packet is not None:
                yield packet
                continue
            for one in taken:
                yield from feed(one)
            if not taken:
                break  # the bits have ended
    yield from machine.finish()
