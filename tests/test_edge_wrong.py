"""Layer 1: what is wrong with a row of numbers is said, with its place, and nothing else gets out."""

from __future__ import annotations

import array
import decimal
import math
from collections.abc import Callable
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.edge import Edge, Edges, edges_from_durations, edges_from_samples, edges_from_times
from halfbit.error import CaptureError, HalfbitError
from tests.support import bulk_durations

WRONG: dict[str, tuple[Any, str]] = {
    "not a number": (math.nan, "nan is not a finite number"),
    "endless": (math.inf, "inf is not a finite number"),
    "a word": ("58", "'58' is not a number"),
    "bytes": (b"58", "b'58' is not a number"),
    "nothing": (None, "None is not a number"),
    "complex": (1j, "1j is not a number"),
    "decimal not a number": (decimal.Decimal("nan"), "is not a finite number"),
    "too large for a float": (1e308, "is too large"),
}


@pytest.mark.parametrize("name", WRONG)
@pytest.mark.parametrize("make", [edges_from_times, edges_from_durations])
@pytest.mark.parametrize("kind", [list, tuple, iter])
def test_wrong_values(name: str, make: Callable[..., Edges], kind: Callable[..., Any]) -> None:
    value, problem = WRONG[name]
    for at in (0, 2):
        values: list[Any] = [58, 116, 174]
        values[at] = value
        for use in (list, bulk_durations):
            with pytest.raises(CaptureError, match=f"^item {at}: .*{problem}"):
                use(make(kind(values)))


@pytest.mark.parametrize("use", [list, bulk_durations])
def test_wrong_values_far_into_a_capture(use: Callable[[Edges], object]) -> None:
    numbers = array.array("d", range(50_000))
    numbers[43_210] = math.nan
    with pytest.raises(CaptureError, match="^item 43210: nan is not a finite number$"):
        use(edges_from_times(numbers))
    numbers[43_210] = -3.0
    with pytest.raises(CaptureError, match="^item 43210: duration -3.0 is negative$"):
        use(edges_from_durations(numbers))


@pytest.mark.parametrize("use", [list, bulk_durations])
def test_time_going_backwards(use: Callable[[Edges], object]) -> None:
    with pytest.raises(CaptureError, match="^item 2: time goes backwards, from 116 to 100 .*wrap"):
        use(edges_from_times([58, 116, 100]))
    times = list(range(20_000)) + [5]
    with pytest.raises(CaptureError, match="^item 20000: time goes backwards, from 19999 to 5 "):
        use(edges_from_times(times))
    with pytest.raises(CaptureError, match="^item 1: time goes backwards"):
        use(edges_from_times(iter([0.5, 0.25])))


@pytest.mark.parametrize("use", [list, bulk_durations])
def test_negative_durations(use: Callable[[Edges], object]) -> None:
    with pytest.raises(CaptureError, match="^item 1: duration -1 is negative$"):
        use(edges_from_durations([58, -1, 58]))
    with pytest.raises(CaptureError, match="^item 2: duration -1 is negative$"):
        use(edges_from_durations(array.array("b", [58, 0, -1])))


@pytest.mark.parametrize("values", [5, None, 3.5])
def test_what_is_no_row_of_numbers(values: Any) -> None:
    for make in (edges_from_times, edges_from_durations, edges_from_samples):
        for use in (list, bulk_durations):
            with pytest.raises(HalfbitError, match="is not a row of numbers"):
                use(make(values))


@pytest.mark.parametrize("at", [0, 1, 17, 16_384, 20_000])
def test_what_stands_before_a_wrong_value_is_not_lost(at: int) -> None:
    """Both ways give all that is sound before they say what is wrong."""
    good = [58] * 20_001
    late: list[Any] = list(accumulate(good))
    late[at] = "x"
    wrong: list[Any] = [*good[:at], -1, *good[at + 1 :]]
    levels: list[Any] = [index % 2 for index in range(20_001)]
    levels[at] = 2
    for edges, sound in (
        (edges_from_times(late), at - 1),
        (edges_from_durations(wrong), at),
        (edges_from_samples(levels), at - 2),
    ):
        got: list[int] = []
        with pytest.raises(CaptureError, match=f"^item {at}: "):
            for counts, scale in edges._rows():
                got += [count * scale for count in counts]
        assert len(got) == max(sound, 0)
        singly: list[Edge] = []
        with pytest.raises(CaptureError, match=f"^item {at}: "):
            singly.extend(edges)
        assert [after.time - before.time for before, after in pairwise(singly)] == got


def test_numbers_beyond_all_captures_are_refused_and_not_overflowed() -> None:
    for values in ([1e30] * 3, [10**29, 10**400], [10**400, 10**401, 5.0, 6.0], [0.0, 10**400]):
        for use in (list, bulk_durations):
            for make in (edges_from_durations, edges_from_times):
                try:
                    use(make(values))
                except CaptureError as error:
                    assert error.place.startswith("item ")


#: What may stand in a row of numbers, right or wrong.
anything = st.one_of(
    st.integers(-5, 200),
    st.integers(),
    st.floats(),
    st.sampled_from(("", "7", None, b"", True, 10**400, -(10**400), 1j, Fraction(1, 3))),
)


@given(
    st.lists(anything, max_size=8),
    st.sampled_from((edges_from_times, edges_from_durations, edges_from_samples)),
)
def test_nothing_but_a_capture_error_gets_out(values: list[Any], make: Callable[..., Edges]) -> None:
    """And both ways through find something wrong in the same captures."""
    outcomes: list[bool | None] = []
    for use in (lambda edges: [edge.time for edge in edges], bulk_durations):
        try:
            outcomes.append(len(use(make(values))) > 1)
        except CaptureError as error:
            assert error.place.startswith("item ")
            outcomes.append(None)
    assert (outcomes[0] is None) == (outcomes[1] is None)


@pytest.mark.parametrize("use", [list, bulk_durations])
@pytest.mark.parametrize("wrong", [2, -1, 0.5])
def test_samples_that_are_no_levels(use: Callable[[Edges], object], wrong: float) -> None:
    with pytest.raises(CaptureError, match=f"^item 3: level {wrong} is neither 0 nor 1$"):
        use(edges_from_samples([0, 1, 0, wrong, 1]))  # type: ignore[list-item]
