"""A second reading of the bit layouts, written apart from the registry, and picked apart by bitstring.

Each row of ``LAYOUTS`` is a class, the bits that are fixed and the places of each field, counted from the
instruction's first bit (from the packet's for accessory decoders and service mode), most significant
first. Sources: S-9.2 B, S-9.2.1 C and D, S-9.2.3 E; rows marked (m) are from memory (RCN-211 to
RCN-214). ``bitstring`` (a general library for bits, from PyPI) does the cutting.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import attrs
import pytest
from bitstring import Bits
from hypothesis import given, settings
from hypothesis import strategies as st

from halfbit.instruction import STANDARD, Instruction
from halfbit.simulate.signal import with_error_byte
from tests.standards.instruction_packets import OPERATIONS, SERVICE, Worked


class Layout(NamedTuple):
    """One row: class, length in bits, fixed bits, fields by place."""

    builds: str
    size: int
    fixed: str
    fields: dict[str, tuple[int, int]]


BEHIND_AN_ADDRESS = [
    Layout("DigitalDecoderReset", 8, "00000000", {}),
    Layout("HardReset", 8, "00000001", {}),
    Layout("SetDecoderFlags", 16, "0000011.....0...", {"value?": (7, 8), "code": (8, 12), "sub_address": (13, 16)}),
    Layout("SetExtendedAddressing", 8, "0000101.", {"enabled?": (7, 8)}),
    Layout("DecoderAcknowledgementRequest", 8, "0000111.", {"value?": (7, 8)}),
    Layout("ConsistControl", 16, "0001001.0.......", {"reversed?": (7, 8), "number": (9, 16)}),
    Layout("SpeedControl128", 16, "00111111........", {"forward?": (8, 9), "code": (9, 16)}),
    Layout("RestrictedSpeedStep", 16, "00111110.0......", {"enabled!": (8, 9), "step": (10, 16)}),
    Layout("AnalogFunction", 24, "00111101" + "." * 16, {"output": (8, 16), "value": (16, 24)}),
    Layout("SpeedAndDirection", 8, "01......", {"forward?": (2, 3), "code": (3, 8)}),
    Layout("FunctionGroupOne", 8, "100.....", {"bit4?": (3, 4), "states": (4, 8)}),
    Layout("FunctionGroupTwo", 8, "101.....", {"states": (4, 8)}),
    Layout("BinaryStateLong", 24, "11000000" + "." * 16, {"state?": (8, 9), "number_high": (16, 24), "number_low": (9, 16)}),
    Layout("ModelTime", 32, "1100000100.............." ".0......", {"minute": (10, 16), "weekday": (16, 19), "hour": (19, 24), "update?": (24, 25), "factor": (26, 32)}),  # (m)
    Layout("ModelDate", 32, "11000001010" + "." * 21, {"day": (11, 16), "month": (16, 20), "year": (20, 32)}),  # (m)
    Layout("SystemTime", 24, "11000010" + "." * 16, {"milliseconds": (8, 24)}),  # (m)
    Layout("BinaryStateShort", 16, "11011101........", {"state?": (8, 9), "number": (9, 16)}),
    Layout("FunctionExpansion", 16, "11011...........", {"states": (8, 16)}),
    Layout("CvVerifyByte", 24, "111001" + "." * 18, {"cv-1": (6, 16), "value": (16, 24)}),
    Layout("CvWriteByte", 24, "111011" + "." * 18, {"cv-1": (6, 16), "value": (16, 24)}),
    Layout("CvBitManipulation", 24, "111010..........111.....", {"cv-1": (6, 16), "write?": (19, 20), "value?": (20, 21), "position": (21, 24)}),
    Layout("CvShortForm", 16, "1111001.........", {"cv-23": (7, 8), "value": (8, 16)}),
    Layout("CvShortFormPair", 24, "1111010." + "." * 16, {"value": (8, 16), "next_value": (16, 24)}),  # (m)
    Layout("DecoderLock", 16, "111110010.......", {"number": (9, 16)}),
    Layout("AddressQuery", 8, "11111001", {}),
    Layout("BroadcastStop", 8, "01..000.", {"forward?": (2, 3), "direction_ignored?": (3, 4), "emergency?": (7, 8)}),
]

WHOLE = [
    Layout("Idle", 16, "1111111100000000", {}),
    Layout("BasicAccessory", 16, "10......1.......", {"activate?": (12, 13)}),
    Layout("ExtendedAccessory", 24, "10......0...0..1........", {"aspect": (16, 24)}),
    Layout("AccessoryNop", 16, "10......0...1...", {}),  # (m)
    Layout("CvVerifyByte", 40, "10" + "." * 14 + "111001" + "." * 18, {"cv-1": (22, 32), "value": (32, 40)}),
    Layout("CvWriteByte", 40, "10" + "." * 14 + "111011" + "." * 18, {"cv-1": (22, 32), "value": (32, 40)}),
    Layout("CvBitManipulation", 40, "10" + "." * 14 + "111010" + "." * 10 + "111.....", {"cv-1": (22, 32), "write?": (35, 36), "value?": (36, 37), "position": (37, 40)}),
    Layout("LegacyCvAccess", 32, "10......0...11" + "." * 18, {"cv-1": (14, 24), "value": (24, 32)}),
    Layout("DirectVerifyByte", 24, "011101" + "." * 18, {"cv-1": (6, 16), "value": (16, 24)}),
    Layout("DirectWriteByte", 24, "011111" + "." * 18, {"cv-1": (6, 16), "value": (16, 24)}),
    Layout("DirectBitManipulation", 24, "011110..........111.....", {"cv-1": (6, 16), "write?": (19, 20), "value?": (20, 21), "position": (21, 24)}),
    Layout("RegisterAccess", 16, "0111............", {"write?": (4, 5), "register-1": (5, 8), "value": (8, 16)}),
    Layout("PagePreset", 16, "0111110100000001", {}),
    Layout("FactoryReset", 16, "0111111100001000", {}),
]


def _picked(layout: Layout, bits: Bits) -> dict[str, Any]:
    """The fields by their places. ``?`` a flag, ``!`` one inverted, ``-n`` counted from n."""
    out: dict[str, Any] = {}
    for name, (first, last) in layout.fields.items():
        value = bits[first:last].uint
        if name[-1] in "?!":
            out[name[:-1]] = (value == 1) is (name[-1] == "?")
        elif "-" in name:
            name, base = name.split("-")
            out[name] = value + int(base)
        else:
            out[name] = value
    if "number_high" in out:
        out["number"] = out.pop("number_high") * 128 + out.pop("number_low")
    return out


def _agrees(layout: Layout, bits: Bits) -> bool:
    return len(bits) >= layout.size and all(
        mark in (".", bit) for mark, bit in zip(layout.fixed, bits.bin)
    )


def _check(read: Instruction, body: bytes) -> None:
    """Compare an instruction that is alone in its packet with the second reading."""
    bits = Bits(body)
    behind = {"broadcast": 8, "short": 8, "long": 16}.get(read.address.kind)
    rows = WHOLE if behind is None else BEHIND_AN_ADDRESS
    layouts = [row for row in rows if row.builds == type(read).__name__]
    assert layouts, type(read).__name__
    (layout,) = layouts
    bits = bits[behind or 0 :]
    assert len(layout.fixed) == layout.size
    assert _agrees(layout, bits)
    for name, value in _picked(layout, bits).items():
        assert getattr(read, name) == value, name
    _check_constants(read, bits)
    _check_address(read, Bits(body))


def _check_constants(read: Instruction, bits: Bits) -> None:
    name = type(read).__name__
    fields = attrs.asdict(read, recurse=False)
    if name == "FunctionGroupTwo":
        assert fields["first"] == (5 if bits[3] else 9)  # 1011: F5 to F8, 1010: F9 to F12
    if name == "FunctionExpansion":
        code = bits[4:8].uint  # 11011000 F29 ... 11011100 F61 (m), 11011110 F13, 11011111 F21
        assert fields["first"] == {14: 13, 15: 21}.get(code, 29 + 8 * (code - 8))
    if name == "CvShortFormPair":
        assert fields["cv"] == (31 if bits[7] else 17)


def _check_address(read: Instruction, bits: Bits) -> None:
    address = attrs.asdict(read.address)
    kind = read.address.kind
    if kind in ("short", "reserved"):
        assert list(address.values()) == [bits[0:8].uint]
    elif kind == "long":
        assert address == {"number": bits[2:16].uint}
        assert 192 <= bits[0:8].uint <= 231
    elif kind in ("accessory", "extended accessory"):
        board = (~bits[9:12]).uint * 64 + bits[2:8].uint
        if kind == "extended accessory":
            assert address == {"number": board * 4 + bits[13:15].uint}
            return
        assert address["board"] == board
        if bits[8]:  # 1AAACDDD
            whole = not bits[12] and len(bits) > 16
            assert address["pair"] == (None if whole else bits[13:15].uint)
            assert address["output"] == (None if whole else bits[15:16].uint)
        else:  # NOP names a pair, legacy CV access the decoder alone
            nop = len(bits) == 16
            assert (address["pair"], address["output"]) == (bits[13:15].uint if nop else None, None)
    elif kind == "accessory broadcast":
        assert bits[0:12].bin == "101111111000"
        assert address == {"pair": bits[13:15].uint, "output": bits[15:16].uint}
    elif kind == "extended accessory broadcast":
        assert bits[0:16].bin == "1011111100000111"
    elif kind == "broadcast":
        assert bits[0:8].uint == 0
    elif kind == "idle":
        assert bits[0:8].uint == 255
    else:
        assert kind == "none"


#: These hold bytes as they stand, of no fixed length, and are compared in the table of packets.
_OPEN = ("Reserved", "Unknown", "FactoryTest", "SpeedDirectionFunctions")


def _known(rows: list[Worked]) -> list[Worked]:
    return [row for row in rows if row.builds not in _OPEN]


@pytest.mark.parametrize("worked", _known(OPERATIONS), ids=lambda row: row.body.replace(" ", ""))
def test_the_table_of_packets_operations(worked: Worked) -> None:
    body = bytes.fromhex(worked.body)
    (read,) = STANDARD.decode(with_error_byte(body))
    _check(read, body)


@pytest.mark.parametrize("worked", _known(SERVICE), ids=lambda row: row.body.replace(" ", ""))
def test_the_table_of_packets_service(worked: Worked) -> None:
    body = bytes.fromhex(worked.body)
    (read,) = STANDARD.decode_service(with_error_byte(body))
    _check(read, body)


_COVERED = {row.builds for row in (*BEHIND_AN_ADDRESS, *WHOLE)}


def test_every_class_has_a_second_reading() -> None:
    classes = {entry.builds.__name__ for entry in STANDARD.entries()}
    assert classes - _COVERED == set(_OPEN) - {"Unknown"}


@settings(max_examples=400)
@given(st.data())
def test_any_bits_behind_an_address(data: st.DataObject) -> None:
    row = data.draw(st.sampled_from(BEHIND_AN_ADDRESS))
    head = data.draw(st.sampled_from(["00", "03", "6F", "C4 57", "E7 FF"]))
    body = bytes.fromhex(head) + _filled(row, data)
    found = STANDARD.decode(with_error_byte(body))
    if len(found) == 1 and type(found[0]).__name__ not in _OPEN:
        _check(found[0], body)
    else:
        # Of the rows here only those to some addresses alone, and the function bytes of no group.
        assert row.builds in ("ModelTime", "ModelDate", "SystemTime", "DecoderLock", "AddressQuery", "FunctionExpansion")


@settings(max_examples=400)
@given(st.data())
def test_any_bits_of_whole_packets(data: st.DataObject) -> None:
    row = data.draw(st.sampled_from(WHOLE))
    body = _filled(row, data)
    packet = with_error_byte(body)
    (read,) = STANDARD.decode_service(packet) if row.fixed.startswith("0111") else STANDARD.decode(packet)
    if type(read).__name__ in _OPEN:
        # CV access with C = 0 and an output, or with 0AAA0AA0 or 0AAA1... in the second byte.
        assert row.size == 40
        bits = Bits(body)
        if bits[8]:
            assert not bits[12]
            assert bits[13:16].uint != 0
        else:
            assert bits[12] or not bits[15]
    else:
        _check(read, body)


def _filled(row: Layout, data: st.DataObject) -> bytes:
    """The row's fixed bits, and any others."""
    free = data.draw(st.integers(0, 2**row.size - 1))
    text = "".join(
        bit if mark == "." else mark for mark, bit in zip(row.fixed, f"{free:0{row.size}b}")
    )
    return int(text, 2).to_bytes(row.size // 8, "big")
