"""Layer 2 as it is seen from outside: half-bits, and faults where a duration fits none."""

from __future__ import annotations

import attrs
import pytest

from halfbit.edge import Edge, edges_from_durations
from halfbit.error import HalfbitError
from halfbit.fault import Fault, FaultKind, Layer
from halfbit.half_bit import HalfBit, HalfBitKind, HalfBitMachine, half_bits
from halfbit.limits import TRANSMIT
from tests.support import edges_of

US = 1000
DURATIONS = [58 * US, 100 * US, 77 * US, 51 * US, 10_001 * US, 64 * US]
EXPECTED: list[HalfBit | Fault] = [
    HalfBit(0, 58_000, HalfBitKind.ONE),
    HalfBit(58_000, 100_000, HalfBitKind.ZERO),
    Fault(FaultKind.BETWEEN, Layer.HALF_BIT, 158_000, 235_000, at=158_000, detail=77_000),
    Fault(FaultKind.SHORT, Layer.HALF_BIT, 235_000, 286_000, at=235_000, detail=51_000),
    Fault(FaultKind.LONG, Layer.HALF_BIT, 286_000, 10_287_000, at=286_000, detail=10_001_000),
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
    with pytest.raises(HalfbitError, match="^edge at 99 ns lies before the one at 100 ns$"):
        machine.feed(Edge(99, 0))
    (event,) = machine.feed(Edge(58_100, 0))
    assert event == HalfBit(100, 58_000, HalfBitKind.ONE)


def test_limits_are_the_caller_s() -> None:
    (event,) = half_bits(edges_of([62 * US]), TRANSMIT)
    assert event.kind == FaultKind.BETWEEN


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
