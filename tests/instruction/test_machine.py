"""The machine of layer 5: order, memory, configuration, misuse; and that nothing it is fed breaks it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.event import Cutout, Fault, FaultKind
from halfbit.instruction import (
    STANDARD,
    Ambiguous,
    BasicAccessory,
    Broadcast,
    Configuration,
    Context,
    Damaged,
    Event,
    FunctionGroupOne,
    Instruction,
    InstructionMachine,
    LongAddress,
    NoAddress,
    Registry,
    ShortAddress,
    SpeedAndDirection,
    SpeedReading,
    Unknown,
    instructions,
)
from halfbit.instruction import machine
from halfbit.packet import Packet
from tests.instruction.support_packets import packet, run

FAULT = Fault(FaultKind.ERROR_BYTE, 10, 20, at=15, detail=3)
CUTOUT = Cutout(30, 40)


def test_faults_and_cutouts_pass_in_their_places() -> None:
    first, last = packet("03 64"), packet("03 E0 00 41 80")
    events = list(instructions([FAULT, first, CUTOUT, FAULT, last]))
    assert events[0] is FAULT
    assert isinstance(events[1], SpeedAndDirection)
    assert events[1].packet is first
    assert events[2] is CUTOUT
    assert events[3] is FAULT
    assert [type(event).__name__ for event in events[4:]] == ["Reserved", "FunctionGroupOne"]


def test_each_instruction_of_a_packet_has_it() -> None:
    one = packet("C4 57 3F 85 91 B0 DE 01")
    found = InstructionMachine().feed(one)
    assert [type(each).__name__ for each in found] == [
        "SpeedControl128",
        "FunctionGroupOne",
        "FunctionGroupTwo",
        "FunctionExpansion",
    ]
    for each in found:
        assert isinstance(each, Instruction)
        assert each.packet is one
        assert each.address == LongAddress(1111)


def test_a_repeated_packet_reads_the_same_and_has_its_own_packet() -> None:
    first, second = Packet(bytes.fromhex("377443"), 14, 0, 8), Packet(bytes.fromhex("377443"), 15, 8, 16)
    one, two = run([first, second])
    assert one == two
    assert hash(one) == hash(two)
    assert one is not two
    assert (one.packet, two.packet) == (first, second)


def test_memory_is_bounded() -> None:
    decoder = InstructionMachine()
    for index in range(3 * machine.REMEMBERED):
        found = decoder.feed(packet(f"{0xC000 | index % 10240:04X} {index % 256:02X}"))
        assert found == STANDARD.decode(packet(f"{0xC000 | index % 10240:04X} {index % 256:02X}").data)
        assert len(decoder._operations) <= machine.REMEMBERED


@given(st.binary(min_size=1, max_size=20), st.sampled_from([None, Context.OPERATIONS, Context.SERVICE]))
def test_any_bytes_give_at_least_one_instruction(data: bytes, context: Context | None) -> None:
    one = Packet(data)
    found = InstructionMachine(context=context).feed(one)
    assert len(found) >= 1
    for each in found:
        assert isinstance(each, Instruction)
        assert each.packet is one
        assert str(each)
        assert each.as_dict()["name"] == each.name


@given(st.lists(st.binary(min_size=1, max_size=7), min_size=1, max_size=40))
def test_bytes_come_back_whatever_the_context(bodies: list[bytes]) -> None:
    decoder = InstructionMachine()
    for body in bodies:
        one = packet(body.hex())
        found = [each for each in decoder.feed(one) if isinstance(each, Instruction)]
        assert STANDARD.encode_packet(found) == one.data


_FORMS = ["00 00", "FF 00", "7C 90", "7D 05", "7C 00 05", "03 64", "7C E4 00 05", "03 EC 00 05", "BF 85"]


@given(st.lists(st.tuples(st.sampled_from(_FORMS), st.integers(1, 30)), max_size=30), st.booleans())
def test_what_is_remembered_changes_nothing(steps: list[tuple[str, int]], timed: bool) -> None:
    """A machine that remembers, against one whose memory is emptied before each packet."""
    packets, now = [], 0
    for body, gap in steps:
        end = now + gap * 1_000_000
        packets.append(Packet(packet(body).data, 14, now, end) if timed else packet(body))
        now = end
    one, other = InstructionMachine(), InstructionMachine()
    for each in packets:
        other._operations.clear()
        other._service.clear()
        assert _shown(one.feed(each)) == _shown(other.feed(each))


def _shown(events: tuple[Event, ...]) -> list[Any]:
    return [(type(event), str(event), getattr(event, "packet_context", None)) for event in events]


@pytest.mark.parametrize("data", [b"", b"\x00", b"\x05", b"\xff", b"\x70\x70", b"\xc0\xc0"])
def test_packets_too_short_for_an_instruction(data: bytes) -> None:
    (found,) = run([Packet(data)])
    # An address and its error detection byte, or less than that.
    assert isinstance(found, Unknown if len(data) == 2 else Damaged)


def test_a_wrong_error_byte_is_damage_to_the_whole() -> None:
    assert run([Packet(bytes.fromhex("37 74 42"))]) == [Damaged(NoAddress(), bytes.fromhex("37 74 42"))]


@pytest.mark.parametrize("event", [None, b"\x00\x00\x00", "idle", 3])
def test_other_things_are_refused(event: Any) -> None:
    with pytest.raises(HalfbitError, match="no Packet, Fault or Cutout: feed what layer 4 gives"):
        InstructionMachine().feed(event)


def test_a_small_registry_knows_only_its_rows() -> None:
    idle = next(entry for entry in STANDARD.entries() if entry.name == "Idle")
    found = list(instructions([packet("FF 00"), packet("03 64")], Registry([idle])))
    assert [str(one) for one in found] == ["idle", "unknown: 64"]


# What only the decoder's CVs say (S-9.2 B, S-9.2.1 C; S-9.2.2, CV 29, 19, 21 and 22)

BOTH = ((SpeedReading(28, 6), SpeedReading(14, 3, fl=True)), (True, None))
WITH_28 = ((SpeedReading(28, 6),), (True,))
WITH_14 = ((SpeedReading(14, 3, fl=True),), (None,))
C28, C14 = Configuration(0b00000010), Configuration(0b11111101)
S55, S56 = ShortAddress(55), ShortAddress(56)


@pytest.mark.parametrize(
    ("configuration", "expected"),
    [
        # 01110100: CSSSS = 10100. 28 steps: 2 * 4 - 3 + 1 = 6; 14 steps: 4 - 1 = 3, and FL.
        (None, BOTH),
        (C28, WITH_28),
        (C14, WITH_14),
        ({}, BOTH),
        ({S55: C28}, WITH_28),
        ({S55: C14, S56: C28}, WITH_14),
        # Another decoder's, and all others'.
        ({S56: C28, LongAddress(55): C28}, BOTH),
        ({S56: C14, Broadcast(): C28}, WITH_28),
        # A consist, CV 19: the address of decoders whose own is another.
        ({S56: Configuration(2, cv19=55)}, WITH_28),
        ({S56: Configuration(2, cv19=55 | 0x80), LongAddress(9): Configuration(6, cv19=55)}, WITH_28),
        ({S56: Configuration(2, cv19=55), LongAddress(9): Configuration(0, cv19=55)}, BOTH),
    ],
)
def test_configurations(configuration: Any, expected: tuple[Any, Any]) -> None:
    packets = [packet("37 74"), packet("37 90")]
    speed, group = instructions(packets, configuration=configuration)
    assert isinstance(speed, SpeedAndDirection)
    assert isinstance(group, FunctionGroupOne)
    assert (speed.readings, group.fl_readings) == expected
    # F0 is among the functions only if it is certain that it is there.
    assert (0 in group.functions) is (expected is WITH_28)


@pytest.mark.parametrize(
    ("configuration", "steps"),
    [(C28, 28), ({S55: C28}, None), ({Broadcast(): C14, S55: C14}, 14), ({Broadcast(): C14, S55: C28}, None)],
)
def test_broadcast_is_for_all(configuration: Any, steps: int | None) -> None:
    (found,) = instructions([packet("00 64")], configuration=configuration)
    assert isinstance(found, SpeedAndDirection)
    assert found.packet_context.steps == steps


def test_accessories_have_no_such_configuration() -> None:
    (found,) = instructions([packet("81 F8")], configuration=C28)
    assert isinstance(found, BasicAccessory)
    assert found.packet_context.configurations == ()


@pytest.mark.parametrize(("cv29", "steps"), [(0, 14), (1, 14), (2, 28), (6, 28), (255, 28), (253, 14)])
def test_steps_by_cv29(cv29: int, steps: int) -> None:
    assert Configuration(cv29).steps == steps


def test_functions_of_a_consist() -> None:
    """S-9.2.2: CV 21 bits 0 to 7 are F1 to F8; CV 22 bit 0 FL forward, 1 FL reverse, 2 to 5 F9 to F12."""
    one = Configuration(2, cv19=0x85, cv21=0b1000_0001, cv22=0b0010_0101)
    assert one.consist == ShortAddress(5)
    assert Configuration(2).consist is None
    assert [number for number in range(13) if one.obeys_consist(number, forward=True)] == [0, 1, 8, 9, 12]
    assert [number for number in range(13) if one.obeys_consist(number, forward=False)] == [1, 8, 9, 12]
    assert Configuration(2, cv22=2).obeys_consist(0, forward=False)
    with pytest.raises(HalfbitError, match="0 .FL. to 12"):
        one.obeys_consist(13, forward=True)


@pytest.mark.parametrize(
    ("name", "value"), [("cv29", 256), ("cv29", -1), ("cv29", True), ("cv19", "3"), ("cv21", None), ("cv22", 2.0)]
)
def test_configurations_that_cannot_be(name: str, value: Any) -> None:
    with pytest.raises(HalfbitError, match=f"Configuration.{name}: .* is not an integer from 0 to 255"):
        Configuration(**{"cv29": 2, name: value})


def test_ambiguous_reads_the_configuration_too() -> None:
    (found,) = instructions([packet("7C 64")], configuration=C28)
    assert isinstance(found, Ambiguous)
    (operations,), (service,) = found.readings
    assert str(operations) == "speed and direction: forward, step 5 of 28 steps"
    assert str(found) == (
        "either operations mode, short 124: speed and direction: forward, step 5 of 28 steps; "
        "or service mode, write register 5 (CV 29) := 100"
    )


def test_an_ambiguous_operations_packet_in_the_form_of_service_mode_has_all_readings() -> None:
    """00111110 has two meanings in one instruction, and service mode is a third."""
    (found,) = instructions([packet("7C 3E 54")])
    assert isinstance(found, Ambiguous)
    assert [[type(one).__name__ for one in reading] for reading in found.readings] == [
        ["RestrictedSpeedStep"], ["DirectWriteByte"],
    ]  # fmt: skip


@pytest.mark.parametrize("context", [None, Context.OPERATIONS])
def test_both_readings_have_the_packet_and_its_context(context: Context | None) -> None:
    one = packet("03 E4 00 00 00")
    (found,) = InstructionMachine(configuration=C28, context=context).feed(one)
    assert isinstance(found, Ambiguous)
    for each in (found, *(instruction for reading in found.readings for instruction in reading)):
        assert each.packet is one
        assert each.context is Context.OPERATIONS
        assert each.packet_context.steps == 28
