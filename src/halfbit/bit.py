"""Layer 3: half-bits to bits (S-9.1 A)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import attrs

from . import core
from .fault import Fault, fault_of
from .half_bit import HalfBit, HalfBitKind
from .limits import RECEIVE, Limits
from .unfrozen import unfrozen

__all__ = ["Bit", "BitMachine", "bits"]


@attrs.frozen(slots=True, weakref_slot=False)
class Bit:
    """Two half-bits of the same kind that follow one another."""

    #: 0 or 1.
    value: int
    #: ns from the capture's first change.
    start: int
    #: Duration of its first part, ns.
    first: int
    #: Duration of its last part, ns.
    last: int

    @property
    def end(self) -> int:
        """The ns after it."""
        return self.start + self.first + self.last


_UnfrozenBit = unfrozen(Bit)


class BitMachine:
    """Half-bits and their faults in; bits and faults out.

    While only ones come, pairs may be one half-bit off: which change starts a bit cannot be
    known before the first zero. Then the odd half-bit comes out as LONE_ONE or LONE_ZERO.
    """

    def __init__(self, limits: Limits = RECEIVE) -> None:
        self._core = limits.bits_core()
        self._waiting: HalfBit | None = None  # for its other half

    def feed(self, event: HalfBit | Fault) -> tuple[Bit | Fault, ...]:
        """Take the next half-bit. A fault between takes a half-bit that waited for its other with it."""
        machine, waiting = self._core, self._waiting
        end = event.end
        answer = machine.feed(int(event.kind), end - event.start)
        self._waiting = None
        if isinstance(event, HalfBit):
            if machine.held != core.MORE:
                self._waiting = event
        else:
            return (event if waiting is None else _from(waiting.start, event),)
        if waiting is None:
            return ()
        start, first, last = waiting.start, machine.first, machine.last
        if answer in (core.ONE, core.ZERO):
            return (Bit(int(answer == core.ONE), start, first, last),)
        if answer == core.UNEQUAL:
            return (fault_of(answer, start, end, event.start, abs(first - last)),)
        if answer != core.STRETCHED:
            end = event.start  # which is not lost: it waits for its other half now
        return (fault_of(answer, start, end, start, end - start),)

    def finish(self) -> tuple[Bit | Fault, ...]:
        """The capture is over; a half-bit that waits for its other half is a lone one."""
        waiting = self._take()
        if waiting is None:
            return ()
        answer = core.LONE_ONE if waiting.kind is HalfBitKind.ONE else core.LONE_ZERO
        start = waiting.start
        return (fault_of(answer, start, waiting.end, start, waiting.duration),)

    def _take(self) -> HalfBit | None:
        """The half-bit that waits, and nothing waits any more."""
        waiting, self._waiting = self._waiting, None
        self._core.held, self._core.waiting = core.MORE, 0
        return waiting


def _from(start: int, fault: Fault) -> Fault:
    """A fault that starts earlier than it did."""
    return Fault(
        fault.kind, fault.layer, start, fault.end, fault.at, fault.detail, fault.data, fault.count
    )


def bits(
    half_bits: Iterable[HalfBit | Fault], limits: Limits = RECEIVE
) -> Iterator[Bit | Fault]:
    """The bits of a signal, in order, with faults in their places.

    Two half-bits that are a sound bit become one here: the machine would answer the same, and nothing
    waits behind it either. All other pairs are the machine's.
    """
    machine = BitMachine(limits)
    one_difference, zero_total_max = machine._core.one_difference, machine._core.zero_total_max
    one, zero = HalfBitKind.ONE, HalfBitKind.ZERO
    waiting: HalfBit | None = None  # not in the machine, but here
    for event in half_bits:
        if waiting is None:
            if isinstance(event, HalfBit):
                waiting = event
            else:
                yield event
            continue
        kind = waiting.kind
        if isinstance(event, HalfBit) and kind is event.kind:
            first, last = waiting.duration, event.duration
            if (kind is one and -one_difference <= first - last <= one_difference) or (
                kind is zero and first + last <= zero_total_max
            ):
                bit = _UnfrozenBit()
                bit.value = 1 if kind is one else 0
                bit.start = waiting.start
                bit.first = first
                bit.last = last
                bit.__class__ = Bit
                yield bit
                waiting = None
                continue
        machine.feed(waiting)
        yield from machine.feed(event)
        waiting = machine._take()
    if waiting is not None:
        machine.feed(waiting)
        yield from machine.finish()
