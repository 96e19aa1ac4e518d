"""Layer 3: half-bits to bits (S-9.1 A)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import attrs

from . import core
from .fault import Fault, FaultKind, Layer
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
        self._start = 0  # of the held half-bit
        self._end = 0

    def feed(self, event: HalfBit | Fault) -> tuple[Bit | Fault, ...]:
        """Take the next half-bit. A fault between takes a half-bit that waited for its other with it."""
        machine = self._core
        held, start = machine.held, self._start
        half = int(event.kind)
        duration = event.end - event.start
        answer = machine.feed(half, duration)
        self._start, self._end = event.start, event.end
        if isinstance(event, Fault):
            return (attrs.evolve(event, start=start) if held else event,)
        if answer == core.MORE:
            return ()
        if answer in (core.ONE, core.ZERO):
            return (Bit(int(answer == core.ONE), start, machine.first, machine.last),)
        kind = FaultKind(answer)
        if kind is FaultKind.UNEQUAL:
            difference = abs(machine.first - machine.last)
            return (Fault(kind, Layer.BIT, start, event.end, at=event.start, detail=difference),)
        end = event.end if kind is FaultKind.STRETCHED else event.start
        return (Fault(kind, Layer.BIT, start, end, at=start, detail=end - start),)

    def finish(self) -> tuple[Bit | Fault, ...]:
        """The capture is over; a half-bit that waits for its other half is a lone one."""
        held, self._core.held = self._core.held, core.MORE
        if held == core.MORE:
            return ()
        kind = FaultKind.LONE_ONE if held == core.ONE else FaultKind.LONE_ZERO
        detail = self._end - self._start
        return (Fault(kind, Layer.BIT, self._start, self._end, at=self._start, detail=detail),)


def bits(
    half_bits: Iterable[HalfBit | Fault], limits: Limits = RECEIVE
) -> Iterator[Bit | Fault]:
    """The bits of a signal, in order, with faults in their places.

    Where no half-bit waits and the next two are a sound bit, it is made here: the machine would answer
    the same, and nothing waits behind it either. All else is the machine's.
    """
    machine = BitMachine(limits)
    layer_3 = machine._core
    one_difference, zero_total_max = layer_3.one_difference, layer_3.zero_total_max
    one, zero = HalfBitKind.ONE, HalfBitKind.ZERO
    events = iter(half_bits)
    for event in events:
        if layer_3.held == core.MORE and isinstance(event, HalfBit):
            after = next(events, None)
            if isinstance(after, HalfBit) and (kind := event.kind) is after.kind:
                first, last = event.duration, after.duration
                if (kind is one and -one_difference <= first - last <= one_difference) or (
                    kind is zero and first + last <= zero_total_max
                ):
                    bit = _UnfrozenBit()
                    bit.value = 1 if kind is one else 0
                    bit.start = event.start
                    bit.first = first
                    bit.last = last
                    bit.__class__ = Bit
                    yield bit
                    continue
            machine.feed(event)  # which answers nothing, since it is the first half of a bit
            if after is None:
                break
            event = after
        yield from machine.feed(event)
    yield from machine.finish()
