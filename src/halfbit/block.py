"""Raw numbers of a capture, some at a time, each with its place."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import Any

import attrs

from .error import CaptureError, HalfbitError
from .unit import Number

__all__ = ["Block", "blocks_of", "integers", "plain"]

#: How many values of a sequence are looked at in one go: enough to make the cost of a block small,
#: little enough to stay in the cache.
SIZE = 1 << 14

#: No capture lasts that many counts: beyond it a number is a mistake, and floats may overflow.
LARGEST = 10**30

# What Python's own views can be read as, all in the machine's byte order. Others (another byte
# order, several dimensions) are taken value by value.
_INTEGER_FORMATS = frozenset("bBhHiIlLqQnN")
_FORMATS = _INTEGER_FORMATS | frozenset("fd?")


@attrs.frozen(slots=True)
class Block:
    """Some raw values of a capture in a row, and where each stands in it."""

    values: Sequence[Any]
    #: The place of ``values[i]``, in words ("line 17").
    place: Callable[[int], str]
    #: The level after the first of them, where they are changes and the block knows it.
    level: int | None = None

    def singly(self) -> Iterator[Block]:
        """Its values in blocks of one."""
        for index in range(len(self.values)):
            level = None if index else self.level
            yield Block(self.values[index : index + 1], partial(self._at, index), level)

    def _at(self, index: int, _: int) -> str:
        return self.place(index)


def blocks_of(values: Iterable[Any]) -> Iterator[Block]:
    """Cut values into blocks: those of a sequence or an array into large ones, others singly.

    :raises HalfbitError: where they cannot be gone through.
    """
    row: Sequence[Any] | None = _view(values)
    if row is None and isinstance(values, Sequence):
        row = values
    if row is None:
        try:
            singly = enumerate(values)
        except TypeError:
            raise HalfbitError(f"{values!r} is no row of numbers") from None
        for index, value in singly:
            yield Block((value,), lambda _, index=index: f"item {index}")  # type: ignore[misc]
        return
    for start in range(0, len(row), SIZE):
        yield Block(row[start : start + SIZE], lambda i, start=start: f"item {start + i}")  # type: ignore[misc]


def _view(values: object) -> memoryview | None:
    """The values as a view without a copy, where they can be read as one."""
    try:
        view = memoryview(values)  # type: ignore[arg-type]
    except TypeError:
        return None
    return view if view.ndim == 1 and view.format.lstrip("@") in _FORMATS else None


def integers(values: Sequence[Any]) -> bool:
    """Whether all values are Python integers, or are held as machine integers."""
    if isinstance(values, memoryview):
        return values.format.lstrip("@") in _INTEGER_FORMATS
    return set(map(type, values)) <= {int}


def plain(block: Block) -> Sequence[Number]:
    """A block's values as Python's own finite numbers, or held as machine integers.

    :raises CaptureError: with the place, where a value is no finite number.
    """
    values = block.values
    if integers(values):
        return values
    if isinstance(values, memoryview):
        values = values.tolist()
    numbers = [_number(value, block, index) for index, value in enumerate(values)]
    return numbers


def _number(value: object, block: Block, index: int) -> Number:
    if isinstance(value, float):
        number: Number = value
    else:
        try:
            number = operator.index(value)  # type: ignore[arg-type]
        except TypeError:
            try:
                if isinstance(value, (str, bytes)):
                    raise TypeError
                number = float(value)  # type: ignore[arg-type]
            except (TypeError, ValueError):
                raise CaptureError(f"{value!r} is not a number", block.place(index)) from None
    if not -LARGEST <= number <= LARGEST:
        finite = isinstance(number, int) or math.isfinite(number)
        problem = "is too large" if finite else "is not a finite number"
        raise CaptureError(f"{value!r} {problem}", block.place(index))
    return number
