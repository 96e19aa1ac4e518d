"""Layer 1, directly after the capture: removes level changes that are noise.

A signal may cross more than once where it changes: distortion of up to +-2 V reaches across the
crossing (S-9.1 B), and short pulses break into half-bits. Both show as changes closer together
than any half-bit is long. So a row of changes, each less than a minimum after the one before,
counts as one *crossing*.

- Even number of changes: the level is the same as before. All of them are removed. This is a spike.
- Odd number of changes: the level is different. One change is kept.

Which change is the true one cannot be seen from the crossing itself. With noise on a slope it is
the middle one. With ringing it is the first. With a spike shortly before, it is the last. The
middle is never wrong by more than half of the crossing's length, so the middle is used. Exception:
if the first or the last change gives a duration that was also seen among the last durations
without noise, that change is used, because the half-bits of a signal repeat. (Without this rule,
spikes of up to 5 us within 5 us of a crossing would cost one packet in a thousand, because the
halves of a one-bit may differ by only 6 us.)

A capture's first crossing is different. Times are counted from the first change, so the first
change is always kept. The level is known from there on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, pairwise

import attrs

from ..batch import LARGEST
from ..edge import Edge, Edges, not_an_edge
from ..error import HalfbitError
from ..unit import Number, Scale, Unit, whole

__all__ = ["EdgeFilter", "FilteredEdges", "Removed", "filtered"]

MEMORY = 16  #: Number of noise-free durations that are remembered. 16 are enough to include both ones and zeros.


@attrs.frozen(slots=True)
class Removed:
    """Counts of what a filter removed. Times are ns on the clock of the edges."""

    crossings: int = 0  #: Crossings with three or more changes, of which one was kept.
    spikes: int = 0  #: Spikes: crossings after which the level was the same as before. All their changes were removed.
    changes: int = 0  #: Total number of changes removed.
    first: int | None = None  #: Start of the first such crossing or spike, ns; ``None`` if nothing was removed.
    last: int | None = None  #: Start of the last one, ns.
    longest: int = 0  #: Length of the longest one, ns, from its first change to its last.


class EdgeFilter:
    """Takes edges and returns those that are not noise. An edge comes out when the next crossing begins.

    Memory use is constant. Removed changes are counted.

    :param minimum: ns; changes closer together than this are one crossing. A half-bit is at least
        52 us long (S-9.1 A, table 1), so anything well below that is not a half-bit.
    :raises HalfbitError: if ``minimum`` is not a whole number of nanoseconds from 1 up.
    """

    def __init__(self, minimum: int) -> None:
        if isinstance(minimum, bool) or not isinstance(minimum, int) or minimum < 1:
            raise HalfbitError(f"minimum: {minimum!r} is not a number of nanoseconds from 1 up")
        self.minimum = minimum
        self._count = 0  # changes so far in the current crossing
        self._first = 0  # time of its first change, ns
        self._last = 0
        self._level = 0  # level after its last change
        self._opening = True  # this is the capture's first crossing
        self._removed = Removed()
        self._kept = 0  # time of the change kept from the crossing before, ns
        self._sure = False  # that crossing had no noise
        self._seen: deque[int] = deque(maxlen=MEMORY)  # the last durations between two noise-free crossings, ns

    @property
    def _idle(self) -> bool:
        """True if no crossing has begun yet."""
        return self._count == 0

    @property
    def removed(self) -> Removed:
        """Counts of what has been removed so far; times in ns."""
        return self._removed

    def feed(self, edge: Edge) -> tuple[Edge, ...]:
        """Take the next edge.

        :returns: the edges that are now known to be true changes.
        :raises HalfbitError: if it is not an :class:`Edge`, its time is not an integer, or it is earlier than the edge
            before. Nothing is changed then.
        """
        if not isinstance(edge, Edge):
            raise not_an_edge(edge)
        now = whole(edge.time, "time of an edge")
        if self._count and now < self._last:
            raise HalfbitError(f"edge at {now} ns lies before the one at {self._last} ns")
        time = self._feed_time(now)
        kept = () if time is None else (Edge(time, self._level),)
        self._level = edge.level
        return kept

    def finish(self) -> tuple[Edge, ...]:
        """End of the capture: close the current crossing and return its edge, if one is kept."""
        time = self._finish_time()
        return () if time is None else (Edge(time, self._level),)

    def _feed_time(self, time: int) -> int | None:
        """As :meth:`feed`, for callers that only have times.

        :param time: of the change, ns; not earlier than the change before.
        :returns: the time of the change kept from the crossing before, ns, if there is one.
        """
        if self._count and time - self._last < self.minimum:
            self._count += 1
            self._last = time
            return None
        kept = self._finish_time()
        self._count = 1
        self._first = self._last = time
        return kept

    def _finish_time(self) -> int | None:
        """As :meth:`finish`, for callers that only have times: a time in ns, or ``None``."""
        count, self._count = self._count, 0
        if count == 1:
            if self._sure:
                self._seen.append(self._first - self._kept)
            self._opening, self._sure, self._kept = False, True, self._first
            return self._first
        return self._noisy(count) if count else None

    def _noisy(self, count: int) -> int | None:
        opening, self._opening = self._opening, False
        odd, so_far = count % 2, self._removed
        changes = so_far.changes + count - (1 if odd or opening else 0)
        first = self._first if so_far.first is None else so_far.first
        longest = max(so_far.longest, self._last - self._first)
        self._removed = Removed(so_far.crossings + odd, so_far.spikes + 1 - odd, changes, first, self._first, longest)
        if not odd and not opening:
            return None
        self._kept, self._sure = self._first if opening else self._likely(), False
        return self._kept

    def _likely(self) -> int:
        """The most likely time of the true change within a crossing, ns."""
        middle = (self._first + self._last) // 2
        best, place = self.minimum // 4, middle
        for time in (middle, self._first, self._last):
            off = min((abs(time - self._kept - seen) for seen in self._seen), default=best)
            if off < best:
                best, place = off, time
        return place


class FilteredEdges(Edges):
    """Filtered edges, for :func:`halfbit.decode` and :meth:`halfbit.StreamDecoder.feed_many`.

    Made by :func:`filtered`.
    """

    def __init__(self, edges: Edges, minimum: int) -> None:
        self.source = edges  #: The edges before the filter.
        self._filter = EdgeFilter(minimum)

    @property
    def removed(self) -> Removed:
        """Counts of what was removed since the last time iteration started; times in ns."""
        return self._filter.removed

    def __iter__(self) -> Iterator[Edge]:
        self._filter = machine = EdgeFilter(self._filter.minimum)
        for edge in self.source:
            yield from machine.feed(edge)
        yield from machine.finish()

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        self._filter = machine = EdgeFilter(self._filter.minimum)
        now = 0  # time of the last change, ns
        before: int | None = None  # time of the last change passed on, ns
        for durations, scale in self.source._rows():
            times = list(accumulate((duration * scale for duration in durations), initial=now))
            kept = list(map(machine._feed_time, times if machine._idle else times[1:]))
            now = times[-1]
            before, steps = _steps(before, kept)
            yield steps, 1
        _, steps = _steps(before, [machine._finish_time()])
        yield steps, 1


def filtered(edges: Edges, minimum: Number = 5, unit: Unit = "us") -> FilteredEdges:
    """Edges without noise: several changes at one crossing become one, and spikes are removed.

    :attr:`FilteredEdges.removed` counts what was removed. Read it after the edges have been read.

    :param minimum: changes closer together than this are one crossing. Given in ``unit``.
    :raises HalfbitError: if ``minimum`` is less than 1 ns or not a time, or if ``edges`` is not an
        :class:`~halfbit.Edges` (use :class:`EdgeFilter` for single edges).
    """
    if not isinstance(edges, Edges):
        raise HalfbitError(f"edges: {type(edges).__name__} is not Edges; feed single edges to an EdgeFilter")
    scale = Scale.of(unit)
    if isinstance(minimum, bool) or not isinstance(minimum, (int, float)) or not 0 < minimum < LARGEST:
        raise HalfbitError(f"minimum: {minimum!r} is no time above 0")
    return FilteredEdges(edges, scale.nanoseconds(minimum))


def _steps(before: int | None, times: Iterable[int | None]) -> tuple[int | None, list[int]]:
    """The last time, and the durations between the times, starting from ``before``."""
    chained = [time for time in (before, *times) if time is not None]
    return (chained[-1] if chained else None), [late - early for early, late in pairwise(chained)]
