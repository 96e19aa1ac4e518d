"""Layer 1, between a capture and the rest: level changes that are noise are taken out.

A signal may cross more than once where it changes: distortion of up to +-2 V reaches across the
crossing (S-9.1 B), and short pulses break into half-bits. Both show as changes closer together
than any half-bit is long. So changes of which each comes less than a minimum after the one
before are one *crossing*. If their number is even the level is what it was, and none is left: a
spike. If it is odd the level is another, and one change is left. Which of them is the true one,
none of them tells: noise on a slope has it in the middle, ringing first, a spike shortly before
it last. The middle is never off by more than half of what the crossing lasts, so it is taken,
unless the first or the last makes the duration before it one that has been seen among the last
ones without noise: a signal's half-bits repeat. (Spikes of up to 5 us within 5 us of a crossing
would else cost one packet in a thousand, for a half of a one-bit may be off by 6 us only.)

One exception is a capture's first crossing. Times are counted from the first change, so that one
is left whatever follows it: there the level begins to be known.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise

import attrs

from ..batch import LARGEST
from ..edge import Edge, Edges
from ..error import HalfbitError
from ..unit import Number, Scale, Unit

__all__ = ["EdgeFilter", "FilteredEdges", "Removed", "filtered"]

#: How many durations without noise are remembered: some ones and some zeros are among so many.
MEMORY = 16


@attrs.frozen(slots=True)
class Removed:
    """What a filter has taken out. Times are ns on the clock of the edges."""

    #: Crossings of three or more changes, of which one is left.
    crossings: int = 0
    #: Spikes: crossings after which the level was the same, of which nothing is left.
    spikes: int = 0
    #: Changes taken out in all.
    changes: int = 0
    #: Where the first of these crossings or spikes began; ``None`` where there was none.
    first: int | None = None
    #: Where the last one began.
    last: int | None = None
    #: How long the longest lasted, from its first change to its last.
    longest: int = 0


class EdgeFilter:
    """Edges in; those edges out that are no noise, each when the next crossing begins.

    Memory is constant, and what was taken out is counted.

    :param minimum: ns; changes closer together than this are one crossing. A half-bit is at least
        52 us (S-9.1 A, table 1), so anything well below that is no half-bit.
    :raises HalfbitError: if it is no number of nanoseconds from 1 up.
    """

    def __init__(self, minimum: int) -> None:
        if isinstance(minimum, bool) or not isinstance(minimum, int) or minimum < 1:
            raise HalfbitError(f"minimum: {minimum!r} is not a number of nanoseconds from 1 up")
        self.minimum = minimum
        self._count = 0  # changes of the crossing that may still go on
        self._first = 0  # time of the first of them, ns
        self._last = 0
        self._level = 0  # after the last of them
        self._opening = True  # it is the capture's first
        self._crossings = 0
        self._spikes = 0
        self._changes = 0
        self._longest = 0
        self._places: tuple[int, int] | None = None  # of the first and the last that was noisy
        self._kept = 0  # time of the change left of the crossing before, ns
        self._sure = False  # that one had no noise about it
        self._seen: deque[int] = deque(maxlen=MEMORY)  # the last durations between two such, ns

    @property
    def idle(self) -> bool:
        """True if no crossing has begun."""
        return self._count == 0

    @property
    def removed(self) -> Removed:
        """What has been taken out so far."""
        first, last = self._places or (None, None)
        return Removed(self._crossings, self._spikes, self._changes, first, last, self._longest)

    def feed(self, edge: Edge) -> tuple[Edge, ...]:
        """Take the next edge.

        :raises HalfbitError: if it lies before the one before.
        """
        if self._count and edge.time < self._last:
            raise HalfbitError(f"edge at {edge.time} ns lies before the one at {self._last} ns")
        time = self.feed_time(edge.time)
        kept = () if time is None else (Edge(time, self._level),)
        self._level = edge.level
        return kept

    def finish(self) -> tuple[Edge, ...]:
        """The capture is over: what may have gone on does not."""
        time = self.finish_time()
        return () if time is None else (Edge(time, self._level),)

    def feed_time(self, time: int) -> int | None:
        """As :meth:`feed`, for whoever only has times: of a change, ns, not before the one before.

        :returns: the time of the change that is left of the crossing before, if one is.
        """
        if self._count and time - self._last < self.minimum:
            self._count += 1
            self._last = time
            return None
        kept = self.finish_time()
        self._count = 1
        self._first = self._last = time
        return kept

    def finish_time(self) -> int | None:
        """As :meth:`finish`, for whoever only has times."""
        count, self._count = self._count, 0
        if count == 1:
            if self._sure:
                self._seen.append(self._first - self._kept)
            self._opening, self._sure, self._kept = False, True, self._first
            return self._first
        return self._noisy(count) if count else None

    def skip(self, durations: Sequence[int], kept: int, last: int) -> None:
        """Changes without noise, each at least the minimum after the one before, go past the filter.

        :param durations: ns, between those let through: from the one let through before to ``kept``. More
            than the last :data:`MEMORY` need not be given.
        :param kept: time of the last that is let through, ns.
        :param last: time of the one after it, which noise may still follow, ns.
        """
        self._seen.extend(durations)
        self._kept = kept
        self._first = self._last = last

    def _noisy(self, count: int) -> int | None:
        opening, self._opening = self._opening, False
        odd = count % 2
        self._crossings += odd
        self._spikes += 1 - odd
        self._changes += count - (1 if odd or opening else 0)
        self._longest = max(self._longest, self._last - self._first)
        self._places = (self._places[0] if self._places else self._first, self._first)
        if not odd and not opening:
            return None
        self._kept, self._sure = self._first if opening else self._likely(), False
        return self._kept

    def _likely(self) -> int:
        """Where in a crossing the change is."""
        middle = (self._first + self._last) // 2
        best, place = self.minimum // 4, middle
        for time in (middle, self._first, self._last):
            duration = time - self._kept
            off = min((abs(duration - seen) for seen in self._seen), default=best)
            if off < best:
                best, place = off, time
        return place


class FilteredEdges(Edges):
    """Other edges without noise, for :func:`halfbit.decode` and :meth:`halfbit.StreamDecoder.feed_many`.

    Made by :func:`filtered`.
    """

    def __init__(self, edges: Edges, minimum: int) -> None:
        #: The edges that are filtered.
        self.source = edges
        self._minimum = minimum
        self._filter = EdgeFilter(minimum)

    @property
    def removed(self) -> Removed:
        """What has been taken out since the edges were last gone through from the start."""
        return self._filter.removed

    def __iter__(self) -> Iterator[Edge]:
        self._filter = machine = EdgeFilter(self._minimum)
        for edge in self.source:
            yield from machine.feed(edge)
        yield from machine.finish()

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        # Rows without noise are handed on as they are.
        self._filter = machine = EdgeFilter(self._minimum)
        now = 0  # time of the last change, ns
        before: int | None = None  # of the last change handed on
        for durations, scale in self.source._rows():
            if not durations:
                continue
            if machine.idle:
                machine.feed_time(now)  # the first change, which has no duration before it
            if min(durations) * scale < self._minimum:
                times = list(accumulate((duration * scale for duration in durations), initial=now))
                now = times[-1]
                before, steps = _steps(before, _kept(machine, times, self._minimum))
                yield steps, 1
                continue
            # What the crossing before has left, and the first change here, are apart from the rest:
            # the duration between them may be another now.
            first = now + durations[0] * scale
            now += sum(durations) * scale
            kept = _some(machine.feed_time(first))
            if len(durations) > 1:
                kept += _some(machine.feed_time(first + durations[1] * scale))
            before, steps = _steps(before, kept)
            yield steps, 1
            if len(durations) > 2:
                passing = durations[1:-1]
                before = now - durations[-1] * scale
                machine.skip([duration * scale for duration in passing[-MEMORY:]], before, now)
                yield passing, scale
        _, steps = _steps(before, _some(machine.finish_time()))
        yield steps, 1


def filtered(edges: Edges, minimum: Number = 5, unit: Unit = "us") -> FilteredEdges:
    """Edges without noise: several changes at one crossing become one, spikes vanish.

    What has been taken out is in :attr:`FilteredEdges.removed` once the edges have been gone through.

    :param minimum: changes closer together than this are one crossing, in the unit.
    :raises HalfbitError: if it is no time of at least 1 ns, or these are no edges in bulk (use
        :class:`EdgeFilter` for edges one at a time).
    """
    if not isinstance(edges, Edges):
        raise HalfbitError(f"edges: {type(edges).__name__} is not Edges; feed single edges to an EdgeFilter")
    scale = Scale.of(unit)
    if isinstance(minimum, bool) or not isinstance(minimum, (int, float)) or not 0 < minimum < LARGEST:
        raise HalfbitError(f"minimum: {minimum!r} is no time above 0")
    return FilteredEdges(edges, scale.nanoseconds(minimum))


def _kept(machine: EdgeFilter, times: Sequence[int], minimum: int) -> list[int]:
    """Feed a machine all of some times but the first, which it has had; what it lets through.

    It is asked only about noise: changes far enough from both neighbours pass by it.
    """
    kept: list[int] = []
    noisy = [index for index, (early, late) in enumerate(pairwise(times), 1) if late - early < minimum]
    at = 1
    for index in (*noisy, len(times)):
        for time in times[at : min(at + 2, index)]:
            kept += _some(machine.feed_time(time))
        if at + 2 < index:
            passing = times[at + 1 : index - 1]
            kept += passing
            latest = times[max(at, index - 2 - MEMORY) : index - 1]
            machine.skip([late - early for early, late in pairwise(latest)], passing[-1], times[index - 1])
        if index < len(times):
            kept += _some(machine.feed_time(times[index]))
        at = index + 1
    return kept


def _steps(before: int | None, times: Sequence[int]) -> tuple[int | None, list[int]]:
    """The last of some times, and the durations up to each, the one before given."""
    chained = times if before is None else [before, *times]
    return (chained[-1] if chained else None), [late - early for early, late in pairwise(chained)]


def _some(time: int | None) -> list[int]:
    return [] if time is None else [time]
