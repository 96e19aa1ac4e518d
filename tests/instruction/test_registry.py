"""Entries and registries: what is refused, and that rows alone decide."""

from __future__ import annotations

from typing import Any, ClassVar

import attrs
import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    Address,
    BasicAccessory,
    Broadcast,
    Entry,
    ExtendedAccessoryAddress,
    HardReset,
    Idle,
    IdleAddress,
    Instruction,
    Letters,
    LongAddress,
    NoAddress,
    Registry,
    Reserved,
    ReservedAddress,
    ShortAddress,
    SpeedAndDirection,
    Tail,
    Unknown,
    UnresolvedAddress,
    choice,
    flag,
    integer,
    octets,
)


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


def _bell(pattern: str, *addresses: type[Address], **more: Any) -> Entry:
    return Entry(pattern=pattern, addresses=addresses, builds=Bell, source="invented", **more)


def test_a_row_more() -> None:
    own = STANDARD.extended(Entry(**LAMP))
    assert len(own.entries()) == len(STANDARD.entries()) + 1
    lamp = Lamp(ShortAddress(3), lamp=5, on=True)
    data = own.encode(lamp)
    assert data == bytes.fromhex("03 CA 0B C2")
    assert lamp.encode(own) == data
    assert own.decode(data) == (lamp,)
    # The reserved row has the byte where the instruction is not, and elsewhere.
    assert STANDARD.decode(data) == (Reserved(ShortAddress(3), b"\xca\x0b"),)
    assert own.decode(bytes.fromhex("00 CA 0B C1")) == (Reserved(Broadcast(), b"\xca\x0b"),)
    # Its first byte is no longer reserved, so what does not fit is unknown.
    assert own.decode(bytes.fromhex("03 CA 20 E9")) == (Unknown(ShortAddress(3), b"\xca\x20"),)
    with pytest.raises(HalfbitError, match="Lamp is not in this registry"):
        lamp.encode()


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
    with pytest.raises(HalfbitError, match=f"entries overlap .*{message}"):
        STANDARD.extended(entry)


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


def test_bytes_of_any_number() -> None:
    own = STANDARD.extended(
        Entry(
            pattern="11111100",
            addresses=(ShortAddress,),
            builds=Text,
            tail=Tail("text", 1, 3),
            source="invented",
        )
    )
    short = ShortAddress(3)
    assert own.decode(own.encode(Text(short, b"abc"))) == (Text(short, b"abc"),)
    # A fourth byte is the next instruction's.
    assert own.encode_packet((Text(short, b"abc"), HardReset(short)))[1:-1] == b"\xfcabc\x01"
    entry = own.entries()[-1]
    assert entry.text == "11111100 and 1 to 3 bytes"
    assert entry.lengths == (2, 4)


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


@attrs.frozen(slots=False)
class Unslotted(Instruction):
    """Invented: not slotted."""


@attrs.frozen(slots=True)
class Undeclared(Instruction):
    """Invented: a field without a range."""

    lamp: int = 0


@attrs.frozen(slots=True)
class Chosen(Instruction):
    """Invented: a constant."""

    lamp: int = choice(1, 3)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"addresses": ()}, "no address kind"),
        ({"addresses": (UnresolvedAddress,)}, "UnresolvedAddress is no address"),
        ({"addresses": (Instruction,)}, "Instruction is no address"),
        ({"fields": {"lamp": "N"}}, "bits 00000001 belong to no field"),
        ({"fields": {"lamp": "N", "on": "N"}}, "bits belong to two fields"),
        ({"fields": {"lamp": "N", "light": "E"}}, r"gives the fields \['lamp', 'light'\], the class has \['lamp', 'on'\]"),
        ({"fields": {"lamp": Letters("N", add=1), "on": "E"}}, "lamp can be 1 to 16, the class takes 0 to 15"),
        ({"pattern": "11001010 0NNNNNNE"}, "lamp can be 0 to 63, the class takes 0 to 15"),
        ({"pattern": "11001010 00NNNNEE"}, "on can be 0 to 3, the class takes 0 to 1"),
        ({"builds": Unslotted, "fields": {}, "pattern": "11001010"}, "Unslotted is no slotted attrs class"),
        ({"builds": Undeclared, "fields": {"lamp": "N"}, "pattern": "1100NNNN"}, "lamp must be declared with"),
        ({"builds": Chosen, "fields": {}, "constants": {"lamp": 9}, "pattern": "11001010"}, "lamp can be 9 to 9"),
        ({"builds": Text, "fields": {}, "pattern": "11001010", "tail": Tail("text", 0, 3)}, r"declared as octets\(0, 3\)"),
        ({"addresses": (AccessoryAddress,)}, "first byte is not that of a packet of the place 'accessory packet'"),
        ({"addresses": (NoAddress,)}, "first byte is not that of a packet of the place 'service mode'"),
        ({"addresses": (ReservedAddress,), "pattern": "11001010 000NNNNE"}, "place 'reserved address'"),
        ({"addresses": (AccessoryAddress,), "pattern": "10000000", "fields": {}}, "needs 2 bytes"),
        ({"addresses": (AccessoryAddress,), "pattern": "10000000 000NNNNE"}, "does not say where the accessory address stands"),
        (
            {"addresses": (ExtendedAccessoryAddress,), "pattern": "10AAAAAA 000NNNNE", "address": {"board": "A"}},
            "the extended accessory address has no field board",
        ),
        (
            {"addresses": (AccessoryAddress,), "pattern": "10AAAAAA 000NNNNE", "address": {"pair": "A"}},
            "does not say where board",
        ),
        ({"pattern": "AAAAAAAA 000NNNNE", "address": {"number": "A"}}, "only a single kind of accessory address"),
    ],
)
def test_entries_that_cannot_be(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(HalfbitError, match=message):
        Entry(**{**LAMP, **changes})


def test_a_class_that_refuses_what_its_pattern_holds_is_unknown() -> None:
    @attrs.frozen(slots=True)
    class Even(Instruction):
        name: ClassVar[str] = "Even"
        lamp: int = integer(0, 15)

        def __attrs_post_init__(self) -> None:
            if self.lamp % 2:
                raise HalfbitError("odd")

    own = STANDARD.extended(
        Entry(
            pattern="11001010 0000NNNN",
            addresses=(ShortAddress,),
            builds=Even,
            fields={"lamp": "N"},
            source="invented",
        )
    )
    assert own.decode(bytes.fromhex("03 CA 02 CB")) == (Even(ShortAddress(3), 2),)
    assert own.decode(bytes.fromhex("03 CA 03 CA")) == (Unknown(ShortAddress(3), b"\xca\x03"),)
