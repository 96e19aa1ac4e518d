"""Instructions as one line of text and as a mapping for JSON."""

from __future__ import annotations

import json
from collections import defaultdict

import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    Ambiguous,
    BasicAccessory,
    Instruction,
    RegisterAccess,
    ShortAddress,
    SpeedControl128,
    Unknown,
)
from halfbit.simulate.signal import with_error_byte
from tests.instruction.support_packets import RESET, packet, run
from tests.standards.instruction_packets import OPERATIONS, SERVICE


def _read(body: str, *, service: bool = False) -> Instruction:
    data = with_error_byte(bytes.fromhex(body))
    (read,) = STANDARD.decode_service(data) if service else STANDARD.decode(data)
    return read


ALL = [_read(row.body) for row in OPERATIONS] + [_read(row.body, service=True) for row in SERVICE]


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ("00 00", "digital decoder reset"),
        ("03 01", "hard reset"),
        ("03 02", "factory test: F 0, bytes none"),
        ("03 03 12 AB", "factory test: F 1, bytes 12 AB"),
        ("03 07 51", "set decoder flags: activate bi-directional communication, 1, sub-address 1"),
        ("03 06 10", "set decoder flags: flag 0001 of no stated meaning, 0, all sub-addresses"),
        ("03 0B", "set extended addressing: CV 29 bit 5 := 1"),
        ("03 0F", "decoder acknowledgement request: 1"),
        ("03 12 0C", "consist control: consist address 12, normal direction"),
        ("03 13 00", "consist control: no consist, reversed direction"),
        ("03 3F 82", "128 speed step control: forward, step 1 of 126 steps"),
        ("03 3E 8C", "restricted speed step: disabled, step 12"),
        ("03 3D 01 80", "analog function: volume := 128"),
        ("03 3D 02 80", "analog function: output 2 := 128"),
        (
            "03 3C 05 11",
            "speed, direction and functions: reverse, step 4 of 126 steps, on of F0 to F7: F0 F4",
        ),
        (
            "37 74",
            "speed and direction: forward, step 6 of 28 steps, or step 3 of 14 steps with FL on",
        ),
        ("00 41", "broadcast stop: stop delivering energy, reverse"),
        ("00 70", "broadcast stop: stop, forward, direction may be ignored"),
        ("03 92", "function group one: FL on or no FL, F1 off, F2 on, F3 off, F4 off"),
        ("03 A4", "function group two: F9 off, F10 off, F11 on, F12 off"),
        (
            "03 DE 81",
            "functions: F13 on, F14 off, F15 off, F16 off, F17 off, F18 off, F19 off, F20 on",
        ),
        ("03 C0 80 02", "binary state: 256 on"),
        ("03 DD 00", "binary state: all off"),
        ("00 C1 1E 2C 84", "model time: 12:30, weekday 1, factor 4, update"),
        ("00 C1 43 57 AC", "model date: 1964-05-03"),
        ("00 C2 01 00", "system time: 256 ms"),
        ("03 E4 1C 06", "CV verify byte: CV 29 = 6?"),
        ("03 EC 1C 06", "CV write byte: CV 29 := 6"),
        ("03 E8 1C E5", "CV verify bit: CV 29 bit 5 = 0?"),
        ("03 E8 1C FD", "CV write bit: CV 29 bit 5 := 1"),
        ("03 F2 05", "CV short form: CV 23 := 5"),
        ("03 F5 01 02", "CV short form: CV 31 := 1, CV 32 := 2"),
        ("00 F9 05", "decoder lock: address 5"),
        ("03 F9", "address query"),
        ("FF 00", "idle"),
        ("81 F8", "basic accessory: activate"),
        ("81 71 00", "extended accessory: aspect 0, absolute stop"),
        ("81 71 05", "extended accessory: aspect 5"),
        ("81 78", "accessory NOP"),
        ("81 7C 1C 06", "legacy accessory CV access: CV 29, data 6"),
        ("03 C5 01", "reserved: C5 01"),
        ("03 3F", "unknown: 3F"),
        ("03", "unknown: no instruction"),
    ],
)
def test_text(body: str, text: str) -> None:
    assert str(_read(body)) == text


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ("74 1C 06", "direct mode verify byte: CV 29 = 6?"),
        ("7C 1C 06", "direct mode write byte: CV 29 := 6"),
        ("78 1C ED", "direct mode verify bit: CV 29 bit 5 = 1?"),
        ("78 1C F5", "direct mode write bit: CV 29 bit 5 := 0"),
        ("77 03", "verify register 8 (CV 8) = 3?"),
        ("7D 11", "write register 6 (page register) := 17"),
        ("79 05", "write register 2 (CV 2, or if paged CV 4 * (page - 1) + 2) := 5"),
        ("7D 01", "page preset: page register := 1"),
        ("7F 08", "factory reset"),
    ],
)
def test_text_of_service_mode(body: str, text: str) -> None:
    assert str(_read(body, service=True)) == text


