"""Entries: what is refused when they are made, and what their classes refuse later."""

from __future__ import annotations

from typing import Any, ClassVar

import attrs
import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    Entry,
    ExtendedAccessoryAddress,
    HardReset,
    Instruction,
    Letters,
    NoAddress,
    Reserved,
    ReservedAddress,
    ShortAddress,
    Tail,
    UnresolvedAddress,
    choice,
    crc8,
    integer,
)
from halfbit.simulate.signal import with_error_byte
from tests.instruction.test_registry import LAMP, Text


@attrs.frozen(slots=False)
class Unslotted(Instruction):
    """Invented: not slotted."""

    name: ClassVar[str] = "Unslotted"


@attrs.frozen(slots=True)
class Undeclared(Instruction):
    """Invented: a field without a range."""

    name: ClassVar[str] = "Undeclared"
    lamp: int = 0


@attrs.frozen(slots=True)
class Chosen(Instruction):
    """Invented: a constant."""

    name: ClassVar[str] = "Chosen"
    lamp: int = choice(1, 3)


@attrs.frozen(slots=True)
class Nameless(Instruction):
    """Invented: without a name."""


@attrs.frozen(slots=True)
class Even(Instruction):
    """Invented: refuses odd numbers."""

    name: ClassVar[str] = "Even"
    lamp: int = integer(0, 15)

    def __attrs_post_init__(self) -> None:
        if self.lamp % 2:
            raise HalfbitError("odd")


@attrs.frozen(slots=True)
class EvenUp(Instruction):
    """Invented: refuses 4 once it is made."""

    name: ClassVar[str] = "Even Up"
    lamp: int = integer(0, 15)

    def __attrs_post_init__(self) -> None:
        if self.lamp == 4:
            raise HalfbitError("4")


@attrs.frozen(slots=True)
class NotFour(Instruction):
    """Invented: refuses 4 by a validator of its own."""

    name: ClassVar[str] = "Not Four"
    lamp: int = integer(0, 15)

    @lamp.validator  # type: ignore[attr-defined,untyped-decorator,unused-ignore]
    def _check(self, attribute: object, value: int) -> None:
        if value == 4:
            raise HalfbitError("4")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"addresses": ()}, "no address kind"),
        ({"addresses": (UnresolvedAddress,)}, "UnresolvedAddress is no address"),
        (
            {"addresses": (Instruction,)},
            r"Entry.addresses: .* is not a tuple of kinds of address, e.g. \(ShortAddress,\)",
        ),
        ({"addresses": ShortAddress}, "Entry.addresses: .* is not a tuple of kinds of address"),
        ({"addresses": (ShortAddress(3),)}, "Entry.addresses: .* is not a tuple of kinds of address"),
        ({"builds": "Lamp"}, "Entry.builds: 'Lamp' is not a class derived from Instruction"),
        ({"builds": int}, "Entry.builds: .* is not a class derived from Instruction"),
        ({"builds": Instruction}, "Entry.builds: .* is not a class derived from Instruction"),
        ({"builds": Nameless, "fields": {}, "pattern": "11001010"}, "Nameless has no name of its own: give it"),
        ({"source": ""}, "Entry.source: '' is not a document and section"),
        ({"source": None}, "Entry.source: None is not a document and section"),
        ({"pattern": 3}, "Entry.pattern: 3 is not a pattern"),
        ({"fields": ["x"]}, "Entry.fields: .* is not a mapping of field to letters"),
        ({"fields": {"lamp": 3, "on": "E"}}, "Entry.fields: .* is not a mapping of field to letters"),
        ({"constants": {"lamp": "N"}}, "Entry.constants: .* is not a mapping of field to integer"),
        ({"special_of": "Name"}, "Entry.special_of: 'Name' is not a tuple of instruction classes"),
        ({"special_of": ("Name",)}, "Entry.special_of: .* is not a tuple of instruction classes"),
        ({"beside": HardReset}, "Entry.beside: .* is not a tuple of instruction classes"),
        ({"beside": (HardReset,)}, "beside is for rows that stand alone: give alone=True"),
        ({"other_than": "11001011"}, "Entry.other_than: .* is not a tuple of patterns of one byte"),
        ({"other_than": ("x",)}, "Entry.other_than: .* is not a tuple of patterns of one byte"),
        ({"alone": 1}, "Entry.alone: 1 is not False or True"),
        ({"shares": None}, "Entry.shares: None is not False or True"),
        ({"title": 3}, "Entry.title: 3 is not a name"),
        ({"tail": 3}, "Entry.tail: 3 is not a Tail or None"),
        ({"numbers": 3}, "Entry.numbers: 3 is not the lowest and the highest number"),
        ({"numbers": (5, 4)}, "Entry.numbers: .* is not the lowest and the highest number"),
        ({"numbers": (200, 300), "addresses": (ShortAddress,)}, "no short address has a number from 200 to 300"),
        ({"checksum": 3}, "Entry.checksum: 3 is not a function"),
        ({"checksum": crc8}, "a checksum ends the packet: give alone=True"),
        ({"fields": {"lamp": "N"}}, "bits 00000001 belong to no field"),
        ({"fields": {"lamp": "N", "on": "N"}}, "bits belong to two fields"),
        (
            {"fields": {"lamp": "N", "light": "E"}},
            r"gives the fields \['lamp', 'light'\], the class has \['lamp', 'on'\]",
        ),
        ({"fields": {"lamp": Letters("N", add=1), "on": "E"}}, "lamp can be 1 to 16, the class takes 0 to 15"),
        ({"pattern": "11001010 0NNNNNNE"}, "lamp can be 0 to 63, the class takes 0 to 15"),
        ({"pattern": "11001010 00NNNNEE"}, "on can be 0 to 3, the class takes 0 to 1"),
        ({"builds": Unslotted, "fields": {}, "pattern": "11001010"}, "Unslotted is no slotted attrs class"),
        ({"builds": Undeclared, "fields": {"lamp": "N"}, "pattern": "1100NNNN"}, "lamp must be declared with"),
        ({"builds": Chosen, "fields": {}, "constants": {"lamp": 9}, "pattern": "11001010"}, "lamp can be 9 to 9"),
        (
            {"builds": Chosen, "fields": {}, "constants": {"lamp": 2}, "pattern": "11001010"},
            "Chosen does not take what the pattern can hold",
        ),
        (
            {"builds": Chosen, "fields": {"lamp": "N"}, "pattern": "110010NN"},
            "lamp is one of a few integers: give it in constants",
        ),
        (
            {"builds": Even, "fields": {"lamp": "N"}, "pattern": "1100NNNN"},
            "Even does not take what the pattern can hold, .*15.*: odd",
        ),
        (
            {"builds": Text, "fields": {}, "pattern": "11001010", "tail": Tail("text", 0, 3)},
            r"declared as octets\(0, 3\)",
        ),
        ({"builds": Reserved}, "a reserved row has no fields"),
        ({"builds": Reserved, "fields": {}, "tail": Tail("data", 1)}, "a reserved row has no fields"),
        ({"addresses": (AccessoryAddress,)}, "first byte is not that of a packet of the place 'accessory packet'"),
        ({"addresses": (NoAddress,)}, "first byte is not that of a packet of the place 'service mode'"),
        ({"addresses": (ReservedAddress,), "pattern": "11001010 000NNNNE"}, "place 'reserved address'"),
        (
            {"addresses": (ReservedAddress,), "pattern": "11111100 000NNNNE", "alone": True},
            "are for patterns behind an address",
        ),
        ({"addresses": (AccessoryAddress,), "pattern": "10000000", "fields": {}}, "needs 2 bytes"),
        (
            {"addresses": (AccessoryAddress,), "pattern": "10000000 000NNNNE"},
            "does not say where the accessory address stands",
        ),
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


