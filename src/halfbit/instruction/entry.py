"""One row of the registry: the pattern of an instruction, its addresses, its class and its source."""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterator, Mapping
from operator import attrgetter
from typing import Any, Union

import attrs

from ..error import HalfbitError
from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, ExtendedAccessoryAddress, ExtendedAccessoryBroadcast,
    IdleAddress, LongAddress, NoAddress, ReservedAddress, ShortAddress,
)  # fmt: skip
from .base import Instruction, own_fields
from .field import accepted, instance, integer, tuple_of
from .pattern import FieldLayout, Letters, Pattern
from .special import Reserved

#: Instruction classes, by their first three bits, that may occur only once in a packet: decoder and consist control,
#: advanced operations, CV access (S-9.2.1 C, in the part on each class).
ONE_PER_PACKET = (0b000, 0b001, 0b111)


class Place(enum.Enum):
    """The place of a pattern. Only patterns in the same place can match the same bytes.

    For multi-function decoders a pattern starts after the address. In all other places it is the whole packet without
    the error detection byte.
    """

    BROADCAST = "behind the broadcast address"  #: After 00000000 (S-9.2.1 A).
    SHORT = "behind a short address"  #: After 0AAAAAAA, 1 to 127 (S-9.2.1 A).
    LONG = "behind a long address"  #: After 11AAAAAA AAAAAAAA, first byte 192 to 231 (S-9.2.1 A).
    ACCESSORY = "accessory packet"  #: First byte 10AAAAAA (S-9.2.1 A).
    RESERVED = "reserved address"  #: First byte 232 to 254 (S-9.2.1 A).
    IDLE = "idle address"  #: First byte 11111111 (S-9.2.1 A).
    SERVICE = "service mode"  #: No address: first byte 0111xxxx in service mode (S-9.2.3 E).

    @property
    def follows_address(self) -> bool:
        """True if patterns start after the address."""
        return self in (Place.BROADCAST, Place.SHORT, Place.LONG)

    @property
    def many(self) -> bool:
        """True if a packet may hold several instructions (S-9.2.1 C). A broadcast holds one (S-9.2.1 B)."""
        return self in (Place.SHORT, Place.LONG)

    @property
    def key(self) -> int:
        """Index of the byte that decoding uses to look up instructions: the byte with the most information."""
        return 1 if self in (Place.ACCESSORY, Place.IDLE) else 0


PLACES: Mapping[type[Address], Place] = {
    Broadcast: Place.BROADCAST, ShortAddress: Place.SHORT, LongAddress: Place.LONG,
    AccessoryAddress: Place.ACCESSORY, AccessoryBroadcast: Place.ACCESSORY,
    ExtendedAccessoryAddress: Place.ACCESSORY, ExtendedAccessoryBroadcast: Place.ACCESSORY,
    ReservedAddress: Place.RESERVED, IdleAddress: Place.IDLE, NoAddress: Place.SERVICE,
}  # fmt: skip

#: Fixed bits of the first byte of a whole-packet pattern: mask and value (S-9.2.1 A, S-9.2.3 E).
FIRST: Mapping[Place, tuple[int, int]] = {
    Place.ACCESSORY: (0xC0, 0x80), Place.RESERVED: (0xE0, 0xE0), Place.IDLE: (0xFF, 0xFF), Place.SERVICE: (0xF0, 0x70),
}  # fmt: skip


@attrs.frozen(slots=True)
class Tail:
    """Bytes after the pattern, without fixed bits, up to the end of the packet.

    :raises HalfbitError: for numbers that are not integers from 0 to 255.
    """

    field: str = instance(str, "the name of a field")  #: The field of the class that holds them.
    low: int = integer(0, 255)  #: Fewest bytes.
    high: int | None = integer(0, 255, optional=True)  #: Most bytes; ``None`` for no limit.


_NO_TAIL = Tail("", 0, 0)


def _classes(base: type, words: str = "a tuple of instruction classes", **more: Any) -> Any:
    return accepted(tuple_of(lambda one: isinstance(one, type) and issubclass(one, base)), words, **more)


def _mapping(values: tuple[type, ...], words: str, **more: Any) -> Any:
    def accepts(value: object) -> bool:
        pairs = value.items() if isinstance(value, Mapping) else [(None, None)]
        return all(isinstance(key, str) and isinstance(one, values) for key, one in pairs)

    return accepted(accepts, words, factory=dict, **more)


