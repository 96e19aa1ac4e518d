"""Layer 1: numpy's arrays and their views. Taken with Python's own integers as times, or refused with what to give."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from halfbit import Edges, HalfbitError, decode, edges_from_durations, edges_from_samples, edges_from_times
from halfbit.simulate.signal import packet_durations, with_error_byte
from tests.support import bulk_durations

#: Packets, and between them stretches that add up to more us than 16 bits hold, and to more ns than 32 bits hold.
PACKET = packet_durations(with_error_byte(bytes([0x37, 0x74])))
DURATIONS = [duration // 1000 for duration in (PACKET + [9_000_000] * 40) * 14]
TIMES = np.cumsum([0, *DURATIONS])

TYPES = (">u2", ">u4", ">i4", ">i8", ">f8", "<u2", "<u4", "<i4", "<u8", "<f4", "O")


@pytest.mark.parametrize("dtype", TYPES)
@pytest.mark.parametrize("kind", [lambda array: array, list, iter], ids=["array", "list", "iterator"])
def test_an_array_in_any_byte_order_gives_the_events_of_a_list(dtype: str, kind: Callable[[Any], Any]) -> None:
    """Once an array's own numbers were summed as they were, and overflowed: after 65 ms in 16 bits, 4.3 s in 32."""
    array = np.array(DURATIONS, dtype=dtype)
    assert 1000 * sum(DURATIONS) > 2**32
    expected = list(edges_from_durations(DURATIONS))
    edges = list(edges_from_durations(kind(array)))
    assert edges == expected and {type(edge.time) for edge in edges} == {int}
    assert list(decode(edges_from_durations(kind(array)))) == list(decode(edges_from_durations(DURATIONS)))
    if np.dtype(dtype).itemsize > 2:
        times = list(edges_from_times(kind(TIMES.astype(dtype))))
        assert times == expected and {type(edge.time) for edge in times} == {int}


@pytest.mark.parametrize("dtype", ["datetime64[us]", "timedelta64[us]", "complex128", "U3", [("us", "u4")]], ids=str)
@pytest.mark.parametrize("make", [edges_from_times, edges_from_durations, edges_from_samples])
@pytest.mark.parametrize("use", [list, bulk_durations])
def test_an_array_of_no_real_numbers_is_refused(
    dtype: Any, make: Callable[..., Edges], use: Callable[[Edges], object]
) -> None:
    with pytest.raises(HalfbitError, match="holds no real numbers: give integers or floats"):
        use(make(np.zeros(3, dtype=dtype)))


def test_times_of_a_datetime_array_are_taken_as_the_error_says() -> None:
    moments = TIMES.astype("datetime64[us]")
    with pytest.raises(HalfbitError, match=r"values\.astype\('int64'\)"):
        list(edges_from_times(moments))
    assert list(edges_from_times(moments.astype("int64"))) == list(edges_from_durations(DURATIONS))


@pytest.mark.parametrize("make", [edges_from_times, edges_from_durations])
@pytest.mark.parametrize("kind", [lambda array: array, memoryview], ids=["array", "view"])
def test_booleans_are_levels_and_no_times(make: Callable[..., Edges], kind: Callable[[Any], Any]) -> None:
    levels = kind(np.array([True, False, True]))
    with pytest.raises(HalfbitError, match="give it to edges_from_samples"):
        make(levels)
    assert [edge.level for edge in edges_from_samples(levels)] == [0, 1]


@pytest.mark.parametrize("view", [np.zeros(3, ">u4").data, np.zeros((2, 2), "u4").data], ids=["order", "2"])
def test_a_view_that_python_cannot_read_is_refused(view: memoryview) -> None:
    with pytest.raises(HalfbitError, match="give one row in the machine's byte order"):
        list(edges_from_durations(view))


def test_an_array_of_two_dimensions_is_refused() -> None:
    with pytest.raises(HalfbitError, match="^an array of 2 dimensions is not a row of numbers: give one row of it$"):
        list(edges_from_durations(np.zeros((2, 3))))