def test_what_its_class_refuses_is_not_the_instruction() -> None:
    """Entries are tried at the bounds of their fields. A class may refuse more, and is asked each time."""
    own = STANDARD.extended(Entry("11001010 0000NNNN", (ShortAddress,), NotFour, "invented", {"lamp": "N"}))
    assert own.decode(with_error_byte(b"\x03\xca\x02")) == (NotFour(ShortAddress(3), 2),)
    assert own.decode(with_error_byte(b"\x03\xca\x04")) == (Reserved(ShortAddress(3), b"\xca\x04"),)
    twice = STANDARD.extended(Entry("11001010 000NNN00", (ShortAddress,), EvenUp, "invented", {"lamp": "N"}))
    assert twice.decode(with_error_byte(b"\x03\xca\x08")) == (EvenUp(ShortAddress(3), 2),)
    assert twice.decode(with_error_byte(b"\x03\xca\x10")) == (Reserved(ShortAddress(3), b"\xca\x10"),)


def test_an_instruction_that_stands_alone_may_be_refused_by_its_class_too() -> None:
    entry = Entry("11001010 0000NNNN", (ShortAddress,), NotFour, "invented", {"lamp": "N"}, alone=True)
    own = STANDARD.extended(entry)
    assert own.decode(with_error_byte(b"\x03\xca\x02")) == (NotFour(ShortAddress(3), 2),)
    assert own.decode(with_error_byte(b"\x03\xca\x04")) == (Reserved(ShortAddress(3), b"\xca\x04"),)


def test_a_whole_packet_may_be_refused_by_its_class_too() -> None:
    """S-9.2.1 A reserves the first bytes 232 to 254."""
    entry = Entry("11101001 0000NNNN", (ReservedAddress,), NotFour, "invented", {"lamp": "N"})
    own = STANDARD.extended(entry)
    assert own.decode(with_error_byte(b"\xe9\x02")) == (NotFour(ReservedAddress(233), 2),)
    (other,) = own.decode(with_error_byte(b"\xe9\x04"))
    assert isinstance(other, Reserved)


def test_an_instruction_that_no_pattern_can_hold_is_not_encoded() -> None:
    own = STANDARD.extended(
        Entry("11001010 00000NNN", (ShortAddress,), NotFour, "invented", {"lamp": "N"}, numbers=(1, 99))
    )
    with pytest.raises(HalfbitError, match="NotFour.lamp: 9 is not from 0 to 7"):
        own.encode(NotFour(ShortAddress(3), 9))
    with pytest.raises(HalfbitError, match="Not Four is for addresses 1 to 99, not short 100"):
        own.encode(NotFour(ShortAddress(100), 2))