def _is_instruction(value: object) -> bool:
    return isinstance(value, type) and issubclass(value, Instruction) and value is not Instruction


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


_are_bytes = tuple_of(lambda one: isinstance(one, str) and len(one) == 8)
_are_integers = tuple_of(lambda one: type(one) is int)


def _is_range(value: Any) -> bool:
    return value is None or _are_integers(value) and len(value) == 2 and value[0] <= value[1]


FieldLetters = Union[str, Letters]  #: How an entry declares a field: letters, or :class:`Letters` with a conversion.


@attrs.frozen(slots=True)
class Entry:
    """An instruction's pattern, the addresses it is for, the class it builds and the source.

    :raises HalfbitError: if the pattern is not valid, does not belong to the addresses, or does not
        supply each field of the class exactly once and within its range.
    """

    pattern: str = instance(str, 'a pattern, e.g. "00111111 DSSSSSSS"')
    #: The kinds of address that it is for.
    addresses: tuple[type[Address], ...] = _classes(Address, "a tuple of kinds of address, e.g. (ShortAddress,)")
    builds: type[Instruction] = accepted(_is_instruction, "a class derived from Instruction")
    #: The source: document and section, or "from memory".
    source: str = accepted(_is_text, "a document and section, or where it is from")
    #: For each field of the class, its letters in the pattern.
    fields: Mapping[str, FieldLetters] = _mapping((str, Letters), 'a mapping of field to letters, e.g. {"value": "D"}')
    #: For each field of the address, its letters. For addresses that share bytes with the instruction.
    address: Mapping[str, FieldLetters] = _mapping((str, Letters), "a mapping of field to letters", kw_only=True)
    #: Fields of the class with the same value in every packet of this pattern.
    constants: Mapping[str, int] = _mapping((int,), "a mapping of field to integer", kw_only=True)
    tail: Tail | None = instance(Tail, "a Tail or None", default=None, kw_only=True)
    #: The classes of which this is a special case. Its pattern must be narrower than theirs, and is tried first.
    special_of: tuple[type[Instruction], ...] = _classes(Instruction, default=(), kw_only=True)
    #: The classes of other rows that can match the same bytes. Decoding then gives both readings, as
    #: :class:`Ambiguous`. Only with ``alone``.
    beside: tuple[type[Instruction], ...] = _classes(Instruction, default=(), kw_only=True)
    #: Patterns of first bytes (after an address) that it does not match.
    other_than: tuple[str, ...] = accepted(_are_bytes, "a tuple of patterns of one byte", default=(), kw_only=True)
    #: True if it must be the only instruction after the address. It then matches only packets of the right length.
    alone: bool = instance(bool, "False or True", default=False, kw_only=True)
    #: Lowest and highest address number that it is for; ``None`` for all addresses of the kind.
    numbers: tuple[int, int] | None = accepted(
        _is_range, "the lowest and the highest number, or None", default=None, kw_only=True
    )
    #: A function that makes a checksum byte from all earlier bytes of the packet, e.g. :func:`crc8`. The byte follows
    #: pattern and tail. The row matches only packets with the right checksum. Only for rows that end the packet: whole
    #: packets, and rows with ``alone``.
    checksum: Callable[[bytes], int] | None = accepted(
        lambda value: value is None or callable(value), "a function or None", default=None, kw_only=True
    )
    #: True if a packet may also hold another instruction of its class (see :attr:`packet_class`).
    shares: bool = instance(bool, "False or True", default=False, kw_only=True)
    #: The name in listings; if left out, the name of the class.
    title: str = instance(str, "a name", default="", kw_only=True)

    parsed: Pattern = attrs.field(init=False, eq=False, repr=False)  #: The parsed pattern (made from ``pattern``).
    #: For each field of the class, the place of its bits (made from ``fields``).
    layouts: Mapping[str, FieldLayout] = attrs.field(init=False, eq=False, repr=False)
    #: For each field of the address, the place of its bits (made from ``address``).
    address_layouts: Mapping[str, FieldLayout] = attrs.field(init=False, eq=False, repr=False)
    #: The first bytes that it does not match (made from ``other_than``).
    left_out: frozenset[int] = attrs.field(init=False, eq=False, repr=False)

    def __attrs_post_init__(self) -> None:
        put = object.__setattr__  # a frozen class can set its own fields only in this way
        put(self, "parsed", Pattern.parse(self.pattern))
        put(self, "layouts", _layouts(self.parsed, self.fields))
        put(self, "address_layouts", _layouts(self.parsed, self.address))
        put(self, "left_out", frozenset(byte for text in self.other_than for byte in Pattern.parse(text).bytes_at(0)))
        problem = next(_problems(self), None)
        if problem is not None:
            raise HalfbitError(f"entry {self}: {problem}")

    @property
    def name(self) -> str:
        """The standards' name of the instruction."""
        return self.title or self.builds.name

    @property
    def places(self) -> tuple[Place, ...]:
        """The places where the pattern may occur."""
        return tuple(dict.fromkeys(PLACES[kind] for kind in self.addresses))

    @property
    def reserved(self) -> bool:
        """True if the row only says that the standards reserve these bytes.

        Such a row matches only bytes that no instruction matches.
        """
        return issubclass(self.builds, Reserved)

    @property
    def packet_class(self) -> int | None:
        """The instruction class, as its first three bits, if a packet may hold only one of it; else ``None``."""
        fixed = self.parsed.masks[0] & 0xE0 == 0xE0
        bits = self.parsed.values[0] >> 5
        return bits if fixed and bits in ONE_PER_PACKET and not self.shares else None

    @property
    def lengths(self) -> tuple[int, int | None]:
        """Fewest and most bytes: pattern, tail and checksum; most is ``None`` for no limit."""
        size, tail = len(self.parsed) + (self.checksum is not None), self.tail or _NO_TAIL
        return size + tail.low, None if tail.high is None else size + tail.high

    @property
    def text(self) -> str:
        """The pattern, then in words: first bytes left out, tail, checksum, and "alone"."""
        words = self.pattern
        if self.other_than:
            words += f" other than {', '.join(self.other_than)}"
        if self.tail is not None:
            most = " or more" if self.tail.high is None else f" to {self.tail.high}"
            words += f" and {self.tail.low}{most} bytes"
        if self.checksum is not None:
            words += " and a checksum"
        return words + (", alone" if self.alone else "")

    def __str__(self) -> str:
        return f"{self.name} ({self.pattern})"


