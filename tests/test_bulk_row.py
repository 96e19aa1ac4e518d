"""Rows of durations, in the forms that they are held in."""

from __future__ import annotations

from array import array
from collections.abc import Iterator

import pytest

from halfbit.bulk_row import PlaneRow, Row, joined, row_of, summed, total


def _rows() -> Iterator[Row]:
    yield bytes(range(200)) * 3
    yield PlaneRow(bytes(1000), bytes((250 <= place < 600) + 7 * (place == 700) for place in range(1000)))
    yield [10**9, *range(600)]
    yield [*range(250, 700), 65_535]


def test_kinds_of_rows() -> None:
    assert isinstance(row_of([3, 255] * 300), bytes)
    assert isinstance(row_of([3, 256, 255, 0] * 300), PlaneRow)
    assert isinstance(row_of([300, 3] * 300), list)  # most of them above 255 would each be looked at
    assert isinstance(row_of([3, 65_536, 255, 0] * 300), list)


@pytest.mark.parametrize("row", tuple(_rows()), ids=["bytes", "some large", "list", "large, of two bytes"])
def test_rows_add_up(row: Row) -> None:
    values = list(row)
    assert values == [row[index] for index in range(len(row))]
    for start, stop in ((0, 0), (0, len(row)), (3, 200), (5, 261), (5, 262), (1, 520)):
        assert total(row, start, stop) == sum(values[start:stop])
    for other in _rows():
        assert list(joined(row, other)) == values + list(other)
    assert list(row[100:]) == values[100:]
    assert list(row_of(row)) == values


@pytest.mark.parametrize("form", "bBhHiIlLqQ")
def test_machine_integers_of_each_form(form: str) -> None:
    numbers = array(form, [1, 2, 127])
    assert summed(memoryview(numbers)) == (bytes([1, 2, 127]), 130)
    if form.islower():
        numbers.append(-1)
        assert summed(memoryview(numbers)) is None
    if numbers.itemsize > 2:
        assert summed(memoryview(array(form, [65_536]))) is None


def test_counts_that_are_no_text_are_counts_all_the_same() -> None:
    """Two-byte integers go through a decoder of text, which refuses some of them where they stand so."""
    for counts in ([58, 0xD800], [58, 0xDC00, 58], [0xD83D, 0xDE00, 58], [0xFEFF, 58], [58, 0xFFFE], [58, 255, 256], []):
        numbers = array("H", counts)
        for form in (numbers, memoryview(numbers), numbers.tolist()):
            assert list(row_of(form)) == counts
    every_other = memoryview(array("H", [58, 100, 59, 300, 60, 7]))[::2]
    assert list(row_of(every_other)) == [58, 59, 60]


def test_what_is_no_row_of_machine_integers() -> None:
    assert summed([1.0, 2]) is None
    assert summed(["1"]) is None
    assert summed([300, "1"]) is None
    assert summed([-1]) is None
    assert summed([1 << 70]) is None
    assert summed(memoryview(array("d", [1.0]))) is None
