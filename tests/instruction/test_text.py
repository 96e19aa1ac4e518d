"""Instructions as one line of text, and in few words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    BasicAccessory,
    Instruction,
    InstructionMachine,
    ShortAddress,
)
from halfbit.packet import Packet
from halfbit.simulate.signal import with_error_byte
from tests.instruction.support_packets import packet, run
from tests.standards.instruction_packets import OPERATIONS
from tests.standards.service_packets import SERVICE


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
        (
            "03 3E 0C",
            "either restricted speed step: enabled, step 21 of 28 steps, or step 11 of 14 steps with FL off; "
            "or special operating modes: 00001100",
        ),
        ("03 3D 01 80", "analog function: volume := 128"),
        ("03 3D 02 80", "analog function: output 2 (reserved) := 128"),
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
        ("03 C0 85 00", "binary state: 5 on, should have the short form"),
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
        ("77 03", "verify register 8 (CV 8, or accessory CV 520) = 3?"),
        ("76 03", "verify register 7 (CV 7) = 3?"),
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


def test_an_instruction_without_words_of_its_own_has_its_name() -> None:
    assert str(Instruction(ShortAddress(3))) == Instruction(ShortAddress(3)).brief == "instruction"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("37 74", "forward 6/28 or 3/14 FL on"),
        ("03 41", "reverse e-stop/28 or e-stop/14 FL off"),
        ("03 51", "(reverse) e-stop/28 or e-stop/14 FL on"),  # the direction may be ignored
        ("00 70", "(forward) stop"),
        ("03 3F 82", "forward 1/126"),
        ("03 3C 05 11", "reverse 4/126, F0-F7: 0 4 on"),
        ("03 3C 05 FF FF FF FF", "reverse 4/126, F0-F31: 32 on"),
        ("03 3E 54", "limit 6/28 or 3/14 FL on | modes 54"),
        ("03 3E D4", "no limit | modes D4"),
        ("03 95", "F1-F4: 1 3 on, FL on or no FL"),
        ("03 B0", "F5-F8: all off"),
        ("03 DC FF", "F61-F68: 61 62 63 64 65 66 67 68 on"),
        ("03 C0 FF FF", "binary state: 32767 on"),
        ("03 3D 01 80", "volume := 128"),
        ("03 EC 1C 06", "CV 29 := 6"),
        ("03 E4 1C 06", "CV 29 = 6?"),
        ("03 E8 1C F5", "CV 29 bit 5 := 0"),
        ("03 F4 C4 57", "CV 17 := 196, CV 18 := 87"),
        ("03 E4 00 00 00", "CV 1 = 0?; reset | ext. CV 1 = ?"),
        ("03 E4 00 00 E0", "ext. CV 225 = ?"),
        ("03 ED 00 00 06 09", "ext. CV 7 := 09"),
        ("03 07 51", "flag 0101 := 1, sub-address 1"),
        ("03 13 05", "consist 5, reversed"),
        ("03 12 00", "consist none"),
        ("89 FD", "output 9.2.1 on"),
        ("BF 84", "output all.2.0 off"),
        ("81 71 00", "aspect 0, stop"),
        ("00 C1 1E 2C 84", "time 12:30, weekday 1, x4, set"),
        ("03 C5 01", "reserved: C5 01"),
        ("03 02 01 02 03 04 05 06 07 08 09 0A", "factory test F=0, 01 02 03 04 05 06 07…"),
    ],
)
def test_brief(body: str, words: str) -> None:
    """For tables: at most 40 characters, without the address."""
    assert _read(body).brief == words


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("78 05", "register 1 := 5 (CV 1, or accessory CV…"),
        ("7C 06", "register 5 := 6 (CV 29)"),
        ("7D 11", "register 6 := 17 (page register)"),
        ("74 1C 06", "CV 29 = 6?"),
        ("7D 01", "page preset: page register := 1"),
    ],
)
def test_brief_of_service_mode(body: str, words: str) -> None:
    assert _read(body, service=True).brief == words


def test_brief_of_an_ambiguous_packet() -> None:
    """Both readings can be seen, however long they are."""
    (found,) = run([packet("7C 90")])
    assert found.brief == "F1-F4: all off, FL… | register 5 := 144…"


@given(st.binary(min_size=1, max_size=9), st.booleans())
def test_brief_is_short(body: bytes, service: bool) -> None:
    data = with_error_byte(body)
    for one in (*(STANDARD.decode_service(data) if service else STANDARD.decode(data)), *run_all(data)):
        assert 0 < len(one.brief) <= 40
        assert one.brief == " ".join(one.brief.split())


def run_all(data: bytes) -> list[Instruction]:
    """What a machine makes of a packet that nothing stands before."""
    return [one for one in InstructionMachine().feed(Packet(data)) if isinstance(one, Instruction)]


def test_an_address_must_be_one() -> None:
    with pytest.raises(HalfbitError, match="BasicAccessory.address: 3 is not an address: give ShortAddress"):
        BasicAccessory(3, activate=True)  # type: ignore[arg-type]
    assert BasicAccessory(AccessoryAddress(3, 1, 0), activate=True).packet is None
