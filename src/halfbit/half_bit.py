"""Layer 2: durations between level changes to half-bits (S-9.1 A, table 1)."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator

import attrs

from . import core
from .edge import Edge
from .error import HalfbitError
from .fault import Fault, FaultKind, Layer
from .limits import RECEIVE, Limits

__all__ = ["HalfBit", "HalfBitKind", "HalfBitMachine", "half_bits"]


class HalfBitKind(enum.IntEnum):
    """Which bit a half-bit belongs to by its duration."""

    ONE = core.ONE
    ZERO = core.ZERO


#: By the core's answers; asking the enumeration itself takes ten times as long.
_KINDS = {int(kind): kind for kind in HalfBitKind}


@attrs.frozen(slots=True)
class HalfBit:
    """What lies between two neighbouring level changes, where its duration fits a bit."""

    #: ns from the capture's first change.
    start: int
    #: ns.
    duration: int
    kind: HalfBitKind

    @property
    def end(self) -> int:
        """The ns after it."""
        return self.start + self.duration


class HalfBitMachine:
    """Edges in; half-bits, and a fault for each duration that fits no half-bit, out.

    Only the times count: levels alternate by nature, and which one a half-bit has means nothing,
    since a vehicle may stand either way round on the track.
    """

    def __init__(self, limits: Limits = RECEIVE) -> None:
        self._core = limits.half_bits_core()
        self._before: int | None = None

    def feed(self, edge: Edge) -> tuple[HalfBit | Fault, ...]:
        """Take the next edge; nothing is complete with the first.

        :raises HalfbitError: where it lies before the one before.
        """
        start = self._before
        if start is not None and edge.time < start:
            raise HalfbitError(f"edge at {edge.time} ns lies before the one at {start} ns")
        self._before = edge.time
        if start is None:
            return ()
        duration = edge.time - start
        answer = self._core.feed(duration)
        if answer in (core.ONE, core.ZERO):
            return (HalfBit(start, duration, _KINDS[answer]),)
        return (
            Fault(FaultKind(answer), Layer.HALF_BIT, start, edge.time, at=start, detail=duration),
        )

    def finish(self) -> tuple[HalfBit | Fault, ...]:
        """The capture is over. Nothing can be pending: what follows the last edge has no end."""
        return ()


def half_bits(edges: Iterable[Edge], limits: Limits = RECEIVE) -> Iterator[HalfBit | Fault]:
    """The half-bits of a signal, in order, with faults in their places."""
    machine = HalfBitMachine(limits)
    for edge in edges:
        yield from machine.feed(edge)
    yield from machine.finish()
