"""Limits: what they refuse, and that each bound is where it says, to the nanosecond."""

from __future__ import annotations

from typing import Any

import attrs
import pytest

from halfbit import core
from halfbit.error import HalfbitError
from halfbit.event import FaultKind
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.event import Packet
from halfbit.simulate.signal import Timing, bit_durations, packet_durations, with_error_byte
from tests.support import events_of, faults_of, packets_of

US = 1000
DATA = with_error_byte(bytes([0x37, 0x74]))

#: (limits, shortest and longest half of a one, of a zero, us, largest difference, us).
WINDOWS = [(RECEIVE, 52, 64, 90, 10_000, 6), (TRANSMIT, 55, 61, 95, 9_900, 3)]


def sent(limits: Limits, timing: Timing) -> list[int]:
    return packet_durations(DATA, limits.preamble_min, timing)


@pytest.mark.parametrize("unit", [1, US], ids=["ns", "us"])
@pytest.mark.parametrize("window", WINDOWS, ids=["RECEIVE", "TRANSMIT"])
def test_every_bound_is_inclusive(window: tuple[Limits, int, int, int, int, int], unit: int) -> None:
    """Half-bits at the bounds pass, those a unit beyond don't: 52, 64, 90 and 10000 us when receiving."""
    limits, one_min, one_max, zero_min, zero_max, _ = window
    unequal = attrs.evolve(limits, zero_total_max=None)
    for half in (one_min * US, one_max * US):
        assert packets_of(sent(limits, Timing(one_first=half, one_last=half)), limits) == [DATA]
    for half in (zero_min * US, zero_max * US):
        durations = sent(limits, Timing(zero_first=half, zero_last=half))
        assert packets_of(durations, unequal) == [DATA]
    for half, kind in (
        (one_min * US - unit, FaultKind.SHORT),
        (one_max * US + unit, FaultKind.GAP),
        (zero_min * US - unit, FaultKind.GAP),
        (zero_max * US + unit, FaultKind.LONG),
    ):
        durations = sent(limits, Timing())
        at = 2 * limits.preamble_min + 1
        durations[at] = half
        assert packets_of(durations, unequal) == []
        assert [(fault.kind, fault.duration) for fault in faults_of(durations, unequal)] == [(kind, half)]


@pytest.mark.parametrize("unit", [1, US], ids=["ns", "us"])
@pytest.mark.parametrize("window", WINDOWS, ids=["RECEIVE", "TRANSMIT"])
def test_the_difference_of_a_one_s_halves(
    window: tuple[Limits, int, int, int, int, int], unit: int
) -> None:
    """6 us pass when receiving and 7 don't, in either order; 3 when transmitting."""
    limits, _, _, _, _, difference = window
    low, high = 56 * US, 56 * US + difference * US
    for halves, beyond in (([low, high], [low, high + unit]), ([high, low], [high + unit, low])):
        assert packets_of(sent(limits, Timing(*halves)), limits) == [DATA]
        durations = sent(limits, Timing())
        durations[-2:] = beyond
        assert packets_of(durations, limits) == []
        (fault,) = faults_of(durations, limits)
        assert (fault.kind, fault.difference) == (FaultKind.UNEQUAL, difference * US + unit)


def test_the_difference_can_be_left_unchecked() -> None:
    limits = Limits(one_difference=None)
    for timing in (Timing(52 * US, 64 * US), Timing(64 * US, 52 * US)):
        assert packets_of(sent(limits, timing), limits) == [DATA]
        assert packets_of(sent(limits, timing), RECEIVE) == []


def test_the_whole_of_a_zero() -> None:
    """A station's zeros last up to 12000 us (S-9.1 A); for decoders no limit is stated."""
    for first in (95 * US, 6_000 * US, 9_900 * US):
        last = min(12_000 * US - first, 9_900 * US)
        fits = sent(TRANSMIT, Timing(zero_first=first, zero_last=last))
        assert packets_of(fits, TRANSMIT) == [DATA]
    over = sent(TRANSMIT, Timing())
    over[28:30] = [6_000 * US, 6_000 * US + 1]
    assert packets_of(over, RECEIVE) == [DATA]
    (fault,) = faults_of(over, TRANSMIT)
    assert (fault.kind, fault.duration) == (FaultKind.ZERO_TOO_LONG, 12_000 * US + 1)
    longest = sent(RECEIVE, Timing(zero_first=10_000 * US, zero_last=10_000 * US))
    assert packets_of(longest, RECEIVE) == [DATA]