def test_text_is_one_line() -> None:
    for one in ALL:
        text = str(one)
        assert text
        assert text == " ".join(text.split())


def test_mapping_is_json_with_the_same_keys_for_a_class() -> None:
    keys: defaultdict[type[Instruction], set[tuple[str, ...]]] = defaultdict(set)
    for one in ALL:
        values = one.as_dict()
        assert json.loads(json.dumps(values)) == values
        keys[type(one)].add(tuple(values))
    for cls, orders in keys.items():
        (order,) = orders
        assert order[:2] == ("name", "address")
        assert order[-4:] == ("context", "repetition", "hold_off", "long_preamble"), cls


def test_mapping_of_speed() -> None:
    assert SpeedControl128(ShortAddress(3), forward=True, code=2).as_dict() == {
        "name": "128 Speed Step Control",
        "address": {"kind": "short", "number": 3},
        "forward": True,
        "code": 2,
        "readings": [
            {"steps": 126, "step": 1, "emergency": False, "direction_ignored": False, "fl": None}
        ],
        "context": "unknown",
        "repetition": None,
        "hold_off": False,
        "long_preamble": False,
    }


def test_mapping_of_functions() -> None:
    assert _read("03 92").as_dict()["functions"] == {"F1": False, "F2": True, "F3": False, "F4": False}
    assert _read("03 92").as_dict()["fl_readings"] == [True, None]
    assert list(_read("03 DE 01").as_dict()["functions"] or ()) == [f"F{n}" for n in range(13, 21)]  # type: ignore[arg-type]
    assert _read("03 07 51").as_dict()["flag_name"] == "activate bi-directional communication"


def test_mapping_of_what_was_known_beside_the_packet() -> None:
    found = run([packet(body, preamble=22) for body in [RESET, "7D 11", "7D 11", "79 05"]])[-1]
    assert isinstance(found, RegisterAccess)
    values = found.as_dict()
    assert (values["page"], values["cv"], values["address_only"]) == (17, 66, False)
    assert (values["context"], values["repetition"]) == ("service", "first sight")
    assert values["long_preamble"] is True


def test_mapping_of_an_ambiguous_packet_holds_both() -> None:
    (found,) = run([packet("7C 90")])
    assert isinstance(found, Ambiguous)
    values = json.loads(json.dumps(found.as_dict()))
    assert values["address"] == {"kind": "unresolved", "first": 124}
    assert [one["name"] for one in values["operations"]] == ["Function Group One"]
    assert [one["name"] for one in values["service"]] == ["Register or Paged Mode"]


def test_bytes_are_hexadecimal() -> None:
    assert Unknown(ShortAddress(3), b"\x3f\x01").as_dict()["data"] == "3f01"


def test_an_instruction_without_words_of_its_own_has_its_name() -> None:
    assert str(Instruction(ShortAddress(3))) == "Instruction"


def test_an_address_must_be_one() -> None:
    with pytest.raises(HalfbitError, match="BasicAccessory.address: 3 is not an address"):
        BasicAccessory(3, activate=True)  # type: ignore[arg-type]
    assert BasicAccessory(AccessoryAddress(3, 1, 0), activate=True).packet is None
