"""The ledger at its bounds: how long a cutout lasts, where a loss starts and ends, what a fault says of it."""

from __future__ import annotations

import pytest

from halfbit import core
from halfbit.event import Cutout, Fault, FaultKind, Packet
from halfbit.ledger import CUTOUT_BEGINS, CUTOUT_MAX, CUTOUT_MIN, Element, element_of
from halfbit.limits import Limits
from halfbit.simulate.signal import bit_durations, packet_durations
from tests.support import events_of

US = 1000
DATA = bytes([0x37, 0x74, 0x43])
GOOD = packet_durations(DATA)
LENGTH = sum(GOOD)
#: Halves, ns.
ONE, ZERO = 58 * US, 100 * US


@pytest.mark.parametrize(
    ("bit", "expected"),
    [
        # The last half of these waits for its other half; the first is what is wrong.
        (core.UNPAIRED_ONE, Element(core.UNPAIRED_ONE, 100, 130, 100, 30)),
        (core.UNPAIRED_ZERO, Element(core.UNPAIRED_ZERO, 100, 130, 100, 30)),
        # The last half of these is what is wrong.
        (core.SHORT, Element(core.SHORT, 100, 150, 130, 20)),
        (core.GAP, Element(core.GAP, 100, 150, 130, 20)),
        (core.LONG, Element(core.LONG, 100, 150, 130, 20)),
        (core.UNEQUAL, Element(core.UNEQUAL, 100, 150, 130, 10)),
        (core.ZERO_TOO_LONG, Element(core.ZERO_TOO_LONG, 100, 150, 100, 50)),
        (core.ONE, Element(core.ONE, 100, 150, 100, 50)),
    ],
)
def test_the_element_of_each_answer(bit: int, expected: Element) -> None:
    """Halves of 30 and 20 ns, the last of which ends at 150 ns."""
    assert element_of(bit, 30, 20, 150) == expected


def test_the_times_of_a_cutout() -> None:
    """S-9.3.2, RCN-217, from memory: 26 to 32 us and 454 to 488 us after the packet end bit."""
    assert (CUTOUT_BEGINS, CUTOUT_MIN, CUTOUT_MAX) == ((26 * US, 32 * US), 454 * US, 488 * US)


@pytest.mark.parametrize("parts", [[470], [29, 441], [29, 341, 100], [29, 241, 100, 100]])
def test_how_many_half_bits_a_cutout_shows(parts: list[int]) -> None:
    """Three at most: more changes are no cutout's."""
    events = events_of([*GOOD, *(US * part for part in parts), *GOOD])
    assert [type(event) for event in events] == [Packet, Cutout if len(parts) < 4 else Fault, Packet]


@pytest.mark.parametrize(
    ("latency", "long", "kind"),
    [
        (6, 448_000, Cutout),
        (6, 447_999, Fault),
        (0, 454_000, Cutout),
        (0, 453_999, Fault),
        (0, 616_000, Cutout),
        (0, 616_001, Fault),
    ],
)
def test_how_long_a_cutout_is(latency: int, long: int, kind: type) -> None:
    """S-9.3.2, RCN-217, from memory: 454 to 488 us. With a half of a one on either side, 64 us each (S-9.1 A): 616 us."""
    limits = Limits(latency_max=latency * US)
    assert [type(event) for event in events_of([*GOOD, long, *GOOD], limits)] == [Packet, kind, Packet]


@pytest.mark.parametrize(("first", "second"), [(52, 59), (57, 64), (64, 57), (64, 52)])
def test_a_capture_may_start_with_the_last_half_of_a_one(first: int, second: int) -> None:
    """It and the half after it differ too much for a one-bit (S-9.1 A, table 1). That is no fault of the signal's."""
    (packet,) = events_of([first * US, second * US, *GOOD])
    assert packet == Packet(DATA, 14, 0, (first + second) * US + LENGTH)


def test_a_one_that_is_unequal_may_begin_a_preamble_with_its_last_half() -> None:
    """Of 52, 59, 58, 58 us ... the later ones pair in both ways, and the preamble starts as early as it can."""
    events = events_of([*GOOD, 77 * US, 52 * US, 59 * US, *packet_durations(DATA, 10)])
    assert [type(event) for event in events] == [Packet, Fault, Packet]
    assert events[1] == Fault(FaultKind.GAP, LENGTH, LENGTH + 129 * US, LENGTH, 77 * US, b"", 2)
    assert events[2].start == LENGTH + 129 * US
    # If it is the first that is wrong, the fault reaches to its end.
    (_, fault, packet) = events_of([*GOOD, 52 * US, 59 * US, *packet_durations(DATA, 10)])
    assert (fault.start, fault.end, packet.start) == (LENGTH, LENGTH + 111 * US, LENGTH + 111 * US)


def test_what_follows_a_cutout_in_an_end_bit_may_be_wrong_too() -> None:
    """S-9.3.2, RCN-217, from memory. The packet before is whole all the same; the fault starts where it ends."""
    noise = [77 * US, 20 * US]
    events = events_of([*GOOD, *GOOD[:-1], 528 * US, ONE, *noise, *GOOD])
    end = LENGTH + sum(GOOD[:-1])
    assert events[1] == Packet(DATA, 15, LENGTH, end)
    assert events[2] == Fault(FaultKind.UNPAIRED_ZERO, end, end + 683 * US, end, 528 * US, b"", 3)
    assert [type(event) for event in events] == [Packet, Packet, Fault, Packet]


