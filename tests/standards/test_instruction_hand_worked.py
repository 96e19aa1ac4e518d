"""The registry against packets worked out by hand, and the standards' worked values."""

from __future__ import annotations

from collections import Counter
from typing import Any

import attrs
import pytest

from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    ExtendedAccessoryAddress,
    Instruction,
    LinearConvention,
    LongAddress,
    SpeedAndDirection,
    SpeedControl128,
    SpeedReading,
)
from halfbit.simulate.signal import with_error_byte
from tests.standards.instruction_packets import OPERATIONS, Worked
from tests.standards.service_packets import SERVICE


def _said(instruction: Instruction) -> tuple[str, str, dict[str, Any], dict[str, Any]]:
    fields = attrs.asdict(instruction, recurse=False)
    for name in ("address", "raw", "packet", "packet_context"):
        del fields[name]
    address = attrs.asdict(instruction.address)
    return type(instruction).__name__, instruction.address.kind, address, fields


def _id(worked: Worked) -> str:
    return f"{worked.builds}-{worked.body.replace(' ', '')}"


@pytest.mark.parametrize("worked", OPERATIONS, ids=_id)
def test_operations_mode(worked: Worked) -> None:
    data = with_error_byte(bytes.fromhex(worked.body))
    (read,) = STANDARD.decode(data)
    assert _said(read) == (worked.builds, worked.kind, worked.address, worked.fields)
    assert STANDARD.encode(read) == data


@pytest.mark.parametrize("worked", SERVICE, ids=_id)
def test_service_mode(worked: Worked) -> None:
    data = with_error_byte(bytes.fromhex(worked.body))
    (read,) = STANDARD.decode_service(data)
    assert _said(read) == (worked.builds, worked.kind, worked.address, worked.fields)
    assert STANDARD.encode(read) == data


#: Rows whose pattern is one packet only: S-9.2 B (idle), S-9.2.3 E (page preset, factory reset); and
#: a row to broadcast alone without fields: S-9.2 B (reset).
_ONE_PACKET = {"Idle": 1, "Page Preset": 1, "Factory Reset": 1, "Digital Decoder Reset Packet": 1}


def test_each_row_has_at_least_four_packets() -> None:
    counts: Counter[str] = Counter()
    for worked in (*OPERATIONS, *SERVICE):
        body = bytes.fromhex(worked.body)
        at = {"broadcast": 1, "short": 1, "long": 2}.get(worked.kind, 0)
        for entry in STANDARD.entries():
            kinds = [kind.kind for kind in entry.addresses]
            if worked.kind in kinds and worked.builds == entry.builds.__name__:
                fixed = zip(entry.parsed.masks, entry.parsed.values, body[at:])
                if len(body) - at >= len(entry.parsed) and all(b & m == v for m, v, b in fixed):
                    counts[entry.name + entry.pattern] += 1
    for entry in STANDARD.entries():
        if not entry.reserved:
            assert counts[entry.name + entry.pattern] >= _ONE_PACKET.get(entry.name, 4), entry


# S-9.2 B, the table of 28 speed steps: CSSSS as it stands there, all 32, in its order.
_STEPS_28: dict[str, int | str] = {
    "00000": "stop",
    "10000": "stop, direction may be ignored",
    "00001": "emergency stop",
    "10001": "emergency stop, direction may be ignored",
    "00010": 1,
    "10010": 2,
    "00011": 3,
    "10011": 4,
    "00100": 5,
    "10100": 6,
    "00101": 7,
    "10101": 8,
    "00110": 9,
    "10110": 10,
    "00111": 11,
    "10111": 12,
    "01000": 13,
    "11000": 14,
    "01001": 15,
    "11001": 16,
    "01010": 17,
    "11010": 18,
    "01011": 19,
    "11011": 20,
    "01100": 21,
    "11100": 22,
    "01101": 23,
    "11101": 24,
    "01110": 25,
    "11110": 26,
    "01111": 27,
    "11111": 28,
}


@pytest.mark.parametrize("code", _STEPS_28)
@pytest.mark.parametrize("direction", ["0", "1"])
def test_the_table_of_28_steps(code: str, direction: str) -> None:
    byte = int(f"01{direction}{code}", 2)
    (read,) = STANDARD.decode(bytes((3, byte, 3 ^ byte)))
    assert isinstance(read, SpeedAndDirection)
    assert read.forward is (direction == "1")
    reading = read.readings[0]
    assert reading.fl is None
    meant = _STEPS_28[code]
    if isinstance(meant, int):
        assert reading == SpeedReading(28, meant)
    else:
        assert reading == SpeedReading(
            28, 0, emergency="emergency" in meant, direction_ignored="ignored" in meant
        )


@pytest.mark.parametrize("light", [0, 1])
def test_14_steps(light: int) -> None:
    """S-9.2 B: SSSS = 0000 stop, 0001 emergency stop, 0010 to 1111 steps 1 to 14; C is FL."""
    for low in range(16):
        byte = 0b01100000 | light << 4 | low
        (read,) = STANDARD.decode(bytes((3, byte, 3 ^ byte)))
        assert isinstance(read, SpeedAndDirection)
        step = {0: 0, 1: 0}.get(low, low - 1)
        assert read.readings[1] == SpeedReading(14, step, emergency=low == 1, fl=light == 1)


