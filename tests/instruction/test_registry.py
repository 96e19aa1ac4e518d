"""Entries and registries: what is refused, and that rows alone decide."""

from __future__ import annotations

import copy
import pickle
import subprocess
import sys
from collections.abc import Callable
from typing import Any, ClassVar

import attrs
import crccheck  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    Address,
    Ambiguous,
    BasicAccessory,
    Broadcast,
    Entry,
    FunctionGroupOne,
    FunctionGroupTwo,
    HardReset,
    Idle,
    IdleAddress,
    Instruction,
    LongAddress,
    NoAddress,
    Registry,
    Reserved,
    ReservedAddress,
    ShortAddress,
    SpeedAndDirection,
    Tail,
    Unknown,
    crc8,
    flag,
    integer,
    octets,
)
from halfbit.simulate.signal import with_error_byte


@attrs.frozen(slots=True)
class Lamp(Instruction):
    """Invented."""

    name: ClassVar[str] = "Lamp"
    lamp: int = integer(0, 15)
    on: bool = flag()


@attrs.frozen(slots=True)
class Bell(Instruction):
    """Invented: no fields."""

    name: ClassVar[str] = "Bell"


@attrs.frozen(slots=True)
class Text(Instruction):
    """Invented: bytes of any number."""

    name: ClassVar[str] = "Text"
    text: bytes = octets(1, 3)


LAMP: dict[str, Any] = {
    "pattern": "11001010 000NNNNE",
    "addresses": (ShortAddress, LongAddress),
    "builds": Lamp,
    "fields": {"lamp": "N", "on": "E"},
    "source": "invented",
}


@attrs.frozen(slots=True)
class Switch(Instruction):
    """Invented: one flag."""

    name: ClassVar[str] = "Switch"
    on: bool = flag()


@attrs.frozen(slots=True)
class Channel(Instruction):
    """Invented: a number and bytes."""

    name: ClassVar[str] = "Channel"
    number: int = integer(0, 15)
    text: bytes = octets(0, 2)


def _bell(pattern: str, *addresses: type[Address], **more: Any) -> Entry:
    return Entry(pattern, addresses, **{"builds": Bell, "source": "invented", **more})


def test_a_row_more() -> None:
    own = STANDARD.extended(Entry(**LAMP))
    assert len(own.entries()) == len(STANDARD.entries()) + 1
    lamp = Lamp(ShortAddress(3), lamp=5, on=True)
    data = own.encode(lamp)
    assert data == bytes.fromhex("03 CA 0B C2")
    assert own.encode(lamp) == data
    assert own.decode(data) == (lamp,)
    # The reserved row has the byte where the instruction is not, and elsewhere.
    assert STANDARD.decode(data) == (Reserved(ShortAddress(3), b"\xca\x0b"),)
    assert own.decode(bytes.fromhex("00 CA 0B C1")) == (Reserved(Broadcast(), b"\xca\x0b"),)
    # What does not fit is reserved as before: the standards' row loses only against a row that matches.
    assert own.decode(bytes.fromhex("03 CA 20 E9")) == (Reserved(ShortAddress(3), b"\xca\x20"),)
    with pytest.raises(HalfbitError, match="Lamp is not in this registry"):
        STANDARD.encode(lamp)


