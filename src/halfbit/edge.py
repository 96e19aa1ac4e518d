"""Layer 1: raw numbers to level changes.

Capture tools give change times, durations between changes, or levels at a fixed rate. All three become the same here:
edges whose times are whole nanoseconds from the first change. An :class:`Edges` keeps the raw numbers. To decode them,
no :class:`Edge` need be made, which is much faster.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate, chain
from operator import sub
from typing import Any

import attrs

from .batch import (
    Batch, batches_of, check_durations, check_length, counts, each_until_error, integers, plain, refuse_levels,
    steps_between,
)  # fmt: skip
from .edge_samples import changes, levels_in
from .error import CaptureError, HalfbitError
from .unit import Number, Scale, Unit


@attrs.frozen(slots=True)
class Edge:
    """A level change: when, and to which level."""

    time: int  #: ns from the capture's start, which is its first change unless a source says otherwise.
    level: int  #: The level after the change, 0 or 1.


def not_an_edge(value: object, more: str = "") -> HalfbitError:
    """The error for a value that is not an :class:`Edge`; ``more`` goes on with its advice."""
    return HalfbitError(f"{value!r} is not an Edge: make edges with edges_from_times or edges_from_durations{more}")


class EdgeMachine:
    """Raw change times, or durations between changes, in; edges out.

    :param unit: of the times: ``"ns"``, ``"us"``, ``"ms"``, ``"s"``, or ticks per second.
    :param wrap: for a counter that starts over: how many counts it has (``2**32``). Without it
        time going backwards is an error.
    :param level: the level after the first change, if :meth:`feed` is not given levels.
    :raises HalfbitError: if an argument is anything else.
    """

    def __init__(self, unit: Unit = "us", *, wrap: int | None = None, level: int = 1) -> None:
        self._scale = Scale.of(unit)
        if wrap is not None and (isinstance(wrap, bool) or not isinstance(wrap, int) or wrap < 2):
            raise HalfbitError(f"wrap: {wrap!r} is not a number of counts from 2 up")
        if level not in (0, 1):
            raise HalfbitError(f"level: {level!r} is neither 0 nor 1")
        self._wrap = wrap
        self._level = int(level)  # after the next change
        self._seen: int | None = None  # the level of the last sample
        self._raw: Number | None = None  # the last raw time
        self._since: Number | None = None  # counts from the first change to the last one
        self._waited: Number = 0  # counts since the last change, while samples showed no other level

    def feed(self, time: Number, level: int | None = None, place: str = "") -> tuple[Edge, ...]:
        """Take the time of one change; or, with a level, one sample, which is a change if the level is another.

        The first sample completes nothing.

        :param time: raw, in the unit.
        :param level: 0 or 1; ``None`` if each time is a change.
        :param place: of the time, for the text of an error ("line 17").
        :raises CaptureError: if the time is not a finite number, goes backwards without ``wrap``, or is outside the
            counter's range; if the level is neither 0 nor 1. Nothing is changed then.
        """
        if level is not None and level not in (0, 1):
            raise CaptureError(f"level {level!r} is neither 0 nor 1", place)
        (number,) = plain(Batch((time,), lambda _: place))
        (step,) = steps_between((self._raw, number), self._wrap, lambda _: place)
        if level is not None and self._seen in (None, level):
            check_length(self._waited + step, place)
            self._raw, self._seen = number, level
            self._waited += step
            return ()
        edges = self._change(step, self._level if level is None else level, place)
        self._raw, self._seen = number, level
        return edges

    def feed_duration(self, duration: Number, place: str = "") -> tuple[Edge, ...]:
        """Take the time from one change to the next. The first call gives both changes.

        :param duration: raw, in the unit, 0 or more.
        :param place: of the duration, for the text of an error ("line 17").
        :raises CaptureError: if the duration is not a finite number, or negative. Nothing is changed then.
        """
        batch = Batch((duration,), lambda _: place)
        (number,) = plain(batch)
        check_durations((number,), batch)
        check_length(number, place)
        opening = self._change(0, self._level, place) if self._since is None else ()
        return opening + self._change(number, self._level, place)

    def finish(self) -> tuple[Edge, ...]:
        """The capture is over. Nothing can be pending."""
        return ()

    def _change(self, step: Number, level: int, place: str) -> tuple[Edge, ...]:
        since = 0 if self._since is None else self._since + (self._waited + step)
        check_length(since, place)
        self._since, self._waited, self._level = since, 0, 1 - level
        return (Edge(self._scale.nanoseconds(since), level),)


class Edges(Iterable[Edge]):
    """The level changes of a capture, for :func:`halfbit.decode` or :meth:`halfbit.StreamDecoder.feed_many`.

    Iterate over it for :class:`Edge` values. Handed over as it is, it is decoded without them, and much faster. It can
    be gone through again if its values can (a list, an array, a file), and once if they cannot (an iterator).

    Made by :func:`edges_from_times` and its kin, and by :func:`halfbit.open_capture`.
    """

    @abstractmethod
    def __iter__(self) -> Iterator[Edge]: ...

    @abstractmethod
    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        """Durations between changes in rows of counts, each with the ns in a count."""


def _edges(rows: Iterable[tuple[Sequence[int], int]], level: int) -> Iterator[Edge]:
    time = 0
    yield Edge(time, level)
    for durations, scale in rows:
        for count in durations:
            time, level = time + count * scale, 1 - level
            yield Edge(time, level)


class RawEdges(Edges):
    """Edges made of raw numbers, in batches."""

    def __init__(
        self, batches: Callable[[], Iterable[Batch]], *, are_durations: bool, unit: Unit = "us",
        wrap: int | None = None, level: int = 1,
    ) -> None:  # fmt: skip
        self._batches = batches
        self._are_durations = are_durations
        self._scale = Scale.of(unit)
        self._wrap = wrap
        EdgeMachine(unit, wrap=wrap, level=level)  # refuses wrong arguments now, not at first use
        self._level = int(level)

    def __iter__(self) -> Iterator[Edge]:
        rows = self._batch_rows()
        for batch, first in rows:
            level = self._level if batch.level is None else batch.level
            yield from _edges(chain((first,), (row for _, row in rows)), level)

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        """The counts times the ns in a count, summed, are the times of the edges exactly.

        :raises CaptureError: as :class:`EdgeMachine`.
        """
        for _, row in self._batch_rows():
            yield row

    def _batch_rows(self) -> Iterator[tuple[Batch, tuple[Sequence[int], int]]]:
        """Each batch with its row."""
        counter = _Counter(self._scale, self._wrap, self._are_durations)
        for batch in self._batches():
            yield from each_until_error(counter.row, batch)


@attrs.define
class _Counter:
    """Takes batches of raw numbers and gives the durations between the changes, as counts."""

    _scale: Scale
    _wrap: int | None
    _are_durations: bool
    _since: Number = 0  # counts from the first change to the last one
    _before: Number | None = None  # the last raw time

    def row(self, batch: Batch) -> tuple[Batch, tuple[Sequence[int], int]]:
        """A batch with its durations as counts, and the ns in a count. Nothing is changed by an error.

        :raises CaptureError: as :class:`EdgeMachine`.
        """
        scale, since = self._scale, self._since
        whole_ns = scale.denominator == 1 and isinstance(since, int)
        if self._are_durations and whole_ns:
            durations = counts(batch.values)
            if durations is not None:
                self._since = since + sum(durations)
                return batch, (durations, scale.numerator)
        values = plain(batch)
        steps: Sequence[Any] = values
        if self._are_durations:
            check_durations(values, batch)
        else:
            steps = steps_between((self._before, *values), self._wrap, batch.place)
            if self._before is None:
                steps = steps[1:]  # up to the first change there is no duration
        if integers(steps) and whole_ns:
            total = since + sum(steps)
            check_length(total, batch.place(0))
            row, ns = steps, scale.numerator
        else:
            check_length(max(steps, default=0), batch.place(0))  # a whole number may be larger than any float
            totals = list(accumulate(steps, initial=since))
            total = totals[-1]
            check_length(total, batch.place(0))
            times = list(map(scale.nanoseconds, totals))
            row, ns = list(map(sub, times[1:], times)), 1
        self._since, self._before = total, values[-1] if values else self._before
        return batch, (row, ns)


class ReplayedEdges(Edges):
    """Edges of rows that a source has begun to give. Can be gone through once.

    :param rows: those taken from the source already, and the rest.
    :param name: of the source, for the text of an error.
    """

    def __init__(self, rows: Iterator[tuple[Sequence[int], int]], name: str) -> None:
        self._left: Iterator[tuple[Sequence[int], int]] | None = rows
        self._name = name

    def __iter__(self) -> Iterator[Edge]:
        return _edges(self._rows(), 1)

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        rows, self._left = self._left, None
        if rows is None:
            raise HalfbitError(f"{self._name} can be gone through only once")
        return rows


def edges_from_times(times: Iterable[Number], unit: Unit = "us", *, wrap: int | None = None, level: int = 1) -> Edges:
    """Edges from the times at which the level changed.

    :param times: in the unit, integers or floats; a sequence, an array, or an iterator, which is
        taken one value at a time, so that a live source is decoded as it comes.
    :param unit: ``"ns"``, ``"us"``, ``"ms"``, ``"s"``, or ticks per second.
    :param wrap: for a counter that starts over: how many counts it has (``2**32``).
    :param level: the level after the first change.
    :raises HalfbitError: if an argument is anything else. Once iterated over, :class:`halfbit.CaptureError` with the
        item if a time is not a finite number or goes backwards.
    """
    refuse_levels(times)
    return RawEdges(lambda: batches_of(times), are_durations=False, unit=unit, wrap=wrap, level=level)


def edges_from_durations(durations: Iterable[Number], unit: Unit = "us", *, level: int = 1) -> Edges:
    """Edges from the durations between level changes: one more edge than durations.

    :param durations: in the unit, as :func:`edges_from_times` takes times.
    :param unit: ``"ns"``, ``"us"``, ``"ms"``, ``"s"``, or ticks per second.
    :param level: the level after the first change.
    :raises HalfbitError: if an argument is anything else. Once iterated over, :class:`halfbit.CaptureError` with the
        item if a duration is not a finite number or negative.
    """
    refuse_levels(durations)
    return RawEdges(lambda: batches_of(durations), are_durations=True, unit=unit, level=level)


def edges_from_samples(samples: Iterable[int], unit: Unit = "us") -> Edges:
    """Edges from levels sampled at a fixed rate.

    :param samples: 0 or 1 each; bytes are fastest.
    :param unit: the time between two samples: ``"us"``, or the samples per second.
    :raises HalfbitError: if the unit is anything else. Once iterated over, :class:`halfbit.CaptureError` with the
        item if a sample is neither 0 nor 1.
    """
    return RawEdges(lambda: changes(levels_in(samples)), are_durations=False, unit=unit)
