"""Values that the standards work out, each with its source."""

from __future__ import annotations

import pytest

from halfbit import Packet
from halfbit.decoder import (
    AccessoryDecoder,
    Acknowledgement,
    Answer,
    CvWritten,
    MultiFunctionDecoder,
    OutputChanged,
    Speed,
    SpeedChanged,
    drive_level,
    momentum,
)
from halfbit.instruction import Context

from .support_track import RESET, packets


def test_address_55_step_6() -> None:
    """S-9.2, example of a baseline packet: address 55, forward, step 6 of 28 is 37 74 43."""
    decoder = MultiFunctionDecoder({1: 55, 29: 0b10})
    (effect,) = decoder.feed(Packet(bytes.fromhex("37 74 43"), 14, 0, 8_000_000))
    assert effect == SpeedChanged(Speed(6, 28))
    assert decoder.forward


@pytest.mark.parametrize(("code", "step"), [(0b00010, 1), (0b10010, 2), (0b00011, 3), (0b11111, 28)])
def test_28_steps(code: int, step: int) -> None:
    """S-9.2 B, table of speed steps."""
    decoder = MultiFunctionDecoder({29: 0b10})
    decoder.feed(packets(f"03 {0x60 | code:02X}")[0])
    assert decoder.speed == Speed(step, 28)


@pytest.mark.parametrize(("number", "high", "low"), [(1111, 196, 87), (9999, 231, 15), (144, 192, 144)])
def test_extended_address(number: int, high: int, low: int) -> None:
    """S-9.2.2, CV 17 and 18: 1111 is 196 87, 9999 is 231 15, 144 is 192 144."""
    decoder = MultiFunctionDecoder({17: high, 18: low, 29: 0b100010})
    assert number == (high - 192) * 256 + low
    decoder.feed(packets(f"{high:02X} {low:02X} 3F 8A")[0])
    assert decoder.speed == Speed(9, 126)


def test_momentum() -> None:
    """S-9.2.2, CV 3: 2 at 28 steps is 2 * 0.896 / 28 = 0.064 s a step."""
    assert momentum({3: 2, 23: 0}.__getitem__, 28, rising=True) == 64_000_000


@pytest.mark.parametrize(
    ("value", "adjustment", "total"), [(10, 5, 15), (10, 0x80 | 5, 5), (10, 0x80 | 20, 0), (250, 100, 255)]
)
def test_momentum_is_adjusted(value: int, adjustment: int, total: int) -> None:
    """S-9.2.2, CV 24: bits 0 to 6 added to CV 4, or subtracted if bit 7 is set; never below 0 or above 255."""
    assert momentum({4: value, 24: adjustment}.__getitem__, 28, rising=False) == total * 32_000_000


@pytest.mark.parametrize(("trim", "level"), [(0, 100), (128, 100), (64, 50), (255, 199)])
def test_trim(trim: int, level: int) -> None:
    """S-9.2.2, CV 66: drive level * n / 128, 0 is not implemented. CV 67 is the level of step 1 of the table."""
    cvs = {number: 0 for number in range(1, 100)}
    cvs.update({29: 0b10010, 67: 100, 66: trim})
    assert drive_level(cvs.__getitem__, Speed(1, 28), forward=True) == level


def test_step_1_has_the_start_level() -> None:
    """S-9.2.2, CV 2; CV 5 and CV 6 at 0 or 1 are not used."""
    cvs = {number: 0 for number in range(1, 100)} | {2: 30, 5: 1, 6: 1}
    assert drive_level(cvs.__getitem__, Speed(1, 28), forward=True) == 30
    assert drive_level(cvs.__getitem__, Speed(28, 28), forward=True) == 255


def test_restricted_speed_step() -> None:
    """S-9.2.1 C: bit 7 = 0 enables, and the step is written as S-9.2 has it: 00010 is step 1."""
    decoder = MultiFunctionDecoder({2: 30, 29: 0b10})
    for packet in packets("03 7F", "03 3E 02"):
        decoder.feed(packet)
    assert (decoder.speed, decoder.drive_level) == (Speed(28, 28), 30)
    decoder.feed(packets("03 3E 82", start=16_000_000)[0])
    assert decoder.drive_level == 255


def test_page_17_register_1_is_cv_65() -> None:
    """S-9.2.3 E, paged mode: CV 65 is page 17, data register 0 (register 1)."""
    decoder = MultiFunctionDecoder()
    written = [
        effect
        for packet in packets(RESET, *["7D 11"] * 2, RESET, *["78 07"] * 2)
        for effect in decoder.feed(packet)
        if isinstance(effect, CvWritten)
    ]
    assert written == [CvWritten(65, 0, 7)]


def test_acknowledgement() -> None:
    """S-9.2.3: 60 mA for 6 ms; S-9.2.1 E: never in operations mode, where a write is answered otherwise."""
    decoder = MultiFunctionDecoder({8: 13})
    for packet in packets(RESET, "74 07 0D"):
        decoder.feed(packet)
    (effect,) = decoder.feed(packets("74 07 0D", start=16_000_000)[0])
    assert effect == Acknowledgement(60, 6_000_000)
    idle, *writes = packets("FF 00", "03 EC 02 14", "03 EC 02 14", start=24_000_000)
    decoder.feed(idle)
    assert decoder.mode is Context.OPERATIONS
    assert [decoder.feed(write) for write in writes] == [(), (CvWritten(3, 0, 20), Answer(3, 20))]


def test_output_1_by_both_ways_of_addressing() -> None:
    """S-9.2.2, CV 29 bit 6: at CV 1 = 1 and CV 9 = 0 both ways answer to the same packet (board 1, pair 0)."""
    for cv29 in (0b10000000, 0b11000000):
        decoder = AccessoryDecoder({1: 1, 9: 0, 29: cv29})
        assert decoder.feed(packets("81 F8")[0]) == (OutputChanged(0, True),)


def test_address_only_mode_clears_the_consist_and_the_extended_address() -> None:
    """S-9.2.3 E, address-only mode: CV 1 written; CV 19 and bit 5 of CV 29 are cleared."""
    decoder = MultiFunctionDecoder({19: 11, 29: 0b100110})
    for packet in packets(RESET, RESET, RESET, *["78 0C"] * 5):
        decoder.feed(packet)
    assert (decoder.cvs[1], decoder.cvs[19], decoder.cvs[29]) == (12, 0, 0b000110)
