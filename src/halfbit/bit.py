"""Layer 3: half-bits to bits (S-9.1 A)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import attrs

from . import core
from .error import HalfbitError
from .event import Fault, FaultKind
from .half_bit import HalfBit
from .limits import RECEIVE, Limits, checked
from .machine import run

__all__ = ["Bit", "BitMachine", "bits"]


@attrs.frozen(slots=True)
class Bit:
    """Two half-bits of the same kind, one after the other (S-9.1 A)."""

    #: 0 or 1.
    value: int
    #: ns from the capture's first change.
    start: int
    #: Duration of its first half, ns.
    first: int
    #: Duration of its last half, ns.
    last: int

    @property
    def end(self) -> int:
        """First ns after it."""
        return self.start + self.first + self.last


class BitMachine:
    """Half-bits and their faults in; bits and faults out.

    While only ones come, the pairs may be one half-bit off: which change starts a bit cannot be known before the
    first zero. Then the odd half-bit comes out as UNPAIRED_ONE or UNPAIRED_ZERO.
    """

    def __init__(self, limits: Limits = RECEIVE) -> None:
        self._core = checked(limits).bits_core()
        self._waiting: HalfBit | None = None  # for its other half

    def feed(self, event: HalfBit | Fault, /) -> tuple[Bit | Fault, ...]:
        """Take the next half-bit or fault of layer 2. A fault takes a half-bit that waited for its other half with it.

        :raises HalfbitError: if ``event`` is neither.
        """
        if not isinstance(event, (HalfBit, Fault)):
            raise HalfbitError(f"{event!r} is neither a HalfBit nor a Fault: feed what HalfBitMachine gives")
        machine, waiting = self._core, self._waiting
        start, end = event.start if waiting is None else waiting.start, event.end
        answer = machine.feed(int(event.kind), end - event.start)
        self._waiting = event if isinstance(event, HalfBit) and machine.held != core.MORE else None
        if isinstance(event, Fault):
            return (event if waiting is None else attrs.evolve(event, start=start),)
        if answer == core.MORE:
            return ()
        first, last = machine.first, machine.last
        if answer in (core.ONE, core.ZERO):
            return (Bit(int(answer == core.ONE), start, first, last),)
        if answer == core.UNEQUAL:
            return (Fault(FaultKind.UNEQUAL, start, end, event.start, abs(first - last)),)
        if answer != core.ZERO_TOO_LONG:
            end = event.start  # the second half is not lost: it waits for its other half now
        return (Fault(FaultKind(answer), start, end, start, end - start),)

    def finish(self) -> tuple[Bit | Fault, ...]:
        """The capture is over. A half-bit that waits for its other half is unpaired."""
        waiting, self._waiting = self._waiting, None
        self._core.held, self._core.waiting = core.MORE, 0
        if waiting is None:
            return ()
        kind = FaultKind.UNPAIRED_ONE if waiting.kind == core.ONE else FaultKind.UNPAIRED_ZERO
        return (Fault(kind, waiting.start, waiting.end, waiting.start, waiting.duration),)


def bits(half_bits: Iterable[HalfBit | Fault], limits: Limits = RECEIVE) -> Iterator[Bit | Fault]:
    """The bits of a signal, in order, with faults in their places.

    :raises HalfbitError: as :meth:`BitMachine.feed`.
    """
    return run(BitMachine(limits), half_bits)