def values_of(entry: Entry, number: Callable[[FieldLayout], int], rest: bytes) -> dict[str, Any]:
    """The values of an instruction's fields.

    :param number: gives the number in a field's bits.
    :param rest: the bytes after the pattern.
    """
    values: dict[str, Any] = {**entry.constants, **{name: number(layout) for name, layout in entry.layouts.items()}}
    for field in own_fields(entry.builds):
        if "octets" in field.metadata:
            values[field.name] = rest
        elif field.metadata["bool"]:
            values[field.name] = values[field.name] == 1
    return values


def _problems(entry: Entry) -> Iterator[str]:
    """What is wrong with an entry, most basic first."""
    yield from _place_problems(entry)
    if entry.numbers is not None:
        yield from _number_problems(entry, *entry.numbers)
    if not entry.reserved:
        yield from _bit_problems(entry)
        yield from _field_problems(entry)
    elif (
        [field.name for field in own_fields(entry.builds)] != ["data"] or entry.fields or entry.constants
        or entry.tail not in (None, Tail("data", 0))
    ):  # fmt: skip
        yield 'a reserved row has no fields: give its length by the pattern, or tail=Tail("data", 0)'
    yield from _address_problems(entry)


def _place_problems(entry: Entry) -> Iterator[str]:
    if not entry.addresses:
        yield "no address kind"
    yield from (f"{kind.__name__} is no address a pattern can be for" for kind in entry.addresses if kind not in PLACES)
    if entry.beside and not entry.alone:
        yield "beside is for rows that stand alone: give alone=True as well"
    for place in entry.places:
        if place.follows_address:
            if entry.checksum is not None and not entry.alone:
                yield "a checksum ends the packet: give alone=True as well"
            continue
        if entry.alone or entry.other_than:
            yield "alone, beside and other_than are for patterns behind an address"
        mask, value = FIRST[place]
        if entry.parsed.masks[0] & mask != mask or entry.parsed.values[0] & mask != value:
            yield f"the first byte is not that of a packet of the place {place.value!r}"
        if len(entry.parsed) <= place.key:
            yield f"a pattern for the place {place.value!r} needs {place.key + 1} bytes"


