"""Rows of durations in forms that much can be asked about at once.

A row is one of three sequences of counts: ``bytes`` where none is above 255, a :class:`PlaneRow` where
few are, a list else. All give their counts by index and by slice.
"""

from __future__ import annotations

import codecs
import re
import sys
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, overload
from zlib import adler32

__all__ = ["SUMMED", "PlaneRow", "Row", "joined", "planes_of", "row_of", "summed", "total"]

#: So many bytes add up to less than the modulus of Adler-32 (65521).
SUMMED = 256

#: The formats of machine integers in the machine's byte order.
INTEGERS = frozenset("bBhHiIlLqQnN")

_of_utf_16 = codecs.utf_16_le_decode if sys.byteorder == "little" else codecs.utf_16_be_decode

_NOT_0 = re.compile(b"[^\\0]")


class PlaneRow:
    """Counts from 0 to 65535, some of them above 255: their low bytes and their high bytes."""

    __slots__ = ("high", "large", "low")

    def __init__(self, low: bytes, high: bytes) -> None:
        self.low = low
        self.high = high
        #: The places of counts above 255.
        self.large = [match.start() for match in _NOT_0.finditer(high)]

    def __len__(self) -> int:
        return len(self.low)

    @overload
    def __getitem__(self, index: int) -> int: ...
    @overload
    def __getitem__(self, index: slice) -> Row: ...
    def __getitem__(self, index: int | slice) -> int | Row:
        if isinstance(index, int):
            return self.low[index] | self.high[index] << 8
        return _of_planes(self.low[index], self.high[index])

    def __iter__(self) -> Iterator[int]:
        return (low | high << 8 for low, high in zip(self.low, self.high))

    def plain_to(self, start: int) -> int:
        """The place up to which, from ``start`` on, no count is above 255."""
        index = bisect_left(self.large, start)
        return self.large[index] if index < len(self.large) else len(self.low)


Row = bytes | list[int] | PlaneRow


def total(row: Row, start: int, stop: int) -> int:
    """The sum of a row's counts from one place up to another."""
    if isinstance(row, bytes):
        if stop - start <= SUMMED:
            # The low half of an Adler-32 that starts at 0 is the sum of the bytes, in C.
            return adler32(row[start:stop], 0) & 0xFFFF
        starts = range(start, stop, SUMMED)
        return sum([adler32(row[place : min(place + SUMMED, stop)], 0) & 0xFFFF for place in starts])
    if isinstance(row, list):
        return sum(row[start:stop])
    low = total(row.low, start, stop)
    return low if row.plain_to(start) >= stop else low + (total(row.high, start, stop) << 8)


def joined(row: Row, other: Row) -> Row:
    """Two rows as one."""
    if isinstance(row, bytes) and isinstance(other, bytes):
        return row + other
    if not isinstance(other, list):
        planes, behind = _planes(row), _planes(other)
        if planes is not None and behind is not None:
            return _of_planes(planes[0] + behind[0], planes[1] + behind[1])
    return [*row, *other]


def row_of(counts: Sequence[int] | Row) -> Row:
    """Some counts as a row."""
    narrow = _narrow(counts)
    if narrow is not None:
        return narrow
    held = _held(counts)
    if isinstance(held, bytes):
        return held
    planes = None if held is None else planes_of(memoryview(held))
    if planes is None or planes[1].count(0) < len(planes[1]) * 3 // 4:
        return counts.tolist() if isinstance(counts, memoryview) else list(counts)
    return _of_planes(*planes)


def summed(values: Sequence[Any]) -> tuple[Sequence[int], int] | None:
    """Whole numbers from 0 to 65535, held as what is quickest to make a row of, and their sum.

    None where a value is anything else.
    """
    held: bytes | array[int] | memoryview | None = _narrow(values)
    if held is None:
        try:
            held = _held(values)
        except TypeError:
            return None
    if isinstance(held, bytes):
        return held, total(held, 0, len(held))
    planes = None if held is None else planes_of(memoryview(held))
    if planes is None or held is None:
        return None
    low, high = planes
    sums = total(low, 0, len(low)) + (total(high, 0, len(high)) << 8 if high else 0)
    return held if high else low, sums


def _held(values: Sequence[Any] | Row) -> bytes | array[int] | memoryview | None:
    """Integers held by the machine; None where they cannot be as two bytes each.

    :raises TypeError: where a value is no integer.
    """
    if isinstance(values, (array, memoryview, bytes)):
        return values
    try:
        return bytes(bytearray(values))  # in half the time of bytes alone
    except ValueError:
        return _wide(values)


def _wide(values: Iterable[int]) -> array[int] | None:
    """Integers as two bytes each; None where one has no room."""
    try:
        return array("H", values)
    except OverflowError:
        return None


def planes_of(view: memoryview) -> tuple[bytes, bytes] | None:
    """Low and high bytes of machine integers (no high ones where all are 0).

    None where one is below 0 or above 65535.
    """
    if view.format.lstrip("@") not in INTEGERS:
        return None
    size = view.itemsize
    raw = bytes(view)
    places = range(size) if sys.byteorder == "little" else range(size - 1, -1, -1)
    low, *others = (raw[place::size] for place in places)
    zeros = bytes(len(view))
    if any(plane != zeros for plane in others[1:]):
        return None
    if not others or others[0] == zeros:
        return None if view.format.endswith("b") and not low.isascii() else (low, b"")
    return None if view.format.endswith("h") and not others[0].isascii() else (low, others[0])


def _narrow(counts: Sequence[Any] | Row) -> bytes | None:
    """Machine integers of two bytes as one byte each; None where these are others, or one has no room.

    They are UTF-16, and those that are Latin-1 too have no high byte.
    """
    if isinstance(counts, memoryview):
        form = counts.format
    elif isinstance(counts, array):
        form = counts.typecode
    else:
        return None
    if form not in ("H", "h"):
        return None
    try:
        return _of_utf_16(counts, "strict", True)[0].encode("latin-1")
    except (ValueError, BufferError):
        return None


def _planes(row: Row) -> tuple[bytes, bytes] | None:
    """A row's low and high bytes, as many of each; None where a count has more."""
    if isinstance(row, bytes):
        return row, bytes(len(row))
    if isinstance(row, PlaneRow):
        return row.low, row.high
    wide = _wide(row)
    planes = None if wide is None else planes_of(memoryview(wide))
    return None if planes is None else (planes[0], planes[1] or bytes(len(row)))


def _of_planes(low: bytes, high: bytes) -> Row:
    return low if high.count(0) == len(high) else PlaneRow(low, high)
