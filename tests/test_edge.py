"""Layer 1: raw numbers of every kind become the same edges, and wrong ones name their place."""

from __future__ import annotations

import array
import ctypes
import decimal
import math
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.batch import SIZE
from halfbit.edge import (
    Edge,
    EdgeMachine,
    Edges,
    edges_from_durations,
    edges_from_samples,
    edges_from_times,
)
from halfbit.error import CaptureError, HalfbitError
from halfbit.unit import Scale, Unit
from tests.support import bulk_durations

#: Three durations in us, short enough for every type of number there is.
SHORT = [58, 100, 7]
TIMES = [Edge(0, 1), Edge(58_000, 0), Edge(158_000, 1), Edge(165_000, 0)]


def both(edges: Edges) -> list[Edge]:
    """The edges, which have been seen to be as far apart as the bulk durations say."""
    singly = list(edges)
    assert [after.time - before.time for before, after in pairwise(singly)] == bulk_durations(edges)
    assert all(after.level == 1 - before.level for before, after in pairwise(singly))
    return singly


# Kinds of numbers


def _containers(values: list[int]) -> Iterator[tuple[str, Any]]:
    yield "list", list(values)
    yield "tuple", tuple(values)
    yield "range-like floats", [float(value) for value in values]
    yield "mixed", [float(value) if index % 2 else value for index, value in enumerate(values)]
    yield "decimals", [decimal.Decimal(value) for value in values]
    yield "fractions", [Fraction(value) for value in values]
    yield "bytes", bytes(values)
    yield "bytearray", bytearray(values)
    for code in "bBhHiIlLqQfd":
        yield f"array {code}", array.array(code, values)
        yield f"memoryview {code}", memoryview(array.array(code, values))
    yield "every second of a view", memoryview(bytes(x for value in values for x in (value, 9)))[::2]
    yield "other byte order", (ctypes.c_uint32.__ctype_be__ * len(values))(*values)
    yield "this byte order", (ctypes.c_uint32.__ctype_le__ * len(values))(*values)


@pytest.mark.parametrize("name", [name for name, _ in _containers([])])
def test_durations_of_every_kind(name: str) -> None:
    assert both(edges_from_durations(dict(_containers(SHORT))[name])) == TIMES


@pytest.mark.parametrize("name", [name for name, _ in _containers([])])
def test_times_of_every_kind(name: str) -> None:
    """The first time is where the capture starts, whatever it is."""
    times = [time - 50 for time in accumulate([50, 58, 7])]
    expected = [Edge(0, 1), Edge(58_000, 0), Edge(65_000, 1)]
    for offset in (0, 50):
        values = [time + offset for time in times]
        assert both(edges_from_times(dict(_containers(values))[name])) == expected


@pytest.mark.parametrize("make", [iter, lambda values: (value for value in values)])
def test_iterators_are_gone_through_once(make: Callable[[list[int]], Iterable[int]]) -> None:
    assert list(edges_from_durations(make(SHORT))) == TIMES
    assert bulk_durations(edges_from_durations(make(SHORT))) == [58_000, 100_000, 7_000]
    edges = edges_from_durations(make(SHORT))
    assert len(list(edges)) == 4
    assert list(edges) == []


def test_a_list_can_be_gone_through_again() -> None:
    edges = edges_from_times([0, 58, 116])
    assert list(edges) == list(edges)
    assert bulk_durations(edges) == bulk_durations(edges) == [58_000, 58_000]


def test_long_captures_are_taken_in_blocks_without_a_seam() -> None:
    durations = [58 + index % 7 for index in range(40_000)]
    times = list(accumulate(durations, initial=12))
    assert bulk_durations(edges_from_durations(durations)) == [1000 * value for value in durations]
    assert bulk_durations(edges_from_times(times)) == [1000 * value for value in durations]
    assert bulk_durations(edges_from_times(array.array("d", times))) == [1000 * value for value in durations]
    assert [edge.time for edge in edges_from_times(times)][-1] == 1000 * sum(durations)


@pytest.mark.parametrize("values", [[], (), b"", array.array("d"), iter(())])
def test_nothing_gives_nothing(values: Any) -> None:
    for make in (edges_from_times, edges_from_durations, edges_from_samples):
        assert list(make(values)) == []
        assert bulk_durations(make(values)) == []


def test_one_time_is_one_edge_and_no_duration() -> None:
    assert list(edges_from_times([17])) == [Edge(0, 1)]
    assert bulk_durations(edges_from_times([17])) == []


# Units


@pytest.mark.parametrize(
    ("unit", "nanoseconds"),
    [
        ("ns", 1),
        ("us", 1_000),
        ("ms", 1_000_000),
        ("s", 1_000_000_000),
        (1_000_000_000, 1),
        (1_000_000, 1_000),
        (1e6, 1_000),
        (Fraction(1_000_000), 1_000),
        (4_000_000, 250),
        (2_000_000_000, Fraction(1, 2)),
        (84_000_000, Fraction(250, 21)),
        (32_768, Fraction(10**9, 32_768)),
        (0.5, 2_000_000_000),
    ],
)
def test_units(unit: Unit, nanoseconds: Fraction | int) -> None:
    """Times, not durations, are rounded, to the nearest: no error adds up."""
    counts = [1, 7, 7, 1001, 123_456]
    edges = both(edges_from_durations(counts, unit))
    exact = [total * Fraction(nanoseconds) for total in accumulate(counts, initial=0)]
    assert [edge.time for edge in edges] == [math.floor(time + Fraction(1, 2)) for time in exact]


