"""Layer 4: bits to packets (S-9.2 A)."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from . import core
from .account import Account, Element, Event
from .bit import Bit
from .fault import Fault, FaultKind
from .limits import RECEIVE, Limits
from .packet_type import Packet, exclusive_or, packet_of

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
        account = self._account
        if account is None:
            account = self._account = Account(self._core, self._limits, event.start)
        self._events.append(event)
        if isinstance(event, Bit):
            bit, at, detail = core.ONE if event.value else core.ZERO, event.start, 0
            first, last = event.first, event.last
        else:
            bit, at, detail = int(event.kind), event.at, event.detail
            first, last = _parts(event)
        answer = self._core.feed(bit, first, last)
        if answer == core.MORE:
            return ()
        if answer == bit and not account.inside:
            # A fault that tears no packet: the account needs no more than this.
            account.lose(bit, event.start, event.end, at, detail)
            return ()
        halves = self._last_halves() if answer in _FOUND else []
        return account.answer(answer, Element(bit, event.start, event.end, at, detail, halves))

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        return () if self._account is None else self._account.finish(self._events[-1].end)

    def _last_halves(self) -> list[int]:
        """The durations of the last half-bits, as many as the account may need."""
        halves: list[int] = []  # the last one first
        for event in reversed(self._events):
            if isinstance(event, Bit):
                halves += (event.last, event.first)
            elif event.at > event.start:
                # The half-bit that is wrong, and one that waited for its other half.
                halves += (event.end - event.at, event.at - event.start)
            elif event.kind is FaultKind.STRETCHED:
                # Two. Where one ends is not told; a cutout neither begins nor ends there.
                halves += reversed(_parts(event))
            else:
                halves.append(event.end - event.start)
            if len(halves) >= self._reach:
                break
        return halves[self._reach - 1 :: -1]


def _parts(fault: Fault) -> tuple[int, int]:
    """The durations of its half-bits, where they are known; else its own and 0."""
    if fault.kind is FaultKind.UNEQUAL:
        return fault.at - fault.start, fault.end - fault.at
    return fault.end - fault.start, 0


def packets(bits: Iterable[Bit | Fault], limits: Limits = RECEIVE) -> Iterator[Event]:
    """The packets of a signal, in order, with faults in their places.

    Most bits are taken past the core, where what they do to it can be told in a few words.
    """
    machine = _Past(limits)
    source = iter(bits)
    first = next(source, None)
    complete = None if first is None else machine.feed(first)
    while complete is not None:
        yield from complete
        complete = machine.take(source)
    yield from machine.finish()


class _Past(PacketMachine):
    """The machine with ways past its core.

    Before the core is fed again it is set to where it would be, had it been fed what was taken past it;
    but for what a packet leaves in it, which the next start bit clears.
    """

    def take(self, bits: Iterator[Bit | Fault]) -> tuple[Event, ...] | None:
        """Take bits until something may be complete.

        :returns: what is complete; ``None`` where the bits have ended.
        """
        if self._core.state == core.LOST:
            return self._search(bits)
        if self._core.state == core.IDLE:
            return self._packet(bits)
        return None  # A packet has been fed up to where the bits end.

    def _search(self, bits: Iterator[Bit | Fault]) -> tuple[Event, ...] | None:
        """While LOST: up to a fault, or the first one-bit with which a preamble can stand complete."""
        layer_4 = self._core
        ones: list[Bit] = []  # since the last zero-bit
        # With so many no preamble is complete: neither count of one-bits rises by more than one with each.
        harmless = layer_4.preamble_min - max(layer_4.ones, layer_4.skew) - 1
        for event in bits:
            if isinstance(event, Bit):
                if not event.value:
                    self._events.extend((*ones, event))
                    ones.clear()
                    layer_4.ones = layer_4.skew = layer_4.before = 0
                    harmless = layer_4.preamble_min - 1
                    continue
                if len(ones) < harmless:
                    ones.append(event)
                    continue
            self._count(ones)
            return self.feed(event)
        self._count(ones)
        return None

    def _packet(self, bits: Iterator[Bit | Fault]) -> tuple[Event, ...] | None:
        """While IDLE: up to the end of a packet, or where it shows that there is none."""
        layer_4 = self._core
        ones: list[Bit] = []
        for event in bits:
            if isinstance(event, Bit) and event.value:
                ones.append(event)
                if len(ones) < LONGEST:
                    continue
                self._count(ones)
                return ()
            if not isinstance(event, Bit) or layer_4.ones + len(ones) < layer_4.preamble_min:
                self._count(ones)
                return self.feed(event)
            self._events.extend((*ones, event))
            return self._bytes(bits, min(layer_4.ones + len(ones), core.COUNT_MAX))
        self._count(ones)
        return None

    def _count(self, ones: list[Bit]) -> None:
        """One-bits with which nothing is complete: they are only counted, both ways, as the core does."""
        layer_4 = self._core
        most = layer_4.one_difference
        skew, before = layer_4.skew, layer_4.before
        for bit in ones:
            skew = skew + 1 if before and -most <= bit.first - before <= most else 0
            before = bit.last
        layer_4.ones = min(layer_4.ones + len(ones), core.COUNT_MAX)
        layer_4.skew, layer_4.before = min(skew, core.COUNT_MAX), before
        self._events.extend(ones)

    def _bytes(self, bits: Iterator[Bit | Fault], preamble: int) -> tuple[Event, ...]:
        """Behind a packet start bit: up to the packet's end, or where it shows that it is torn or wrong.

        :param preamble: how many one-bits stand before the start bit.
        """
        layer_4, account = self._core, self._account
        assert account is not None
        data = bytearray()
        taken: list[Bit | Fault] = []  # since the last byte's start bit
        value = 1  # and behind it the bits of a byte, and the one that tells whether the packet ends
        for bit in bits:
            taken.append(bit)
            if not isinstance(bit, Bit):
                break
            value += value + bit.value
            if value < 1 << 9:
                continue
            byte = value >> 1 & 255
            if value & 1:
                if len(data) + 1 < layer_4.packet_min or exclusive_or(data) != byte:
                    break
                data.append(byte)
                layer_4.ones, layer_4.skew, layer_4.before = 1, 0, bit.last  # the end bit counts (S-9.2 A)
                self._events.extend(taken)
                packet = packet_of(bytes(data), preamble, account.settled, bit.end)
                account.settle(bit.end)
                return (packet,)
            if len(data) + 1 == len(layer_4.data):
                break
            data.append(byte)
            self._events.extend(taken)
            taken.clear()
            value = 1
        return self._wrong(data, taken)

    def _wrong(self, data: bytearray, taken: list[Bit | Fault]) -> tuple[Event, ...]:
        """What is wrong with a packet is the core's to say, or that the bits end in it.

        :param data: its bytes that are followed by another's start bit.
        :param taken: what came since the last start bit of a byte.
        """
        layer_4, account = self._core, self._account
        assert account is not None
        layer_4.state, layer_4.room = core.BYTE, 8
        layer_4.ones = layer_4.skew = layer_4.before = 0
        layer_4.length, layer_4.check = len(data), exclusive_or(data)
        layer_4.data[: len(data)] = data
        account.inside = True
        *sound, last = taken or (None,)
        for bit in sound:  # with these nothing is complete
            assert isinstance(bit, Bit)
            self._events.append(bit)
            layer_4.feed(core.ONE if bit.value else core.ZERO, bit.first, bit.last)
        return () if last is None else self.feed(last)