def test_the_standards_rows_are_not_changed_by_more() -> None:
    own = STANDARD.extended(Entry(**LAMP))
    for body in ("03 64", "00 00", "FF 00", "C4 57 3F 85", "81 F8"):
        data = bytes.fromhex(body)
        error = 0
        for byte in data:
            error ^= byte
        assert own.decode(data + bytes((error,))) == STANDARD.decode(data + bytes((error,)))


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        # The same first byte behind the same kind of address.
        (_bell("01111111", ShortAddress), r"short address: Speed and Direction \(01DCSSSS\) and Bell \(01111111\)"),
        (_bell("01111111", LongAddress), r"long address: Speed and Direction \(01DCSSSS\) and Bell \(01111111\)"),
        # A longer pattern that begins like a shorter one: both could be meant.
        (_bell("00000001 00000000", Broadcast), r"broadcast address: Hard Reset \(00000001\) and Bell"),
        # Whole packets.
        (_bell("11111111 00000000", IdleAddress), r"idle address: Idle \(11111111 00000000\) and Bell"),
        (_bell("01110000 00000000", NoAddress), r"service mode: Register or Paged Mode \(0111CRRR DDDDDDDD\) and Bell"),
        # Said to be a special case, but no narrower.
        (
            Entry(
                pattern="01DCSSSS",
                addresses=(Broadcast,),
                builds=SpeedAndDirection,
                fields={"forward": "D", "code": "CS"},
                special_of=(SpeedAndDirection,),
                source="invented",
            ),
            r"Speed and Direction \(01DCSSSS\) and Speed and Direction \(01DCSSSS\)",
        ),
        # Reserved rows may not overlap each other either.
        (
            Entry(pattern="0001000D", addresses=(ShortAddress,), builds=Reserved, tail=Tail("data", 0), source="x"),
            r"Reserved \(0001CCCC\) and Reserved \(0001000D\)",
        ),
    ],
)
def test_overlaps_are_refused_with_both_named(entry: Entry, message: str) -> None:
    with pytest.raises(HalfbitError, match=f"entries overlap .*{message}.*Give the narrower one special_of"):
        STANDARD.extended(entry)


def test_what_the_error_for_an_overlap_advises_helps() -> None:
    bell = _bell("01111111", ShortAddress)
    with pytest.raises(HalfbitError) as refused:
        STANDARD.extended(bell)
    assert str(refused.value).partition(". ")[2] == (
        "Give the narrower one special_of=(the other's class,), leave out the other's class with Registry.without() "
        "before you add yours, or make the patterns differ in a fixed bit"
    )
    data = with_error_byte(b"\x03\x7f")
    for own in (
        STANDARD.extended(attrs.evolve(bell, special_of=(SpeedAndDirection,))),
        STANDARD.without(SpeedAndDirection).extended(bell),
    ):
        assert own.decode(data) == (Bell(ShortAddress(3)),)
    STANDARD.extended(_bell("11001010 11111111", ShortAddress))  # 110: a fixed bit differs from 01


def test_rows_in_different_places_do_not_overlap() -> None:
    # 11000001 is model time to broadcast alone.
    own = STANDARD.extended(_bell("11000001", ShortAddress))
    assert own.decode(bytes.fromhex("03 C1 C2")) == (Bell(ShortAddress(3)),)
    # Whole packets of different length.
    own = STANDARD.extended(_bell("11111111 00000000 00000000", IdleAddress))
    assert own.decode(bytes.fromhex("FF 00 00 FF")) == (Bell(IdleAddress()),)
    assert own.decode(bytes.fromhex("FF 00 FF")) == (Idle(IdleAddress()),)


def test_a_declared_special_case_goes_first() -> None:
    own = STANDARD.extended(_bell("01100010", ShortAddress, special_of=(SpeedAndDirection,)))
    assert own.decode(bytes.fromhex("03 62 61")) == (Bell(ShortAddress(3)),)
    assert own.decode(bytes.fromhex("C0 03 62 A1"))[0].name == "Speed and Direction"
    with pytest.raises(HalfbitError, match="would be read as Bell to short 3"):
        own.encode(SpeedAndDirection(ShortAddress(3), forward=True, code=2))


def test_order_of_rows_does_not_matter() -> None:
    turned = Registry(reversed(STANDARD.entries()))
    for first in range(256):
        for second in (0x00, 0x41, 0x80, 0xFF):
            data = bytes((first, second, first ^ second))
            assert turned.decode(data) == STANDARD.decode(data)
            if first >> 4 == 7:
                assert turned.decode_service(data) == STANDARD.decode_service(data)


def test_an_empty_registry_knows_nothing() -> None:
    empty = Registry(())
    for body in ("03 64 67", "FF 00 FF", "81 F8 79", "E8 00 E8"):
        (read,) = empty.decode(bytes.fromhex(body))
        assert isinstance(read, Unknown)
    with pytest.raises(HalfbitError, match="Bell is not in this registry"):
        empty.encode(Bell(ShortAddress(3)))


