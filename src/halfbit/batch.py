"""Raw numbers of a capture, some at a time, each with its place; and their checks."""

from __future__ import annotations

import math
import operator
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from functools import partial
from typing import Any, Protocol, TypeVar

import attrs

from .error import CaptureError, HalfbitError
from .unit import Number

#: How many values of a sequence are looked at in one go: enough to make a batch cheap, few enough for the cache.
SIZE = 1 << 14

LARGEST = 10**30  #: No capture lasts that many counts: beyond it a number is a mistake, and floats may overflow.

# What Python's own views can be read as, in the machine's byte order. Other arrays are taken value by value.
_INTEGER_FORMATS = frozenset("bBhHiIlLqQnN")
_FORMATS = _INTEGER_FORMATS | frozenset("fd?")

T = TypeVar("T")


class _Several(Protocol):
    def singly(self) -> Iterator[Any]: ...


S = TypeVar("S", bound=_Several)


@attrs.frozen(slots=True)
class Batch:
    """Some raw values of a capture in a row, and the place of each."""

    values: Sequence[Any]
    place: Callable[[int], str]  #: The place of ``values[i]``, in words ("line 17").
    level: int | None = None  #: The level after the first of them, if they are changes and it is known.

    def singly(self) -> Iterator[Batch]:
        """Its values in batches of one."""
        for index in range(len(self.values)):
            level = None if index else self.level
            yield Batch(self.values[index : index + 1], partial(self._at, index), level)

    def _at(self, index: int, _: int) -> str:
        return self.place(index)


def each_until_error(read: Callable[[S], T], some: S) -> Iterator[T]:
    """Read some values at once; after an error one by one, so that those before the wrong one are not lost with it."""
    try:
        found: Iterable[T] = (read(some),)
    except CaptureError:
        found = map(read, some.singly())
    yield from found


def batches_of(values: Iterable[Any]) -> Iterator[Batch]:
    """Cut values into batches: those of a list, an array or the like into large ones, others singly.

    :raises HalfbitError: if they cannot be iterated over, or are an array of something other than real numbers.
    """
    row: Sequence[Any] | None = values if isinstance(values, (list, tuple, range)) else _view(values)
    if row is not None:
        for start in range(0, len(row), SIZE):
            yield Batch(row[start : start + SIZE], partial(_item, start))
        return
    try:
        if isinstance(values, (str, Mapping, Set)):
            raise TypeError
        singly = enumerate(values)
    except TypeError:
        raise HalfbitError(f"{values!r} is not a row of numbers: give a list, an array or an iterator") from None
    for index, value in singly:
        yield Batch((value,), partial(_item, index))


def _item(start: int, index: int) -> str:
    return f"item {start + index}"


def _view(values: Any) -> memoryview | None:
    """The values as a view without a copy, if they are an array of one dimension in the machine's byte order.

    :raises HalfbitError: if they are an array of several dimensions or one that holds no real numbers, or a view that
        Python cannot read.
    """
    kind = _kind(values)
    if kind is not None and kind not in "biufO":
        raise HalfbitError(
            f"an array of {values.dtype} holds no real numbers: "
            "give integers or floats (of times: values.astype('int64'))"
        )
    if kind is not None and values.ndim > 1:
        raise HalfbitError(f"an array of {values.ndim} dimensions is not a row of numbers: give one row of it")
    try:
        view = memoryview(values)
    except (TypeError, ValueError):
        return None
    if view.ndim == 1 and view.format.lstrip("@") in _FORMATS:
        return view
    if isinstance(values, memoryview):
        raise HalfbitError(f"a view of format {view.format!r} cannot be read: give one row in the machine's byte order")
    return None


def _kind(values: Any) -> str | None:
    """The kind of an array's values, as numpy's arrays have it."""
    return getattr(getattr(values, "dtype", None), "kind", None)


def refuse_levels(values: object) -> None:
    """:raises HalfbitError: if ``values`` are an array of booleans, which are levels and not times."""
    if _kind(values) == "b" or (isinstance(values, memoryview) and values.format == "?"):
        raise HalfbitError("an array of booleans holds levels and not times: give it to edges_from_samples")


def integers(values: Sequence[Any]) -> bool:
    """True if all values are Python integers, or are held as machine integers."""
    if isinstance(values, memoryview):
        return values.format.lstrip("@") in _INTEGER_FORMATS
    return set(map(type, values)) <= {int}


def counts(values: Sequence[Any]) -> Sequence[int] | None:
    """The values as machine integers, if all are integers from 0 up that fit 64 bits; found out fast. Else ``None``.

    A list may hold an array's own numbers, of 16 or 32 bits. Sums of these would overflow.
    """
    if isinstance(values, memoryview):
        return values if integers(values) and min(values, default=0) >= 0 else None
    try:
        return array("Q", values)
    except (TypeError, OverflowError, ValueError):
        return None


def plain(batch: Batch) -> Sequence[Number]:
    """A batch's values as Python's own finite numbers, or held as machine integers.

    :raises CaptureError: with the place, if a value is not a finite number.
    """
    values = batch.values
    if integers(values):
        return values
    if isinstance(values, memoryview):
        values = values.tolist()
    return [_number(value, batch, index) for index, value in enumerate(values)]


def _number(value: Any, batch: Batch, index: int) -> Number:
    number: Number
    try:
        number = float(value) if isinstance(value, float) else operator.index(value)
    except TypeError:
        try:
            if isinstance(value, (str, bytes)):
                raise TypeError
            number = float(value)
        except (TypeError, ValueError):
            raise CaptureError(f"{value!r} is not a number", batch.place(index)) from None
    if not -LARGEST <= number <= LARGEST:
        finite = isinstance(number, int) or math.isfinite(number)
        raise CaptureError(f"{value!r} is {'too large' if finite else 'not a finite number'}", batch.place(index))
    return number


def check_length(total: Number, place: str) -> None:
    """:raises CaptureError: if a capture lasts longer than any can."""
    if total > LARGEST:
        raise CaptureError("the capture lasts too long for its times to be counted", place)


def check_durations(values: Sequence[Number], batch: Batch) -> None:
    """:raises CaptureError: if a duration is negative."""
    if values and min(values) < 0:
        index = next(i for i, value in enumerate(values) if value < 0)
        raise CaptureError(f"duration {values[index]!r} is negative", batch.place(index))


def steps_between(times: Sequence[Number | None], wrap: int | None, place: Callable[[int], str]) -> list[Number]:
    """The step from each time to the next.

    :param times: the last time of the row before, or ``None`` at the start of a capture (the first step is 0 then);
        and the times.
    :param place: gives the place of ``times[1 + i]``.
    :raises CaptureError: if a step goes backwards without ``wrap``, or a time is outside the counter's range.
    """
    before, *after = times
    chained: list[Any] = [after[0] if before is None and after else before, *after]
    try:
        steps = list(map(operator.sub, chained[1:], chained))
    except OverflowError:  # a whole number that no float reaches, beside a float
        raise CaptureError("times are too large", place(0)) from None
    if wrap is not None:
        for index, time in enumerate(chained[1:]):
            if not 0 <= time < wrap:
                raise CaptureError(f"time {time!r} is outside a counter of {wrap} counts", place(index))
        return [step + wrap if step < 0 else step for step in steps]
    if steps and min(steps) < 0:
        index = next(i for i, step in enumerate(steps) if step < 0)
        raise CaptureError(
            f"time goes backwards, from {chained[index]!r} to {chained[index + 1]!r} "
            "(if the counter starts over, say after how many counts with wrap=N)",
            place(index),
        )
    return steps
