"""One row of the registry: all there is to know about an instruction's bytes."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from typing import Any, Union

import attrs

from ..error import HalfbitError
from .address import (
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    Broadcast,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    IdleAddress,
    LongAddress,
    NoAddress,
    ReservedAddress,
    ShortAddress,
)
from .base import Instruction, own_fields
from .pattern import FieldLayout, Letters, Pattern
from .special import Reserved

__all__ = ["Entry", "FieldLetters", "Place", "Tail"]


class Place(enum.Enum):
    """Where a pattern stands. Only patterns in the same place can be taken for one another.

    Behind the address of a multi-function decoder patterns start after the address. Elsewhere a pattern is the whole
    packet but for the error detection byte.
    """

    BROADCAST = "behind the broadcast address"
    SHORT = "behind a short address"
    LONG = "behind a long address"
    ACCESSORY = "accessory packet"
    RESERVED = "reserved address"
    IDLE = "idle address"
    SERVICE = "service mode"

    @property
    def follows_address(self) -> bool:
        """Whether patterns start after the address."""
        return self in (Place.BROADCAST, Place.SHORT, Place.LONG)

    @property
    def many(self) -> bool:
        """Whether patterns may follow one another (S-9.2.1 C). S-9.2.1 B speaks of one instruction to broadcast."""
        return self in (Place.SHORT, Place.LONG)

    @property
    def key(self) -> int:
        """The byte of the pattern by which decoding looks instructions up: the one that says most."""
        return 1 if self in (Place.ACCESSORY, Place.IDLE) else 0


#: The place of each kind of address.
PLACES: Mapping[type[Address], Place] = {
    Broadcast: Place.BROADCAST,
    ShortAddress: Place.SHORT,
    LongAddress: Place.LONG,
    AccessoryAddress: Place.ACCESSORY,
    AccessoryBroadcast: Place.ACCESSORY,
    ExtendedAccessoryAddress: Place.ACCESSORY,
    ExtendedAccessoryBroadcast: Place.ACCESSORY,
    ReservedAddress: Place.RESERVED,
    IdleAddress: Place.IDLE,
    NoAddress: Place.SERVICE,
}

#: What the first byte of a whole-packet pattern must fix: mask and value (S-9.2.1 A, S-9.2.3 E).
_FIRST: Mapping[Place, tuple[int, int]] = {
    Place.ACCESSORY: (0xC0, 0x80),
    Place.RESERVED: (0xE0, 0xE0),
    Place.IDLE: (0xFF, 0xFF),
    Place.SERVICE: (0xF0, 0x70),
}

#: The first three bits of the classes of which a packet holds at most one instruction: decoder and consist control,
#: advanced operations, CV access (S-9.2.1 C, each in its own part).
ONE_PER_PACKET = (0b000, 0b001, 0b111)


@attrs.frozen(slots=True)
class Tail:
    """Bytes without fixed bits behind the pattern, as many as the packet has."""

    #: The field of the class that takes them.
    field: str
    #: The fewest.
    low: int
    #: The most; ``None`` for no limit.
    high: int | None = None


#: How an entry's fields are declared: letters, or letters with a conversion.
FieldLetters = Union[str, Letters]


@attrs.frozen(slots=True)
class Entry:
    """An instruction's pattern, its addresses, the class it builds and the source.

    :raises HalfbitError: if the pattern cannot be read, does not belong to the addresses, or
        does not supply each field of the class exactly once and within its range.
    """

    #: The pattern as the standards write it.
    pattern: str
    #: The kinds of address it is for.
    addresses: tuple[type[Address], ...]
    #: The attrs class it builds.
    builds: type[Instruction]
    #: Document and section, or "from memory".
    source: str
    #: Field of the class to letters of the pattern.
    fields: Mapping[str, FieldLetters] = attrs.field(factory=dict)
    #: Field of the address to letters, for addresses that share bytes with the instruction.
    address: Mapping[str, FieldLetters] = attrs.field(factory=dict, kw_only=True)
    #: Fields of the class that the pattern alone determines.
    constants: Mapping[str, int] = attrs.field(factory=dict, kw_only=True)
    #: Bytes behind the pattern.
    tail: Tail | None = attrs.field(default=None, kw_only=True)
    #: The classes this is a special case of: its pattern must narrow theirs, and goes first.
    special_of: tuple[type[Instruction], ...] = attrs.field(default=(), kw_only=True)
    #: The classes of rows that can read the same bytes otherwise: both readings are given, as :class:`Ambiguous`. For
    #: rows that stand alone.
    beside: tuple[type[Instruction], ...] = attrs.field(default=(), kw_only=True)
    #: Patterns of first bytes that it does not take, behind an address.
    other_than: tuple[str, ...] = attrs.field(default=(), kw_only=True)
    #: Whether it must be all that stands behind the address. The length of the packet then decides as well.
    alone: bool = attrs.field(default=False, kw_only=True)
    #: Address numbers it is for, if not all of a kind.
    numbers: tuple[int, int] | None = attrs.field(default=None, kw_only=True)
    #: Whether a packet may hold it beside another one of its class (see :attr:`packet_class`).
    shares: bool = attrs.field(default=False, kw_only=True)
    #: The name in listings; that of the class if left out.
    title: str = attrs.field(default="", kw_only=True)

    #: The pattern's fixed bits, byte by byte (made from ``pattern``).
    parsed: Pattern = attrs.field(init=False, eq=False, repr=False)
    #: Field of the class to where its bits stand (made from ``fields``).
    layouts: Mapping[str, FieldLayout] = attrs.field(init=False, eq=False, repr=False)
    #: Field of the address to where its bits stand (made from ``address``).
    address_layouts: Mapping[str, FieldLayout] = attrs.field(init=False, eq=False, repr=False)
    #: For each first byte whether :attr:`other_than` leaves it out (made from that).
    left_out: frozenset[int] = attrs.field(init=False, eq=False, repr=False)

    def __attrs_post_init__(self) -> None:
        parsed = Pattern.parse(self.pattern)
        put = object.__setattr__  # the one way to fill a frozen class from itself
        put(self, "parsed", parsed)
        put(self, "layouts", {name: parsed.field(_letters(letters)) for name, letters in self.fields.items()})
        put(self, "address_layouts", {name: parsed.field(_letters(one)) for name, one in self.address.items()})
        put(self, "left_out", frozenset(byte for text in self.other_than for byte in Pattern.parse(text).bytes_at(0)))
        self._check_places()
        if self.reserved:
            self._check_reserved()
        else:
            self._check_letters()
            self._check_fields()
        self._check_address()

    @property
    def name(self) -> str:
        """The standards' name of the instruction."""
        return self.title or self.builds.name

    @property
    def places(self) -> tuple[Place, ...]:
        """Where the pattern may stand."""
        return tuple(dict.fromkeys(PLACES[kind] for kind in self.addresses))

    @property
    def reserved(self) -> bool:
        """Whether it only says that the standards keep these bytes for later.

        Such a row takes only what no instruction does.
        """
        return issubclass(self.builds, Reserved)

    @property
    def packet_class(self) -> int | None:
        """The class of which a packet holds at most one instruction, as its first three bits; ``None`` if no such."""
        fixed = self.parsed.masks[0] & 0xE0 == 0xE0
        bits = self.parsed.values[0] >> 5
        return bits if fixed and bits in ONE_PER_PACKET and not self.shares else None

    @property
    def lengths(self) -> tuple[int, int | None]:
        """The fewest and the most bytes it takes, pattern and tail; ``None`` for no limit."""
        size = len(self.parsed)
        if self.tail is None:
            return size, size
        return size + self.tail.low, None if self.tail.high is None else size + self.tail.high

    @property
    def text(self) -> str:
        """The pattern in words: its tail, which first bytes it leaves out, whether it stands alone."""
        words = self.pattern
        if self.other_than:
            words += f" other than {', '.join(self.other_than)}"
        if self.tail is not None:
            most = " or more" if self.tail.high is None else f" to {self.tail.high}"
            words += f" and {self.tail.low}{most} bytes"
        return words + (", alone" if self.alone else "")

    def __str__(self) -> str:
        return f"{self.name} ({self.pattern})"

    def _refuse(self, problem: str) -> HalfbitError:
        return HalfbitError(f"entry {self}: {problem}")

    def _check_places(self) -> None:
        if not self.addresses:
            raise self._refuse("no address kind")
        for kind in self.addresses:
            if kind not in PLACES:
                raise self._refuse(f"{kind.__name__} is no address a pattern can be for")
        for place in self.places:
            if place.follows_address:
                continue
            if self.alone or self.other_than or self.beside:
                raise self._refuse("alone, beside and other_than are for patterns behind an address")
            mask, value = _FIRST[place]
            if self.parsed.masks[0] & mask != mask or self.parsed.values[0] & mask != value:
                raise self._refuse(f"the first byte is not that of a packet of the place {place.value!r}")
            if len(self.parsed) <= place.key:
                raise self._refuse(f"a pattern for the place {place.value!r} needs {place.key + 1} bytes")

    def _check_reserved(self) -> None:
        if self.fields or self.constants or (self.tail and self.tail != Tail("data", 0)):
            raise self._refuse('a reserved row has no fields: give its length by the pattern, or tail=Tail("data", 0)')

    def _check_letters(self) -> None:
        """Each bit that is not fixed belongs to exactly one field."""
        taken = bytearray(self.parsed.masks)
        for layout in (*self.layouts.values(), *self.address_layouts.values()):
            for run in layout.runs:
                bits = ((1 << run.width) - 1) << run.shift
                if taken[run.byte] & bits:
                    raise self._refuse(f"byte {run.byte}: bits belong to two fields")
                taken[run.byte] |= bits
        for index, byte in enumerate(taken):
            if byte != 0xFF:
                raise self._refuse(f"byte {index}: bits {byte ^ 0xFF:08b} belong to no field")

    def _check_fields(self) -> None:
        if not isinstance(self.builds.__dict__.get("__slots__"), tuple):
            raise self._refuse(f"{self.builds.__name__} is no slotted attrs class")
        given = [*self.fields, *self.constants, *([self.tail.field] if self.tail else ())]
        wanted = {field.name: field for field in own_fields(self.builds)}
        if sorted(given) != sorted(wanted):
            raise self._refuse(f"gives the fields {sorted(given)}, the class has {sorted(wanted)}")
        for name, field in wanted.items():
            self._check_range(name, field)

    def _check_range(self, name: str, field: attrs.Attribute[Any]) -> None:
        """The class takes each value that the pattern can hold."""
        if self.tail and name == self.tail.field:
            if field.metadata.get("octets") != (self.tail.low, self.tail.high):
                raise self._refuse(f"{name} must be declared as octets({self.tail.low}, {self.tail.high})")
        elif "range" not in field.metadata:
            raise self._refuse(f"{name} must be declared with integer(), choice() or flag()")
        else:
            low, high = field.metadata["range"]
            layout = self.layouts.get(name)
            least, most = (layout.low, layout.high) if layout else (self.constants[name],) * 2
            if not low <= least <= most <= high:
                raise self._refuse(f"{name} can be {least} to {most}, the class takes {low} to {high}")

    def _check_address(self) -> None:
        kind = self.addresses[0]
        if not self.address:
            if PLACES[kind] is Place.ACCESSORY and any(f.default is attrs.NOTHING for f in attrs.fields(kind)):
                raise self._refuse(f"does not say where the {kind.kind} address stands")
            return
        if len(self.addresses) > 1 or PLACES[kind] is not Place.ACCESSORY:
            raise self._refuse("only a single kind of accessory address shares bytes with an instruction")
        known = {field.name: field for field in attrs.fields(kind)}
        for name in self.address:
            if name not in known:
                raise self._refuse(f"the {kind.kind} address has no field {name}")
        for name, field in known.items():
            if name not in self.address and field.default is attrs.NOTHING:
                raise self._refuse(f"does not say where {name} of the {kind.kind} address stands")


def _letters(letters: FieldLetters) -> Letters:
    return Letters(letters) if isinstance(letters, str) else letters