def _number_problems(entry: Entry, first: int, last: int) -> Iterator[str]:
    for kind in entry.addresses:
        ranges = [field.metadata["range"] for field in attrs.fields(kind) if field.name == "number"]
        if not any(first <= high and low <= last for low, high in ranges):
            yield f"no {kind.kind} address has a number from {first} to {last}"


def _bit_problems(entry: Entry) -> Iterator[str]:
    """Each bit that is not fixed must belong to exactly one field."""
    taken = bytearray(entry.parsed.masks)
    for layout in (*entry.layouts.values(), *entry.address_layouts.values()):
        for run in layout.runs:
            bits = ((1 << run.width) - 1) << run.shift
            if taken[run.byte] & bits:
                yield f"byte {run.byte}: bits belong to two fields"
            taken[run.byte] |= bits
    for index, byte in enumerate(taken):
        if byte != 0xFF:
            yield f"byte {index}: bits {byte ^ 0xFF:08b} belong to no field"


def _field_problems(entry: Entry) -> Iterator[str]:
    """The class must accept each value that the pattern can hold. It is tried with the lowest and the highest."""
    build: Any = entry.builds
    if not isinstance(vars(build).get("__slots__"), tuple):
        yield f"{build.__name__} is no slotted attrs class"
    given = [*entry.fields, *entry.constants, *([entry.tail.field] if entry.tail else ())]
    wanted = own_fields(build)
    if sorted(given) != sorted(field.name for field in wanted):
        yield f"gives the fields {sorted(given)}, the class has {sorted(field.name for field in wanted)}"
    for field in wanted:
        yield from _range_problems(entry, field.name, field.metadata)
    if not _is_text(build.name) or build.name == Instruction.name:
        yield f'{build.__name__} has no name of its own: give it name: ClassVar[str] = "..."'
    for bound in ("low", "high"):
        values = values_of(entry, attrgetter(bound), bytes(entry.tail.low if entry.tail else 0))
        try:
            build(IdleAddress(), **values)
        except Exception as error:
            yield f"{build.__name__} does not take what the pattern can hold, {values}: {error}"


def _range_problems(entry: Entry, name: str, declared: Mapping[str, Any]) -> Iterator[str]:
    if entry.tail and name == entry.tail.field:
        if declared.get("octets") != (entry.tail.low, entry.tail.high):
            yield f"{name} must be declared as octets({entry.tail.low}, {entry.tail.high})"
    elif "choices" in declared and name not in entry.constants:
        yield f"{name} is one of a few integers: give it in constants, or declare it with integer()"
    elif "range" not in declared:
        yield f"{name} must be declared with integer(), choice() or flag()"
    else:
        low, high = declared["range"]
        layout = entry.layouts.get(name)
        least, most = (layout.low, layout.high) if layout else (entry.constants[name],) * 2
        if not low <= least <= most <= high:
            yield f"{name} can be {least} to {most}, the class takes {low} to {high}"


def _address_problems(entry: Entry) -> Iterator[str]:
    kind, shares_bytes = entry.addresses[0], PLACES[entry.addresses[0]] is Place.ACCESSORY
    if entry.address and (len(entry.addresses) > 1 or not shares_bytes):
        yield "only a single kind of accessory address shares bytes with an instruction"
    needed = {field.name: field.default is attrs.NOTHING for field in attrs.fields(kind)}
    yield from (f"the {kind.kind} address has no field {name}" for name in entry.address if name not in needed)
    missing = [name for name, is_needed in needed.items() if is_needed and name not in entry.address]
    if missing and shares_bytes:
        part = f"{missing[0]} of the {kind.kind} address stands" if entry.address else f"the {kind.kind} address stands"
        yield f"does not say where {part}"


def _layouts(pattern: Pattern, fields: Mapping[str, FieldLetters]) -> dict[str, FieldLayout]:
    letters = {name: Letters(each) if isinstance(each, str) else each for name, each in fields.items()}
    return {name: pattern.field(each) for name, each in letters.items()}