def test_fractions_of_a_second_as_floats() -> None:
    times = [0.25, 0.250058, 0.250116, 0.250216]
    assert [edge.time for edge in both(edges_from_times(times, "s"))] == [0, 58_000, 116_000, 216_000]


@pytest.mark.parametrize(
    "unit", ["h", "", "US", 0, -1, 0.0, math.nan, math.inf, -math.inf, True, None, b"us", [1], 1j]
)
def test_no_unit(unit: Any) -> None:
    for make in (edges_from_times, edges_from_durations, edges_from_samples):
        with pytest.raises(HalfbitError, match="unit: .* ticks per second"):
            make([1], unit)
    with pytest.raises(HalfbitError, match="unit: "):
        EdgeMachine(unit)


@given(st.integers(0, 10**15), st.integers(1, 10**10))
def test_whole_counts_are_converted_exactly(count: int, ticks: int) -> None:
    exact = Fraction(count * 10**9, ticks)
    assert Scale.of(ticks).nanoseconds(count) == math.floor(exact + Fraction(1, 2))


# A counter that starts over


@pytest.mark.parametrize("wrap", [2**30, 2**32, 2**16])
def test_a_counter_that_starts_over(wrap: int) -> None:
    """A 32-bit count of us starts over after 71.6 minutes, one of 30 bits after 17.9 (arithmetic)."""
    durations = [58, 100, 10_000, 58, 58]
    times = [time % wrap for time in accumulate(durations, initial=wrap - 120)]
    assert min(times) < max(times) - 10_000
    expected = list(accumulate((1000 * value for value in durations), initial=0))
    assert [edge.time for edge in both(edges_from_times(times, wrap=wrap))] == expected
    floats = [float(time) for time in times]
    assert [edge.time for edge in both(edges_from_times(floats, wrap=wrap))] == expected


def test_a_counter_starts_over_at_a_block_s_seam_too() -> None:
    durations = [58] * 70_000
    times = [time % 2**16 for time in accumulate(durations, initial=0)]
    assert bulk_durations(edges_from_times(times, wrap=2**16)) == [58_000] * 70_000


def test_a_counter_longer_than_it_can_be_is_refused() -> None:
    for values, place in (([0, 65_536], "item 1"), ([-1], "item 0"), ([70_000.5, 3], "item 0")):
        for use in (list, bulk_durations):
            with pytest.raises(CaptureError, match=f"{place}: time .* outside a counter of 65536"):
                use(edges_from_times(values, wrap=65_536))


@pytest.mark.parametrize("wrap", [0, 1, -5, 2.0, True, "2"])
def test_no_counter(wrap: Any) -> None:
    with pytest.raises(HalfbitError, match="wrap: "):
        edges_from_times([], wrap=wrap)
    with pytest.raises(HalfbitError, match="wrap: "):
        EdgeMachine(wrap=wrap)

# Both ways through


numbers = st.one_of(st.integers(0, 300), st.integers(0, 2**40), st.floats(0, 1e9, width=32))


@given(st.lists(numbers, max_size=60), st.sampled_from(("ns", "us", "s", 84_000_000, 0.1)))
def test_edges_are_as_far_apart_as_the_bulk_durations_say(values: list[Any], unit: Unit) -> None:
    values.sort()
    for edges, live in (
        (edges_from_durations(values, unit), edges_from_durations(iter(values), unit)),
        (edges_from_times(values, unit), edges_from_times(iter(values), unit)),
    ):
        steps = [after.time - before.time for before, after in pairwise(edges)]
        assert steps == bulk_durations(edges)
        assert steps == bulk_durations(live)


@given(
    st.lists(st.one_of(st.integers(0, 300), numbers), max_size=60),
    st.sampled_from(("ns", "us", "s", 84_000_000, 0.1)),
    st.integers(0, 1),
)
def test_edges_are_those_of_the_machine_fed_singly(values: list[Any], unit: Unit, level: int) -> None:
    machine = EdgeMachine(unit, level=level)
    expected = [edge for value in values for edge in machine.feed_duration(value)]
    assert list(edges_from_durations(values, unit, level=level)) == expected
    assert list(edges_from_durations(iter(values), unit, level=level)) == expected


@pytest.mark.parametrize("unit", ["ns", "us", 84_000_000])
def test_edges_of_blocks_behind_a_fraction(unit: Unit) -> None:
    """A block of whole numbers is gone through at once, also if the time before is not a whole number of ns."""
    values = [58.3] * SIZE + [58, 100] * 40
    machine = EdgeMachine(unit)
    expected = [edge for value in values for edge in machine.feed_duration(value)]
    edges = list(edges_from_durations(values, unit))
    assert edges == expected
    assert {type(edge) for edge in edges} == {Edge}
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        edges[-1].time = 0  # type: ignore[misc]


