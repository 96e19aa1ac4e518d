"""Layer 2: durations between level changes to half-bits (S-9.1 A, table 1)."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator

import attrs

from . import core
from .edge import Edge, not_an_edge
from .error import HalfbitError
from .event import Fault, FaultKind
from .limits import RECEIVE, Limits, checked
from .machine import run
from .unit import whole

__all__ = ["HalfBit", "HalfBitKind", "HalfBitMachine", "half_bits"]


class HalfBitKind(enum.IntEnum):
    """The bit that a half-bit belongs to, by its duration. The numbers are the core's answers."""

    #: Half of a one-bit.
    ONE = core.ONE
    #: Half of a zero-bit.
    ZERO = core.ZERO


_KINDS = {int(kind): kind for kind in HalfBitKind}  # HalfBitKind(answer) takes a third of the whole layer's time


@attrs.frozen(slots=True)
class HalfBit:
    """The signal between two neighbouring level changes, if its duration fits a bit (S-9.1 A, table 1)."""

    #: ns from the capture's first change.
    start: int
    #: ns.
    duration: int
    #: Half of a one-bit or half of a zero-bit.
    kind: HalfBitKind

    @property
    def end(self) -> int:
        """First ns after it."""
        return self.start + self.duration


class HalfBitMachine:
    """Edges in; half-bits out, and a fault for each duration that fits no half-bit.

    Only the times count. Levels alternate by nature, and which level a half-bit has means nothing, since a
    vehicle may stand on the track either way round.
    """

    def __init__(self, limits: Limits = RECEIVE) -> None:
        self._core = checked(limits).half_bits_core()
        self._previous: int | None = None

    def feed(self, edge: Edge, /) -> tuple[HalfBit | Fault, ...]:
        """Take the next edge. The first one completes nothing.

        :raises HalfbitError: if ``edge`` is not an :class:`Edge`, its time is not an integer, or it comes before the
            edge fed last.
        """
        if not isinstance(edge, Edge):
            raise not_an_edge(edge)
        start, end = self._previous, edge.time
        if type(end) is not int:
            end = whole(end, "time of an edge")
        if start is None:
            self._previous = end
            return ()
        if end < start:
            raise HalfbitError(f"edge at {end} ns comes before the one at {start} ns: feed edges in order of time")
        self._previous = end
        duration = end - start
        answer = self._core.feed(duration)
        if kind := _KINDS.get(answer):
            return (HalfBit(start, duration, kind),)
        return (Fault(FaultKind(answer), start, end, start, duration),)

    def finish(self) -> tuple[HalfBit | Fault, ...]:
        """The capture is over. Nothing can be pending: what follows the last edge has no end."""
        return ()


def half_bits(edges: Iterable[Edge], limits: Limits = RECEIVE) -> Iterator[HalfBit | Fault]:
    """The half-bits of a signal, in order, with faults in their places.

    :raises HalfbitError: as :meth:`HalfBitMachine.feed`.
    """
    return run(HalfBitMachine(limits), edges)
