"""Rows of durations in a form that much can be asked about at once."""

from __future__ import annotations

import re
import sys
from array import array
from collections.abc import Iterator, Sequence
from typing import Any
from zlib import adler32

__all__ = ["ListRow", "PlaneRow", "Row", "plane_row", "planes_of", "summed"]

#: So many bytes add up to less than the modulus of Adler-32 (65521).
SUMMED = 256

#: The formats of machine integers in the machine's byte order.
INTEGERS = frozenset("bBhHiIlLqQnN")

_NOT_0 = re.compile(b"[^\\0]")


class PlaneRow:
    """Counts from 0 to 65535: their low bytes, and their high bytes unless all are 0."""

    __slots__ = ("high", "low")

    def __init__(self, low: bytes, high: bytes | None = None) -> None:
        self.low = low
        self.high = high

    def __len__(self) -> int:
        return len(self.low)

    def value(self, index: int) -> int:
        """The count at a place."""
        return self.low[index] if self.high is None else self.low[index] | self.high[index] << 8

    def values(self, start: int, stop: int) -> Sequence[int]:
        """The counts from one place up to another."""
        low = self.low[start:stop]
        if self.high is None:
            return low
        return [a | b << 8 for a, b in zip(low, self.high[start:stop])]

    def total(self, start: int, stop: int) -> int:
        """The sum of the counts from one place up to another."""
        if stop - start > SUMMED:
            middle = start + SUMMED
            return self.total(start, middle) + sum(
                self.total(place, min(place + SUMMED, stop)) for place in range(middle, stop, SUMMED)
            )
        # The low half of an Adler-32 that starts at 0 is the sum of the bytes, in C.
        total = adler32(self.low[start:stop], 0) & 0xFFFF
        if self.high is not None:
            total += (adler32(self.high[start:stop], 0) & 0xFFFF) << 8
        return total

    def large(self) -> Iterator[int]:
        """The places of counts above 255."""
        return (match.start() for match in _NOT_0.finditer(self.high or b""))

    def tail(self, start: int) -> PlaneRow:
        """The row from a place on."""
        low = self.low[start:]
        if self.high is None or not any(high := self.high[start:]):
            return PlaneRow(low)
        return PlaneRow(low, high)

    def joined(self, other: Row) -> Row:
        """Both rows as one."""
        if isinstance(other, ListRow):
            return ListRow([*self.values(0, len(self)), *other.counts])
        low = self.low + other.low
        if self.high is None and other.high is None:
            return PlaneRow(low)
        return PlaneRow(low, (self.high or bytes(len(self))) + (other.high or bytes(len(other))))


class ListRow:
    """Counts of any size."""

    __slots__ = ("counts",)

    def __init__(self, counts: list[int]) -> None:
        self.counts = counts

    def __len__(self) -> int:
        return len(self.counts)

    def value(self, index: int) -> int:
        """The count at a place."""
        return self.counts[index]

    def values(self, start: int, stop: int) -> Sequence[int]:
        """The counts from one place up to another."""
        return self.counts[start:stop]

    def total(self, start: int, stop: int) -> int:
        """The sum of the counts from one place up to another."""
        return sum(self.counts[start:stop])

    def tail(self, start: int) -> ListRow:
        """The row from a place on."""
        return ListRow(self.counts[start:])

    def joined(self, other: Row) -> Row:
        """Both rows as one."""
        plane = plane_row(self.counts) if isinstance(other, PlaneRow) else None
        if plane is not None:
            return plane.joined(other)
        return ListRow([*self.counts, *other.values(0, len(other))])


Row = PlaneRow | ListRow


def plane_row(counts: Sequence[int]) -> PlaneRow | None:
    """The counts as a PlaneRow, or None where one is below 0 or above 65535."""
    held = _held(counts)
    if held is None or isinstance(held, bytes):
        return None if held is None else PlaneRow(held)
    planes = planes_of(memoryview(held))
    return None if planes is None else PlaneRow(*planes)


def summed(values: Sequence[Any]) -> tuple[Sequence[int], int] | None:
    """Whole numbers from 0 to 65535, held as what is quickest to make a row of, and their sum.

    None where a value is anything else.
    """
    try:
        held = _held(values)
    except TypeError:
        return None
    if held is None or isinstance(held, bytes):
        return None if held is None else (held, PlaneRow(held).total(0, len(held)))
    planes = planes_of(memoryview(held))
    if planes is None:
        return None
    row = PlaneRow(*planes)
    return row.low if row.high is None else held, row.total(0, len(row))


def _held(values: Sequence[Any]) -> bytes | array[int] | memoryview | None:
    """Integers held by the machine; None where they cannot be as two bytes each.

    :raises TypeError: where a value is no integer.
    """
    if isinstance(values, (bytes, array, memoryview)):
        return values
    try:
        return bytes(values)
    except ValueError:
        pass
    try:
        return array("H", values)
    except OverflowError:
        return None


def planes_of(view: memoryview) -> tuple[bytes, bytes | None] | None:
    """Low and high bytes of machine integers (no high ones where all are 0).

    None where one is below 0 or above 65535.
    """
    if view.format.lstrip("@") not in INTEGERS:
        return None
    size = view.itemsize
    raw = bytes(view)
    count = len(view)
    places = range(size) if sys.byteorder == "little" else range(size - 1, -1, -1)
    low, *others = (raw[place::size] for place in places)
    zeros = bytes(count)
    if any(plane != zeros for plane in others[1:]):
        return None
    if not others or others[0] == zeros:
        return None if view.format.endswith("b") and not low.isascii() else (low, None)
    return None if view.format.endswith("h") and not others[0].isascii() else (low, others[0])