@pytest.mark.parametrize("packet_min", [2, 3, 4])
def test_an_end_bit_that_runs_into_a_cutout_ends_no_packet_that_is_too_short(packet_min: int) -> None:
    limits = Limits(packet_min=packet_min)
    first, *rest = events_of([*GOOD[:-1], 528 * US, *packet_durations(bytes(4))], limits)
    assert isinstance(first, Packet if packet_min < 4 else Fault)
    assert rest[-1].end == sum(GOOD[:-1]) + 528 * US + sum(packet_durations(bytes(4)))


def test_a_packet_that_the_end_of_the_capture_cuts() -> None:
    cut = GOOD[:70]  # a preamble of 28 halves, a 0, a byte, a 0, a byte, a 0 and a bit
    end = LENGTH + sum(cut)
    assert events_of(GOOD + cut)[1] == Fault(FaultKind.CUT, LENGTH, end, end, 0, DATA[:2], 1)
    # The detail of a fault before is not the cut's.
    wrong = [77 * US, *GOOD]
    start, end = LENGTH + sum(wrong), end + sum(wrong)
    assert events_of([*GOOD, *wrong, *cut])[3] == Fault(FaultKind.CUT, start, end, end, 0, DATA[:2], 1)


def test_a_half_that_the_end_of_the_capture_leaves_alone() -> None:
    start = LENGTH + 20 * ONE
    assert events_of([*GOOD, *bit_durations([1] * 10), ZERO])[1] == Fault(
        FaultKind.CUT, start, start + ZERO, start, 0, b"", 1
    )
    # After another fault the stretch is lost for that one.
    wrong, end = LENGTH + 77 * US, LENGTH + 77 * US + ZERO
    assert events_of([*GOOD, 77 * US, ZERO])[1] == Fault(FaultKind.GAP, LENGTH, end, wrong - 77 * US, 77 * US, b"", 2)


def test_a_capture_of_one_wrong_half_bit() -> None:
    assert events_of([77 * US]) == [Fault(FaultKind.GAP, 0, 77 * US, 0, 77 * US, b"", 1)]


def test_a_torn_packet_at_the_end_of_the_capture() -> None:
    """It is torn, and not cut."""
    end = LENGTH + sum(GOOD[:70])
    assert events_of([*GOOD, *GOOD[:70], 77 * US, ZERO])[1] == Fault(
        FaultKind.GAP, LENGTH, end + 177 * US, end, 77 * US, DATA[:2], 2
    )


def test_the_last_bits_of_a_wrong_packet_may_be_the_next_preamble() -> None:
    """S-9.2 A. So the fault is about the whole packet, and ends where that preamble starts."""
    wrong = packet_durations(bytes([0, 0, 255]))
    start = LENGTH + sum(wrong) - 9 * 2 * ONE  # eight bits of a byte and the end bit
    events = events_of([*GOOD, *wrong, *packet_durations(DATA, 1)])
    assert events[1] == Fault(FaultKind.ERROR_BYTE, LENGTH, start, LENGTH, 255, bytes([0, 0, 255]), 1)
    assert events[2] == Packet(DATA, 10, start, LENGTH + sum(wrong) + sum(packet_durations(DATA, 1)))


@pytest.mark.parametrize(("count", "kind"), [(2, FaultKind.FEW_BYTES), (16, FaultKind.MANY_BYTES)])
def test_a_fault_of_the_number_of_bytes_has_no_detail(count: int, kind: FaultKind) -> None:
    fault = events_of([*GOOD, *packet_durations(bytes(count)), *GOOD])[1]
    assert isinstance(fault, Fault)
    assert (fault.kind, fault.detail, fault.start, len(fault.data)) == (kind, 0, LENGTH, min(count, 15))


def test_a_capture_that_starts_with_more_than_the_rest_of_a_packet_is_wrong_from_its_start() -> None:
    """Two zero-bits, a wrong half-bit and a packet: no nanosecond before the packet is left out."""
    fault, packet = events_of([*bit_durations([0, 0]), 77 * US, *GOOD])
    assert fault == Fault(FaultKind.GAP, 0, 477 * US, 400 * US, 77 * US, b"", 1)
    assert packet == Packet(DATA, 14, 477 * US, 477 * US + LENGTH)


@pytest.mark.parametrize("halves", [19, 20])
def test_a_cutout_before_the_shortest_preamble_one_half_bit_off(halves: int) -> None:
    """The capture's ones pair from 52 us on, which do not fit 59 us (S-9.1 A, table 1). From 59 us on ten bits pair.

    The preamble is complete with the tenth (S-9.2 A), or with the zero that leaves the half-bit before it unpaired.
    """
    rest = packet_durations(DATA, 0)
    events = events_of([*GOOD, 29 * US, 400 * US, 52 * US, 59 * US, *[ONE] * halves, *rest])
    start = LENGTH + 481 * US
    assert events[1] == Cutout(LENGTH, start)
    assert events[2] == Packet(DATA, 10, start, start + 59 * US + halves * ONE + sum(rest))