def test_a_tail_goes_to_the_end_of_the_packet() -> None:
    own = STANDARD.extended(Entry("11111100", (ShortAddress,), Text, "invented", tail=Tail("text", 1, 3)))
    short = ShortAddress(3)
    assert own.decode(own.encode(Text(short, b"abc"))) == (Text(short, b"abc"),)
    # Nothing can follow it, and a fourth byte does not fit.
    with pytest.raises(HalfbitError, match="would be read as Text"):
        own.encode_packet((Text(short, b"ab"), HardReset(short)))
    assert own.decode(with_error_byte(b"\x03\xfcabcd")) == (Reserved(short, b"\xfcabcd"),)
    entry = own.entries()[-1]
    assert entry.text == "11111100 and 1 to 3 bytes"
    assert entry.lengths == (2, 4)


def test_a_row_that_stands_alone() -> None:
    """The length of the packet decides as well, for anyone's rows."""
    alone = _bell("11001010", ShortAddress, LongAddress, alone=True)
    own = STANDARD.extended(alone)
    short = ShortAddress(3)
    assert own.decode(with_error_byte(b"\x03\xca")) == (Bell(short),)
    assert own.decode(with_error_byte(b"\xc4\x57\xca")) == (Bell(LongAddress(1111)),)
    assert own.decode(with_error_byte(b"\x03\xca\x80")) == (Reserved(short, b"\xca\x80"),)
    assert own.decode(with_error_byte(b"\x03\x80\xca"))[1] == Reserved(short, b"\xca")
    assert alone.text == "11001010, alone"
    # Of different length they do not overlap.
    assert own.extended(_bell("11001010 00000000", ShortAddress)).decode(with_error_byte(b"\x03\xca\x00")) == (
        Bell(short),
    )
    with pytest.raises(HalfbitError, match="entries overlap"):
        own.extended(_bell("1100101D", ShortAddress, builds=Switch, fields={"on": "D"}, alone=True))


def test_a_row_beside_others_gives_both_readings() -> None:
    """Its bytes are two instructions as well: neither is left out. With bytes over, only one reading is left."""
    own = STANDARD.extended(_bell("10000001 10110000", ShortAddress, alone=True, beside=(FunctionGroupOne,)))
    short = ShortAddress(3)
    (both,) = own.decode(with_error_byte(b"\x03\x81\xb0"))
    groups = (FunctionGroupOne(short, False, 1), FunctionGroupTwo(short, 5, 0))
    assert both == Ambiguous(short, (groups, (Bell(short),)))
    assert own.encode(both) == own.encode(Bell(short)) == own.encode_packet(groups) == bytes.fromhex("03 81 B0 32")
    cut = STANDARD.extended(_bell("10000001 00111111", ShortAddress, alone=True, beside=(FunctionGroupOne,)))
    assert cut.decode(with_error_byte(b"\x03\x81\x3f")) == (Bell(short),)


def test_first_bytes_left_out() -> None:
    own = STANDARD.extended(
        _bell("1100010D", ShortAddress, builds=Switch, fields={"on": "D"}, other_than=("11000101",)),
        _bell("11000101", ShortAddress),
    )
    short = ShortAddress(3)
    assert own.decode(with_error_byte(b"\x03\xc4")) == (Switch(short, False),)
    assert own.decode(with_error_byte(b"\x03\xc5")) == (Bell(short),)
    assert own.entries()[-2].text == "1100010D other than 11000101"
    with pytest.raises(HalfbitError, match="would be read as Bell"):
        own.encode(Switch(short, True))


def _sum(data: bytes) -> int:
    return sum(data) & 0xFF