# Levels


def test_the_level_alternates_from_the_one_given() -> None:
    for level in (0, 1):
        for edges in (
            edges_from_times([0, 1, 2], level=level),
            edges_from_durations([1, 1], level=level),
        ):
            assert [edge.level for edge in edges] == [level, 1 - level, level]
    wrong: tuple[Any, ...] = (2, -1, None, "1")
    for level in wrong:
        for make in (edges_from_times, edges_from_durations):
            with pytest.raises(HalfbitError, match="level: .* neither 0 nor 1"):
                make([0, 1], level=level)


@pytest.mark.parametrize("first", [0, 1])
def test_samples(first: int) -> None:
    """Time counts from the first change; the level is the samples' own."""
    levels = [first] * 3 + [1 - first] * 2 + [first] * 5 + [1 - first]
    expected = [Edge(0, 1 - first), Edge(2_000, first), Edge(7_000, 1 - first)]
    samples: Any
    for samples in (levels, bytes(levels), iter(levels), [bool(x) for x in levels], tuple(levels)):
        assert list(edges_from_samples(samples)) == expected
    for samples in (levels, bytes(levels), array.array("d", levels), array.array("h", levels)):
        assert both(edges_from_samples(samples)) == expected
    assert bulk_durations(edges_from_samples(levels, 4_000_000)) == [500, 1_250]


@given(st.lists(st.integers(0, 1), max_size=80))
def test_samples_give_the_changes_between_them(levels: list[int]) -> None:
    changes = [at for at in range(1, len(levels)) if levels[at] != levels[at - 1]]
    expected = [Edge(1000 * (at - changes[0]), levels[at]) for at in changes]
    assert both(edges_from_samples(levels)) == expected
    assert list(edges_from_samples(iter(levels))) == expected


def test_samples_in_blocks_without_a_seam() -> None:
    levels = bytes(at // 29 % 2 for at in range(100_000))
    edges = both(edges_from_samples(levels))
    assert len(edges) == (100_000 - 1) // 29
    assert set(bulk_durations(edges_from_samples(levels))) == {29_000}


# Live sources


def test_edges_come_as_soon_as_their_numbers_do() -> None:
    """An iterator is never asked for more than the edge at hand needs."""
    asked = []

    def source(values: list[int]) -> Iterator[int]:
        for value in values:
            asked.append(value)
            yield value

    edges = iter(edges_from_times(source([0, 58, 116])))
    assert next(edges) == Edge(0, 1)
    assert asked == [0]
    assert next(edges) == Edge(58_000, 0)
    assert asked == [0, 58]

    asked.clear()
    pieces = edges_from_durations(source([58, 100]))._rows()
    durations, scale = next(pieces)
    assert ([*durations], scale) == ([58], 1000)
    assert asked == [58]

    asked.clear()
    edges = iter(edges_from_samples(source([0, 1, 1, 0, 0])))
    assert next(edges) == Edge(0, 1)
    assert asked == [0, 1]


def test_making_edges_takes_nothing_from_the_source() -> None:
    def source() -> Iterator[int]:
        raise AssertionError("asked for a value nobody wants yet")
        yield 0

    for make in (edges_from_times, edges_from_durations, edges_from_samples):
        make(source())


# The machine alone


def test_the_machine_takes_looks_of_which_some_are_changes() -> None:
    machine = EdgeMachine("us")
    looks = [(100, 0), (130, 0), (160, 1), (190, 1), (220, 0), (250, 1)]
    edges = [edge for time, level in looks for edge in machine.feed(time, level)]
    assert edges == [Edge(0, 1), Edge(60_000, 0), Edge(90_000, 1)]


def test_looks_at_a_counter_that_starts_over_between_changes() -> None:
    machine = EdgeMachine("us", wrap=256)
    looks = [(0, 1), (100, 0), (200, 0), (44, 0), (144, 0), (244, 1)]  # once round between changes
    edges = [edge for time, level in looks for edge in machine.feed(time, level)]
    assert edges == [Edge(0, 0), Edge(400_000, 1)]


def test_the_machine_names_the_place_it_is_given() -> None:
    machine = EdgeMachine("us")
    machine.feed(58, 0)
    with pytest.raises(CaptureError, match="^line 7: level 2 is neither 0 nor 1$"):
        machine.feed(60, 2, place="line 7")
    with pytest.raises(CaptureError, match="^line 8: time goes backwards, from "):
        machine.feed(3, 1, place="line 8")
    with pytest.raises(CaptureError, match="^line 9: nan is not a finite number$"):
        machine.feed(math.nan, 1, place="line 9")
    with pytest.raises(CaptureError, match="^line 10: duration -1 is negative$"):
        EdgeMachine("us").feed_duration(-1, place="line 10")


def test_the_machine_s_first_duration_gives_both_changes() -> None:
    machine = EdgeMachine("us", level=0)
    assert machine.feed_duration(58) == (Edge(0, 0), Edge(58_000, 1))
    assert machine.feed_duration(58) == (Edge(116_000, 0),)
