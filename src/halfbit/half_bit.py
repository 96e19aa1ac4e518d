"""Layer 2: durations between level changes to half-bits (S-9.1 A, table 1)."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator
from itertools import accumulate, chain
from operator import attrgetter

import attrs

from . import core
from .edge import Edge, Edges
from .error import HalfbitError
from .fault import Fault, fault_of
from .limits import RECEIVE, Limits
from .unfrozen import unfrozen

__all__ = ["HalfBit", "HalfBitKind", "HalfBitMachine", "half_bits"]


class HalfBitKind(enum.IntEnum):
    """Which bit a half-bit belongs to by its duration."""

    ONE = core.ONE
    ZERO = core.ZERO


#: By the core's answers; asking the enumeration itself takes ten times as long.
_KINDS = {int(kind): kind for kind in HalfBitKind}


@attrs.frozen(slots=True, weakref_slot=False)
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


_UnfrozenHalfBit = unfrozen(HalfBit)


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
        complete = () if start is None else (self._between(start, edge.time),)
        self._before = edge.time
        return complete

    def finish(self) -> tuple[HalfBit | Fault, ...]:
        """The capture is over. Nothing can be pending: what follows the last edge has no end."""
        return ()

    def _between(self, start: int, end: int) -> HalfBit | Fault:
        """What lies between two neighbouring edges, whatever edge was fed before.

        :raises HalfbitError: where ``end`` lies before ``start``.
        """
        if end < start:
            raise HalfbitError(f"edge at {end} ns lies before the one at {start} ns")
        duration = end - start
        answer = self._core.feed(duration)
        if answer in (core.ONE, core.ZERO):
            return HalfBit(start, duration, _KINDS[answer])
        return fault_of(answer, start, end, start, duration)


def half_bits(edges: Iterable[Edge], limits: Limits = RECEIVE) -> Iterator[HalfBit | Fault]:
    """The half-bits of a signal, in order, with faults in their places.

    What fits a window is made here: the core asks the same, and keeps nothing from one to the next. All
    else is the machine's.

    :param edges: an :class:`Edges` is asked for its times only, and no :class:`Edge` is made.
    :raises HalfbitError: where an edge lies before the one before.
    """
    machine = HalfBitMachine(limits)
    one_min, one_max = limits.one_min, limits.one_max
    zero_min, zero_max = limits.zero_min, limits.zero_max
    one, zero = HalfBitKind.ONE, HalfBitKind.ZERO
    times = _times(edges)
    start = next(times, 0)
    for end in times:
        duration = end - start
        if one_min <= duration <= one_max:
            kind = one
        elif zero_min <= duration <= zero_max:
            kind = zero
        else:
            yield machine._between(start, end)
            start = end
            continue
        half = _UnfrozenHalfBit()
        half.start = start
        half.duration = duration
        half.kind = kind
        half.__class__ = HalfBit
        yield half
        start = end


def _times(edges: Iterable[Edge]) -> Iterator[int]:
    """When the edges are, ns, each as soon as it is known."""
    if not isinstance(edges, Edges):
        return map(attrgetter("time"), edges)
    pieces = ([count * scale for count in counts] for counts, scale in edges.durations())
    # If there is no edge, the time of the first one is wrong, but nothing is complete with it either.
    return accumulate(chain.from_iterable(pieces), initial=0)
