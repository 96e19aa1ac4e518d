"""Layer 3 as it is seen from outside: bits, odd half-bits, and how the phase is found."""

from __future__ import annotations

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.bit import Bit, BitMachine, bits
from halfbit.edge import edges_from_durations
from halfbit.event import Fault, FaultKind, Layer
from halfbit.half_bit import HalfBit, HalfBitKind, half_bits
from halfbit.limits import RECEIVE, Limits
from tests.support import edges_of
from tests.support_strategies import all_limits, signals

US = 1000
DATA = bytes([3, 1, 2])


def bits_of(microseconds: list[int], limits: Limits = RECEIVE) -> list[Bit | Fault]:
    return list(bits(half_bits(edges_from_durations(microseconds, "us"), limits), limits))


def brief(events: list[Bit | Fault]) -> list[str]:
    return [str(event.value) if isinstance(event, Bit) else event.kind.name for event in events]


def test_pairs_become_bits() -> None:
    assert bits_of([58, 60, 100, 5_000]) == [
        Bit(1, 0, 58_000, 60_000),
        Bit(0, 118_000, 100_000, 5_000_000),
    ]
    assert bits_of([58, 60])[0].end == 118_000


@pytest.mark.parametrize(
    ("microseconds", "expected"),
    [
        # The phase is found at the first change between short and long halves.
        ([58, 58, 58, 100, 100, 58, 58], ["1", "UNPAIRED_ONE", "0", "1"]),
        ([100, 100, 100, 58, 58, 100, 100], ["0", "UNPAIRED_ZERO", "1", "0"]),
        ([100, 58, 58], ["UNPAIRED_ZERO", "1"]),
        ([58, 100, 58, 58], ["UNPAIRED_ONE", "UNPAIRED_ZERO", "1"]),
        # A fault between takes a half-bit that waited with it.
        ([58, 77, 58, 58], ["GAP", "1"]),
        ([77, 58, 58], ["GAP", "1"]),
        ([58, 58, 20, 58, 58], ["1", "SHORT", "1"]),
        ([100, 10_001, 100, 100], ["LONG", "0"]),
        # Halves of a one-bit that differ too much are a fault, and both are used up.
        ([52, 59, 58, 58], ["UNEQUAL", "1"]),
        # What waits at the end has no other half.
        ([58, 58, 58], ["1", "UNPAIRED_ONE"]),
        ([100], ["UNPAIRED_ZERO"]),
        ([], []),
    ],
)
def test_what_becomes_of_half_bits(microseconds: list[int], expected: list[str]) -> None:
    assert brief(bits_of(microseconds)) == expected


def test_faults_say_where() -> None:
    assert bits_of([100, 58, 58]) == [
        Fault(FaultKind.UNPAIRED_ZERO, 0, 100_000, at=0, detail=100_000),
        Bit(1, 100_000, 58_000, 58_000),
    ]
    assert bits_of([58, 77]) == [
        Fault(FaultKind.GAP, 0, 135_000, at=58_000, detail=77_000)
    ]
    assert bits_of([60, 53]) == [
        Fault(FaultKind.UNEQUAL, 0, 113_000, at=60_000, detail=7_000)
    ]
    limits = Limits(zero_total_max=12_000 * US)
    assert bits_of([6_000, 6_001], limits) == [
        Fault(FaultKind.ZERO_TOO_LONG, 0, 12_001_000, at=0, detail=12_001_000)
    ]
    assert bits_of([58]) == [Fault(FaultKind.UNPAIRED_ONE, 0, 58_000, at=0, detail=58_000)]


def test_a_fault_that_takes_a_half_bit_with_it_stays_what_it_is() -> None:
    machine = BitMachine()
    machine.feed(HalfBit(0, 58_000, HalfBitKind.ONE))
    fault = Fault(FaultKind.LONG, 58_000, 99_000, 60_000, 7, DATA, 4)
    assert machine.feed(fault) == (attrs.evolve(fault, start=0),)
    assert machine.feed(fault) == (fault,)
    assert machine.finish() == ()


def test_bits_and_faults_tile_the_time() -> None:
    microseconds = [58, 58, 58, 100, 100, 77, 58, 52, 59, 100, 58, 3, 100, 100, 58]
    time = 0
    for event in bits_of(microseconds):
        assert event.start == time
        time = event.end
    assert time == 1000 * sum(microseconds)


def test_a_bit_comes_with_its_last_half() -> None:
    machine = BitMachine()
    given = [machine.feed(half) for half in half_bits(edges_of([58 * US, 58 * US, 100 * US]))]
    assert given == [(), (Bit(1, 0, 58_000, 58_000),), ()]
    assert brief(list(machine.finish())) == ["UNPAIRED_ZERO"]
    assert machine.finish() == ()


def test_a_bit_is_a_frozen_value() -> None:
    (bit,) = bits_of([58, 60])
    assert type(bit) is Bit and not hasattr(bit, "__dict__")
    assert hash(bit) == hash(Bit(1, 0, 58_000, 60_000))
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        bit.value = 0  # type: ignore[misc]