@pytest.mark.parametrize("checksum", [crc8, _sum])
def test_a_row_with_a_checksum(checksum: Callable[[bytes], int]) -> None:
    """For packets to addresses 253 and 254 (RCN-218, from memory), and for anyone's rows."""
    whole = Entry(
        "11111110 0000NNNN",
        (ReservedAddress,),
        Channel,
        "invented",
        {"number": "N"},
        tail=Tail("text", 0, 2),
        checksum=checksum,
    )
    alone = Entry(
        "11001010 0000NNNN",
        (LongAddress,),
        Channel,
        "invented",
        {"number": "N"},
        tail=Tail("text", 0, 2),
        checksum=checksum,
        alone=True,
    )
    own = STANDARD.extended(whole, alone)
    for address, head in ((ReservedAddress(254), b"\xfe\x05ab"), (LongAddress(1111), b"\xc4\x57\xca\x05ab")):
        channel = Channel(address, 5, b"ab")
        packet = own.encode(channel)
        assert packet == with_error_byte(head + bytes((checksum(head),)))
        assert own.decode(packet) == (channel,)
        # With another checksum it is not this instruction.
        wrong = with_error_byte(head + bytes((checksum(head) ^ 0x10,)))
        assert isinstance(own.decode(wrong)[0], Reserved)
    assert whole.lengths == (3, 5)
    assert whole.text == "11111110 0000NNNN and 0 to 2 bytes and a checksum"


@given(st.binary(max_size=20))
def test_the_crc(data: bytes) -> None:
    """The polynomial x^8 + x^5 + x^4 + 1, reflected, from 0: a general library for checksums as judge (PyPI, crccheck)."""
    assert crc8(data) == crccheck.crc.Crc8Maxim.calc(data)
    assert crc8(data + bytes((crc8(data),))) == 0


def test_leaving_rows_out() -> None:
    own = STANDARD.without(HardReset, Idle)
    assert len(own.entries()) == len(STANDARD.entries()) - 2
    assert isinstance(own.decode(bytes.fromhex("FF 00 FF"))[0], Unknown)
    wrong: Any
    for wrong in (HardReset, Bell, "Idle", 3, [HardReset]):
        with pytest.raises(HalfbitError, match="no row of this registry builds"):
            own.without(wrong)


def test_rows_in_place_of_others() -> None:
    own = STANDARD.replaced(Entry("00000001", (Broadcast, ShortAddress), HardReset, "invented"))
    assert own.decode(bytes.fromhex("03 01 02")) == (HardReset(ShortAddress(3)),)
    # The row was for long addresses too.
    assert isinstance(own.decode(bytes.fromhex("C4 57 01 92"))[0], Unknown)
    assert [entry.source for entry in own.entries() if entry.builds is HardReset] == ["invented"]
    with pytest.raises(HalfbitError, match="no row of this registry builds"):
        STANDARD.replaced(_bell("11001010", ShortAddress))


def test_a_registry_copies_and_pickles() -> None:
    assert copy.copy(STANDARD) is copy.deepcopy(STANDARD) is STANDARD
    assert pickle.loads(pickle.dumps(STANDARD)) is STANDARD
    own = STANDARD.without(Idle)
    assert copy.deepcopy(own) is own
    again = pickle.loads(pickle.dumps(own))
    assert again.entries() == own.entries()
    assert again.decode(bytes.fromhex("37 74 43")) == own.decode(bytes.fromhex("37 74 43"))


def test_the_standards_rows_are_made_on_first_use() -> None:
    """So that importing halfbit is quick."""
    script = (
        "import sys, halfbit.instruction as layer\n"
        "assert not [name for name in sys.modules if 'instruction' in name and name.endswith('.rows')]\n"
        "print(layer.STANDARD.decode(bytes.fromhex('377443'))[0].address, layer.SpeedAndDirection.__name__)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "short 55 SpeedAndDirection\n"


def test_a_row_gives_its_bits_as_plain_integers() -> None:
    """What a table for another language needs."""
    entry = next(e for e in STANDARD.entries() if e.builds is BasicAccessory)
    assert entry.parsed.masks == b"\xc0\x80"
    assert entry.parsed.values == b"\x80\x80"
    board = entry.address_layouts["board"]
    assert [(run.byte, run.shift, run.width, run.position) for run in board.runs] == [(1, 4, 3, 6), (0, 0, 6, 0)]
    assert (board.xor, board.add) == (0b111_000000, 0)
    activate = entry.layouts["activate"]
    assert [(run.byte, run.shift, run.width, run.position) for run in activate.runs] == [(1, 3, 1, 0)]
