"""Patterns as text, and where a field's bits stand."""

from __future__ import annotations

import pytest
from bitstring import Bits
from hypothesis import given
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.instruction import FieldLayout, Letters, Pattern, Run


def test_fixed_bits() -> None:
    pattern = Pattern.parse("00111111 DSSSSSSS")
    assert pattern.masks == b"\xff\x00"
    assert pattern.values == b"\x3f\x00"
    assert len(pattern) == 2


def test_a_letter_goes_on_in_the_next_byte() -> None:
    layout = Pattern.parse("111001VV VVVVVVVV DDDDDDDD").field(Letters("V", add=1))
    assert layout.runs == (Run(byte=0, shift=0, width=2, position=8), Run(1, 0, 8, 0))
    assert (layout.width, layout.low, layout.high) == (10, 1, 1024)
    assert layout.take(b"\xe6\x03\x00") == 0b10_00000011 + 1


def test_letters_in_another_order() -> None:
    """Binary state, S-9.2.1 C: 11000000 DLLLLLLL HHHHHHHH is H above L."""
    layout = Pattern.parse("11000000 DLLLLLLL HHHHHHHH").field(Letters("HL"))
    assert layout.take(b"\xc0\x81\x02") == 0b00000010_0000001


def test_runs_in_another_order_and_inverted() -> None:
    """Accessory address, S-9.2.1 D: the high bits stand second, inverted."""
    pattern = Pattern.parse("10AAAAAA 0AAA0AA1")
    board = pattern.field(Letters("A", order=(1, 0), xor=0b111 << 6))
    assert board.take(bytes((0b10_100101, 0b0_001_0_10_1))) == 0b110_100101
    number = pattern.field(Letters("A", order=(1, 0, 2), xor=0b111 << 8))
    assert number.take(bytes((0b10_100101, 0b0_001_0_10_1))) == 0b110_100101_10


def test_part_of_a_field() -> None:
    pattern = Pattern.parse("10AAAAAA 1AAACDDD")
    assert pattern.field(Letters("D", low=1)).runs == (Run(1, 1, 2, 0),)
    assert pattern.field(Letters("D", width=1)).runs == (Run(1, 0, 1, 0),)
    across = Pattern.parse("000000AA AA000000").field(Letters("A", low=1, width=2))
    assert across.runs == (Run(0, 0, 1, 1), Run(1, 7, 1, 0))


@pytest.mark.parametrize(
    "text", ["", "0011111", "001111111", "00111111  DSSSSSSS", "0011111x", "00111111 ", "00111112", "0011 1111"]
)
def test_patterns_that_cannot_be_read(text: str) -> None:
    with pytest.raises(HalfbitError, match="is not eight of 0, 1 and letters A to Z"):
        Pattern.parse(text)


@pytest.mark.parametrize(
    ("letters", "message"),
    [
        (Letters("X"), "has no field 'X'"),
        (Letters(""), "has no field ''"),
        (Letters("A", order=(0, 0)), "does not name runs"),
        (Letters("A", order=(0, 2)), "does not name runs"),
        (Letters("A", low=9), "has no bits"),
        (Letters("A", low=3, width=7), "has no bits"),
        (Letters("A", low=-1), "has no bits"),
    ],
)
def test_fields_that_cannot_be(letters: Letters, message: str) -> None:
    with pytest.raises(HalfbitError, match=message):
        Pattern.parse("10AAAAAA 1AAACDDD").field(letters)


def test_narrows() -> None:
    wide, narrow = Pattern.parse("01DCSSSS"), Pattern.parse("01DC000S")
    assert narrow.narrows(wide)
    assert not wide.narrows(narrow)
    assert not wide.narrows(wide)
    assert not Pattern.parse("00DC000S").narrows(wide)
    assert not Pattern.parse("01DC000S 00000000").narrows(wide)


@st.composite
def _texts(draw: st.DrawFn) -> str:
    marks = st.text("01AB", min_size=8, max_size=8)
    return " ".join(draw(st.lists(marks, min_size=1, max_size=4)))


@given(_texts(), st.integers(0, 2**32 - 1))
def test_putting_and_taking_undo_each_other(text: str, number: int) -> None:
    """Against bitstring: the bits at a letter's places, in order, are the field."""
    pattern = Pattern.parse(text)
    bits = text.replace(" ", "")
    data = (number % 2 ** len(bits)).to_bytes(len(pattern), "big")
    rebuilt = bytearray(mask & value for mask, value in zip(pattern.masks, data))
    for letter in pattern.letters:
        layout: FieldLayout = pattern.field(Letters(letter, xor=1, add=5))
        places = [index for index, mark in enumerate(bits) if mark == letter]
        read = int("".join(str(int(Bits(data)[index])) for index in places), 2)
        assert layout.take(data) == (read ^ 1) + 5
        layout.put(layout.take(data), rebuilt)
    assert bytes(rebuilt) == data
