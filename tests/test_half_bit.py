"""Layer 2 as it is seen from outside: half-bits, and faults where a duration fits none."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate
from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.edge import Edge, edges_from_durations, edges_from_times
from halfbit.error import CaptureError, HalfbitError
from halfbit.event import Fault, FaultKind, Layer
from halfbit.half_bit import HalfBit, HalfBitKind, HalfBitMachine, half_bits
from halfbit.limits import TRANSMIT, Limits
from tests.support import edges_of
from tests.support_strategies import all_limits, signals

US = 1000
DURATIONS = [58 * US, 100 * US, 77 * US, 51 * US, 10_001 * US, 64 * US]
EXPECTED: list[HalfBit | Fault] = [
    HalfBit(0, 58_000, HalfBitKind.ONE),
    HalfBit(58_000, 100_000, HalfBitKind.ZERO),
    Fault(FaultKind.GAP, 158_000, 235_000, at=158_000, detail=77_000),
    Fault(FaultKind.SHORT, 235_000, 286_000, at=235_000, detail=51_000),
    Fault(FaultKind.LONG, 286_000, 10_287_000, at=286_000, detail=10_001_000),
    HalfBit(10_287_000, 64_000, HalfBitKind.ONE),
]


def test_each_duration_gives_one_half_bit_or_fault() -> None:
    assert list(half_bits(edges_from_durations(DURATIONS, "ns"))) == EXPECTED


def test_the_machine_gives_each_with_the_edge_that_ends_it() -> None:
    machine = HalfBitMachine()
    given = [machine.feed(edge) for edge in edges_of(DURATIONS)]
    assert given == [(), *((event,) for event in EXPECTED)]
    assert machine.finish() == ()


def test_the_level_means_nothing() -> None:
    for level in (0, 1):
        assert list(half_bits(edges_of(DURATIONS, level))) == EXPECTED
    all_high = [Edge(edge.time, 1) for edge in edges_of(DURATIONS)]
    assert list(half_bits(all_high)) == EXPECTED


def test_times_count_from_wherever_the_edges_do() -> None:
    later = [Edge(edge.time + 5_000, edge.level) for edge in edges_of(DURATIONS)]
    starts = [event.start for event in half_bits(later)]
    assert starts == [5_000, 63_000, 163_000, 240_000, 291_000, 10_292_000]


def test_time_going_backwards_is_refused() -> None:
    machine = HalfBitMachine()
    machine.feed(Edge(100, 1))
    with pytest.raises(HalfbitError, match="^edge at 99 ns comes before the one at 100 ns"):
        machine.feed(Edge(99, 0))
    (event,) = machine.feed(Edge(58_100, 0))
    assert event == HalfBit(100, 58_000, HalfBitKind.ONE)


def test_limits_are_the_caller_s() -> None:
    (event,) = half_bits(edges_of([62 * US]), TRANSMIT)
    assert event.kind == FaultKind.GAP


def test_no_edge_or_one_gives_nothing() -> None:
    assert list(half_bits([])) == []
    assert list(half_bits([Edge(5, 1)])) == []


def test_a_half_bit_is_a_frozen_value() -> None:
    half = HalfBit(1, 2, HalfBitKind.ONE)
    assert half.end == 3
    assert half == HalfBit(1, 2, HalfBitKind.ONE)
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        half.start = 5  # type: ignore[misc]
    assert not hasattr(half, "__dict__")


# The iterator makes most half-bits past the machine


#: Each bound of each of the limits, and what is next to it.
_bounds = all_limits.flatmap(
    lambda limits: st.sampled_from((limits.one_min, limits.one_max, limits.zero_min, limits.zero_max))
)
_durations = st.one_of(signals(), st.lists(st.builds(int.__add__, _bounds, st.integers(-1, 1)), max_size=40))


@given(_durations, all_limits, st.sampled_from(("ns", "us", 84_000_000, 7)))
def test_edges_of_all_forms_give_the_same_half_bits(
    durations: list[int], limits: Limits, unit: str | int
) -> None:
    expected = list(half_bits(list(edges_from_durations(durations, unit)), limits))
    assert list(half_bits(edges_from_durations(durations, unit), limits)) == expected
    assert list(half_bits(edges_from_durations(iter(durations), unit), limits)) == expected
    assert list(half_bits(edges_from_times([*accumulate(durations, initial=9)], unit), limits)) == expected


def test_a_half_bit_comes_as_soon_as_its_duration() -> None:
    """A live source is asked for nothing beyond it."""
    asked = []

    def source() -> Iterator[int]:
        for duration in (58, 77, 100):
            asked.append(duration)
            yield duration

    halves = half_bits(edges_from_durations(source()))
    assert asked == []
    assert next(halves).kind is HalfBitKind.ONE and asked == [58]
    assert next(halves).kind is FaultKind.GAP and asked == [58, 77]


def test_half_bits_before_a_wrong_value_are_not_lost_with_it() -> None:
    halves = half_bits(edges_from_durations([58, 100, -1, 58]))
    assert [next(halves).kind, next(halves).kind] == [HalfBitKind.ONE, HalfBitKind.ZERO]
    with pytest.raises(CaptureError, match="^item 2: duration -1 is negative$"):
        next(halves)


def test_the_iterator_refuses_time_going_backwards() -> None:
    halves = half_bits([Edge(0, 1), Edge(100_000, 0), Edge(99_999, 1)])
    assert next(halves) == HalfBit(0, 100_000, HalfBitKind.ZERO)
    with pytest.raises(HalfbitError, match="^edge at 99999 ns comes before the one at 100000 ns"):
        next(halves)


@pytest.mark.parametrize("wrong", [5.5, "5", None, True])
def test_a_time_that_is_no_integer_is_refused_and_changes_nothing(wrong: Any) -> None:
    machine = HalfBitMachine()
    with pytest.raises(HalfbitError, match="^time of an edge: .* is not an integer of ns$"):
        machine.feed(Edge(wrong, 1))
    machine.feed(Edge(0, 1))
    with pytest.raises(HalfbitError, match="is not an integer of ns"):
        machine.feed(Edge(wrong, 0))
    assert machine.feed(Edge(58_000, 0)) == (HalfBit(0, 58_000, HalfBitKind.ONE),)
