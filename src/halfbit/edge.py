"""Layer 1: raw numbers to level changes.

Capture tools give change times, durations between changes, or levels at a fixed rate. All
three become the same here: edges whose times are whole nanoseconds from the first change.
An :class:`Edges` keeps the raw numbers, so that whoever only wants packets never pays for
an :class:`Edge`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate
from operator import sub
from typing import Any

import attrs

from .block import Block, blocks_of, integers, plain
from .bulk_row import summed
from .edge_samples import changes
from .edge_steps import check_durations, check_length, steps_between
from .error import CaptureError, HalfbitError
from .unfrozen import unfrozen
from .unit import Number, Scale, Unit

__all__ = [
    "Edge",
    "EdgeMachine",
    "Edges",
    "edges_from_durations",
    "edges_from_samples",
    "edges_from_times",
]


@attrs.frozen(slots=True, weakref_slot=False)
class Edge:
    """A level change: when, and to which level."""

    #: ns from the capture's first change.
    time: int
    #: The level after the change, 0 or 1.
    level: int


_UnfrozenEdge = unfrozen(Edge)


class EdgeMachine:
    """Raw change times, or durations between changes, in; edges out.

    :param unit: of the times: ``"ns"``, ``"us"``, ``"ms"``, ``"s"``, or ticks per second.
    :param wrap: for a counter that starts over: how many counts it has (``2**32``). Without it
        time going backwards is an error.
    :param level: the level after the first change, where ``feed`` is not told levels.
    :raises HalfbitError: for arguments that are none of these.
    """

    def __init__(self, unit: Unit = "us", *, wrap: int | None = None, level: int = 1) -> None:
        self._scale = Scale.of(unit)
        if wrap is not None and (isinstance(wrap, bool) or not isinstance(wrap, int) or wrap < 2):
            raise HalfbitError(f"wrap: {wrap!r} is not a number of counts from 2 up")
        if level not in (0, 1):
            raise HalfbitError(f"level: {level!r} is neither 0 nor 1")
        self._wrap = wrap
        self._level = int(level)  # after the next change
        self._seen: int | None = None  # the level last looked at
        self._raw: Number | None = None  # the raw time before
        self._since: Number | None = None  # counts from the first change to the last one
        self._waited: Number = 0  # counts since the last change, while looks showed none

    def feed(self, time: Number, level: int | None = None, place: str = "") -> tuple[Edge, ...]:
        """Take one change; or, with levels, one look, which is a change where the level is another.

        The first look says only what the level is.

        :param time: raw, in the unit.
        :param level: 0 or 1; ``None`` where each time is a change.
        :param place: where the time stands, for an error's text.
        :raises CaptureError: where the time is no finite number, goes backwards without ``wrap``, or
            lies outside the counter's range; where the level is neither 0 nor 1.
        """
        (number,) = plain(Block((time,), lambda _: place))
        (step,) = steps_between((self._raw, number), self._wrap, lambda _: place)
        self._raw = number
        if level is not None:
            if level not in (0, 1):
                raise CaptureError(f"level {level!r} is neither 0 nor 1", place)
            if self._seen is None or self._seen == level:
                self._seen = level
                self._waited += step
                return ()
            self._seen = self._level = level
        return self._change(step, place)

    def feed_duration(self, duration: Number, place: str = "") -> tuple[Edge, ...]:
        """Take the time from one change to the next. The first gives both changes.

        :param duration: raw, in the unit, 0 or more.
        :param place: where the duration stands, for an error's text.
        :raises CaptureError: where the duration is no finite number, or negative.
        """
        block = Block((duration,), lambda _: place)
        (number,) = plain(block)
        check_durations((number,), block)
        opening = self._change(0) if self._since is None else ()
        return opening + self._change(number, place)

    def _feed_durations(self, durations: Sequence[int]) -> Iterator[Edge]:
        """Take many durations that are known to be whole numbers from 0 up; an edge as each is asked for.

        Nothing else may be fed before all are out.
        """
        if self._since is None:
            yield from self._change(0)
        scale, level = self._scale.nanoseconds, self._level
        since = self._since or 0
        # A whole number of whole ns needs no rounding.
        whole = self._scale.numerator if self._scale.denominator == 1 and isinstance(since, int) else 0
        for duration in durations:
            since += duration
            edge = _UnfrozenEdge()
            edge.time = since * whole if whole else scale(since)
            edge.level = level
            edge.__class__ = Edge
            yield edge
            level = 1 - level
        self._since, self._level = since, level

    def _change(self, step: Number, place: str = "") -> tuple[Edge, ...]:
        check_length(step, place)
        self._since = 0 if self._since is None else self._since + (self._waited + step)
        check_length(self._since, place)
        self._waited = 0
        level, self._level = self._level, 1 - self._level
        return (Edge(self._scale.nanoseconds(self._since), level),)


class Edges:
    """The level changes of a capture, as edges or in bulk.

    Iterate over it for :class:`Edge` values; hand it to :func:`halfbit.decode` or
    :meth:`halfbit.StreamDecoder.feed_many` as it is, and none is made. It can be gone through again
    where its values can (a list, an array), once where they can't (an iterator).
    """

    def __init__(
        self,
        blocks: Callable[[], Iterable[Block]],
        *,
        are_durations: bool,
        unit: Unit = "us",
        wrap: int | None = None,
        level: int = 1,
    ) -> None:
        self._blocks = blocks
        self._are_durations = are_durations
        self._scale = Scale.of(unit)
        self._unit = unit
        self._wrap = wrap
        self._level = level
        self._machine(level)  # refuses wrong arguments now, not at first use

    def __iter__(self) -> Iterator[Edge]:
        machine: EdgeMachine | None = None
        for block in self._blocks():
            if machine is None:
                machine = self._machine(self._level if block.level is None else block.level)
            quick = summed(block.values) if self._are_durations and len(block.values) > 1 else None
            if quick is not None:
                yield from machine._feed_durations(quick[0])
                continue
            take = machine.feed_duration if self._are_durations else machine.feed
            for index, value in enumerate(block.values):
                yield from take(value, place=block.place(index))

    def _machine(self, level: int) -> EdgeMachine:
        return EdgeMachine(self._unit, wrap=self._wrap, level=level)

    def durations(self) -> Iterator[tuple[Sequence[int], int]]:
        """The same in bulk: integer durations between changes, and how many ns a count of them is.

        Their products, summed, are the edges' times exactly.

        :raises CaptureError: as :class:`EdgeMachine`.
        """
        since: Number = 0
        before: Number | None = None
        for block in self._blocks():
            try:
                piece, since, before = self._piece(block, since, before)
                yield piece
            except CaptureError:
                # What stands before the value that is wrong is sound, and is not lost with it.
                for single in block.singly():
                    piece, since, before = self._piece(single, since, before)
                    yield piece

    def _piece(
        self, block: Block, since: Number, before: Number | None
    ) -> tuple[tuple[Sequence[int], int], Number, Number | None]:
        """A block's durations and how many ns their counts are; the new total and the last value.

        :param since: counts from the first change to the last one.
        :param before: the value before the block.
        """
        whole_ns = self._scale.denominator == 1 and isinstance(since, int)
        if self._are_durations and whole_ns and len(block.values) > 1:
            quick = summed(block.values)
            if quick is not None:
                counts, total = quick
                return (counts, self._scale.numerator), since + total, before
        values = plain(block)
        steps: Sequence[Any] = values
        if self._are_durations:
            check_durations(values, block)
        else:
            steps = steps_between((before, *values), self._wrap, block.place)
            if before is None:
                steps = steps[1:]  # up to the first change there is no duration
            before = values[-1] if values else before
        whole = integers(steps)
        if whole:
            total = sum(steps)
            check_length(total, block.place(0))
            if whole_ns:
                check_length(since + total, block.place(0))
                return (steps, self._scale.numerator), since + total, before
        totals = list(accumulate(steps, initial=since))
        check_length(totals[-1], block.place(0))
        times = list(map(self._scale.nanoseconds, totals))
        return (list(map(sub, times[1:], times)), 1), totals[-1], before


def edges_from_times(
    times: Iterable[Number], unit: Unit = "us", *, wrap: int | None = None, level: int = 1
) -> Edges:
    """Edges from the times at which the level changed.

    :param times: in the unit, integers or floats; a sequence, an array, or an iterator, which is
        taken one value at a time, so that a live source is decoded as it comes.
    :param unit: ``"ns"``, ``"us"``, ``"ms"``, ``"s"``, or ticks per second.
    :param wrap: for a counter that starts over: how many counts it has (``2**32``).
    :param level: the level after the first change.
    :raises HalfbitError: for arguments that are none of these; once gone through,
        :class:`halfbit.CaptureError` with the item where a time is no finite number or goes backwards.
    """
    return Edges(lambda: blocks_of(times), are_durations=False, unit=unit, wrap=wrap, level=level)


def edges_from_durations(durations: Iterable[Number], unit: Unit = "us", *, level: int = 1) -> Edges:
    """Edges from the durations between level changes: one more edge than durations.

    :param durations: in the unit, as :func:`edges_from_times` takes times.
    :param unit: ``"ns"``, ``"us"``, ``"ms"``, ``"s"``, or ticks per second.
    :param level: the level after the first change.
    :raises HalfbitError: for arguments that are none of these; once gone through,
        :class:`halfbit.CaptureError` with the item where a duration is no finite number or negative.
    """
    return Edges(lambda: blocks_of(durations), are_durations=True, unit=unit, level=level)


def edges_from_samples(samples: Iterable[int], unit: Unit = "us") -> Edges:
    """Edges from levels sampled at a fixed rate.

    :param samples: 0 or 1 each; bytes are fastest.
    :param unit: what lies between two samples: ``"us"``, or the samples per second.
    :raises HalfbitError: for another unit; once gone through, :class:`halfbit.CaptureError` with
        the item where a sample is neither 0 nor 1.
    """
    return Edges(lambda: changes(samples), are_durations=False, unit=unit)