@pytest.mark.parametrize("minimum", [10, 12, 14, 40, 255])
def test_the_preamble_s_minimum(minimum: int) -> None:
    limits = Limits(preamble_min=minimum)
    assert packets_of(packet_durations(DATA, minimum), limits) == [DATA]
    assert packets_of(packet_durations(DATA, minimum - 1), limits) == []
    one_half_more = bit_durations([1])[:1] + packet_durations(DATA, minimum - 1)
    assert packets_of(one_half_more, limits) == []
    events = events_of(packet_durations(DATA, minimum) + packet_durations(DATA, minimum - 1), limits)
    assert [event.preamble for event in events if isinstance(event, Packet)] == [minimum, minimum]


@pytest.mark.parametrize(("least", "most"), [(3, 15), (1, 1), (3, 6), (2, 255)])
def test_the_bytes_of_a_packet(least: int, most: int) -> None:
    limits = Limits(packet_min=least, packet_max=most)
    for length in {least, most}:
        assert packets_of(packet_durations(bytes(length)), limits) == [bytes(length)]
    if least > 1:
        (fault,) = faults_of(packet_durations(bytes(least - 1)), limits)
        assert (fault.kind, fault.data) == (FaultKind.FEW_BYTES, bytes(least - 1))
    (fault,) = faults_of(packet_durations(bytes(most + 1)), limits)
    assert (fault.kind, fault.data) == (FaultKind.MANY_BYTES, bytes(most))


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        ({"one_min": -1}, "one_min"),
        ({"one_min": 0}, "one_min 0"),
        ({"one_min": 52.5}, "one_min"),
        ({"one_max": True}, "one_max"),
        ({"one_min": 70_000}, "one_min 70000 is above one_max 64000"),
        ({"zero_min": 20_000_000}, "zero_min 20000000 is above zero_max 10000000"),
        ({"one_max": 90_000}, "one_max 90000 reaches zero_min 90000"),
        ({"one_difference": -1}, "one_difference"),
        ({"one_difference": "6"}, "one_difference"),
        ({"zero_total_max": 1.5}, "zero_total_max"),
        ({"preamble_min": 9}, "preamble_min: 9 is not a count from 10 to 255"),
        ({"preamble_min": 256}, "preamble_min: 256 is not a count from 10 to 255"),
        ({"packet_min": 0}, "packet_min"),
        ({"packet_max": 256}, "packet_max"),
        ({"packet_max": 2}, "packet_min 3 is above packet_max 2"),
        ({"packet_max": None}, "packet_max"),
        ({"decision": "guess"}, "decision: 'guess' is not one of halves, sum, sequence"),
    ],
)
def test_limits_that_are_none(arguments: dict[str, Any], problem: str) -> None:
    with pytest.raises(HalfbitError, match=problem):
        Limits(**arguments)


def test_limits_are_values() -> None:
    assert Limits() == RECEIVE
    assert hash(Limits()) == hash(RECEIVE)
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        RECEIVE.one_min = 1  # type: ignore[misc]
    assert attrs.evolve(RECEIVE, preamble_min=12).preamble_min == 12


def test_the_core_s_machines_are_made_new_each_time() -> None:
    first, second = RECEIVE.receiver_core(), RECEIVE.receiver_core()
    assert first is not second and first.packets is not second.packets
    for duration in packet_durations(DATA):
        answer = first.feed(duration)
    assert answer == core.PACKET
    assert second.packets.state == core.LOST


@pytest.mark.parametrize("wrong", ["36", None, True, -1, 81, float("nan"), float("inf")])
def test_a_period_or_jitter_that_is_no_time_is_refused(wrong: Any) -> None:
    with pytest.raises(HalfbitError, match="^sampling period: .* us is not from 0 to 80$"):
        Limits.for_sampling_period(wrong)
    with pytest.raises(HalfbitError, match="^jitter: .* us is not from 0 to 42$"):
        Limits.for_one_edge(wrong)
    if wrong != 81:
        with pytest.raises(HalfbitError, match="^rare: .* us is not from 0 to 10000$"):
            Limits.for_sampling_period(20, rare=wrong)


@pytest.mark.parametrize("wrong", [None, 5, [None], ["58"]])
def test_durations_that_are_no_numbers_cannot_be_fitted(wrong: Any) -> None:
    with pytest.raises(HalfbitError, match="give the durations between changes, ns"):
        Limits.fitted(wrong)


@pytest.mark.parametrize("name", ["recover", "one_edge"])
@pytest.mark.parametrize("wrong", [1, 0, None, "yes"])
def test_what_is_neither_true_nor_false_is_refused(name: str, wrong: Any) -> None:
    with pytest.raises(HalfbitError, match=f"^{name}: .* is neither True nor False$"):
        Limits(**{name: wrong})