@pytest.mark.parametrize(("code", "step"), [(0, 0), (1, 0), (2, 1), (3, 2), (64, 63), (126, 125), (127, 126)])
def test_126_steps(code: int, step: int) -> None:
    """S-9.2.1 C: 0 stop, 1 emergency stop, 2 to 127 steps 1 to 126."""
    data = with_error_byte(bytes((3, 0x3F, 0x80 | code)))
    (read,) = STANDARD.decode(data)
    assert isinstance(read, SpeedControl128)
    assert read.readings[0] == SpeedReading(126, step, emergency=code == 1)


def test_the_worked_packet_of_s_9_2() -> None:
    """S-9.2 B: address 55, forward, step 6 of 28: 37 74 43."""
    (read,) = STANDARD.decode(bytes.fromhex("37 74 43"))
    assert str(read.address) == "short 55"
    assert isinstance(read, SpeedAndDirection)
    assert read.forward
    assert str(read.readings[0]) == "step 6 of 28 steps"


@pytest.mark.parametrize(
    ("number", "high", "low"),
    [(0, 192, 0), (144, 192, 144), (1111, 196, 87), (9999, 231, 15), (10239, 231, 255)],
)
def test_long_addresses(number: int, high: int, low: int) -> None:
    """S-9.2.2, CV 17 and 18: CV 17 = 192 + number // 256, CV 18 = number % 256."""
    assert LongAddress(number).to_bytes() == bytes((high, low))
    (read,) = STANDARD.decode(with_error_byte(bytes((high, low, 0x64))))
    assert read.address == LongAddress(number)


@pytest.mark.parametrize(
    ("body", "board", "pair", "from_board_1", "from_board_0"),
    [
        # Output 1 is board address 1, pair 0 (RCN-213, from memory); S-9.2.2 counts from number - 1.
        ("81 F8", 1, 0, 1, 5),
        ("81 FE", 1, 3, 4, 8),
        ("82 F8", 2, 0, 5, 9),
        ("BF FE", 63, 3, 252, 256),
        ("80 E8", 64, 0, 253, 257),
        ("80 F8", 0, 0, None, 1),
        ("BE 8E", 510, 3, 2040, 2044),
    ],
)
def test_linear_numbers(
    body: str, board: int, pair: int, from_board_1: int | None, from_board_0: int
) -> None:
    (read,) = STANDARD.decode(with_error_byte(bytes.fromhex(body)))
    address = read.address
    assert isinstance(address, AccessoryAddress)
    assert (address.board, address.pair) == (board, pair)
    assert address.linear(LinearConvention.FROM_BOARD_1) == from_board_1
    assert address.linear(LinearConvention.FROM_BOARD_0) == from_board_0
    extended = ExtendedAccessoryAddress(board * 4 + pair)
    assert extended.linear(LinearConvention.FROM_BOARD_1) == from_board_1
    assert extended.linear(LinearConvention.FROM_BOARD_0) == from_board_0
    assert AccessoryAddress(board).linear(LinearConvention.FROM_BOARD_0) is None


@pytest.mark.parametrize(
    ("body", "classes"),
    [
        # S-9.2.1 C: more than one instruction behind one address.
        ("03 3F 82 91", ["SpeedControl128", "FunctionGroupOne"]),
        ("C4 57 64 80 B1", ["SpeedAndDirection", "FunctionGroupOne", "FunctionGroupTwo"]),
        # 00001111 may share a packet with other decoder control; no other of these may.
        ("03 0F 00", ["DecoderAcknowledgementRequest", "DigitalDecoderReset"]),
        ("03 00 0F", ["DigitalDecoderReset", "DecoderAcknowledgementRequest"]),
        ("03 64 00", ["SpeedAndDirection", "DigitalDecoderReset"]),
        ("03 00 01", ["DigitalDecoderReset", "Unknown"]),
        ("03 0E 0B 0F", ["DecoderAcknowledgementRequest", "Unknown"]),
        ("03 0B 64 0A", ["SetExtendedAddressing", "SpeedAndDirection", "Unknown"]),
        # What is reserved, cut short or of no form has no known length, so it ends the packet.
        ("03 64 C5 91 92", ["SpeedAndDirection", "Reserved"]),
        ("03 91 3F", ["FunctionGroupOne", "Unknown"]),
        ("03 91 E8 1C 00 92", ["FunctionGroupOne", "Unknown"]),
        # The factory test takes what follows.
        ("03 91 03 64 64", ["FunctionGroupOne", "FactoryTest"]),
        # Function bytes go to the end of the packet, and are at most four (RCN-212, from memory).
        ("03 91 3C 85 01 02 03 04", ["FunctionGroupOne", "SpeedDirectionFunctions"]),
        ("03 3C 85 01 02 03 04 91", ["Reserved"]),
    ],
)
def test_several_behind_one_address(body: str, classes: list[str]) -> None:
    data = with_error_byte(bytes.fromhex(body))
    read = STANDARD.decode(data)
    assert [type(one).__name__ for one in read] == classes
    assert STANDARD.encode_packet(read) == data
