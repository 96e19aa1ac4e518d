"""Lookup tables for decoding: for each place and each value of the key byte, the registry rows to try."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations
from typing import Any

from ..error import HalfbitError
from ..packet import Packet
from .address import Address
from .base import NOTHING_KNOWN, Filler, Instruction, PacketContext, filler, own_fields
from .entry import Entry
from .field import has_only_own_check
from .pattern import FieldLayout
from .place import Place

__all__ = ["Row", "Table", "compiled"]


class Row:
    """An entry with its checks and fields as plain tuples, for speed."""

    __slots__ = (
        "checks", "checksum", "ends", "entry", "fields", "fill", "least", "most", "numbers", "once", "reserved", "size",
    )  # fmt: skip

    def __init__(self, entry: Entry) -> None:
        self.entry = entry
        pattern = entry.parsed
        fixed = zip(pattern.masks, pattern.values)
        self.checks = tuple((index, mask, value) for index, (mask, value) in enumerate(fixed) if mask)
        self.least, self.most = entry.lengths
        self.checksum = entry.checksum
        self.ends = entry.tail is not None
        self.numbers = entry.numbers
        self.once, self.reserved, self.size = entry.packet_class, entry.reserved, len(pattern)
        #: For each field of the class: its layout, its constant, and True if it is a ``bool``. Of layout and constant
        #: at most one is set. If both are ``None``, the field is the tail.
        self.fields: list[tuple[FieldLayout | None, Any, bool]] = []
        for field in () if self.reserved else own_fields(entry.builds):
            is_flag = bool(field.metadata.get("bool"))
            constant = entry.constants.get(field.name)
            value = constant == 1 if is_flag and constant is not None else constant
            self.fields.append((entry.layouts.get(field.name), value, is_flag))
        self.fill = _maker(entry.builds)

    def end(self, address: Address, body: bytes, at: int) -> int:
        """The index after this instruction, if it starts at ``at``; 0 if the bytes do not match this row."""
        left = len(body) - at
        if left < self.least:
            return 0
        for index, mask, value in self.checks:
            if body[at + index] & mask != value:
                return 0
        if self.numbers and not has_number(address, self.numbers):
            return 0
        if self.ends:
            if self.most is not None and left > self.most:
                return 0
            end = at + left
        else:
            end = at + self.least
        return end if self.checksum is None or self.checksum(body[: end - 1]) == body[end - 1] else 0

    def read(self, address: Address, body: bytes, at: int, end: int, start: int) -> Instruction | None:
        """The instruction in ``body[at:end]``; ``None`` if its class refuses the values.

        :param start: index of its first byte that is not part of the address.
        """
        raw = body[start:end]
        if self.reserved:
            return self.fill([address, raw, raw], None, NOTHING_KNOWN)
        values: list[Any] = [address, raw]
        last = end if self.checksum is None else end - 1
        for layout, constant, is_flag in self.fields:
            if layout is not None:
                value = layout.take(body, at)
                values.append(value == 1 if is_flag else value)
            else:
                values.append(body[at + self.size : last] if constant is None else constant)
        try:
            return self.fill(values, None, NOTHING_KNOWN)
        except HalfbitError:
            return None

    def address(self, otherwise: Address, body: bytes) -> Address:
        """The address of a whole packet: read from ``body`` if the row has address fields, else ``otherwise``."""
        kind = self.entry.addresses[0]
        if not self.entry.address_layouts:
            return otherwise if isinstance(otherwise, kind) else kind()
        fields: Any = {name: layout.take(body) for name, layout in self.entry.address_layouts.items()}
        return kind(**fields)


def _maker(kind: type[Instruction]) -> Filler:
    """A function that makes an instruction of a class from the values of its fields.

    :class:`Entry` has checked that the class accepts every value of the pattern. So values are checked again only if
    the class has more checks than the ranges of its fields.
    """
    own = own_fields(kind)
    if not hasattr(kind, "__attrs_post_init__") and all(map(has_only_own_check, own)):
        return filler(kind)
    names = [field.name for field in own]

    def make(values: list[Any], packet: Packet | None, packet_context: PacketContext) -> Instruction:
        fields: Any = dict(zip(names, values[2:]))
        return kind(values[0], raw=values[1], packet=packet, packet_context=packet_context, **fields)

    return make


def has_number(address: Address, numbers: tuple[int, int]) -> bool:
    """True if the address has a number and it is within the bounds, both included."""
    return numbers[0] <= getattr(address, "number", -1) <= numbers[1]


class Table:
    """The rows of one place by the value of the key byte.

    ``rows`` has the instructions that may share a packet, ``alone`` those that fill the packet alone.
    """

    __slots__ = ("alone", "many", "rows")

    def __init__(self, entries: Iterable[Entry], place: Place) -> None:
        self.many = place.many
        self.rows: list[list[Row]] = [[] for _ in range(256)]
        self.alone: list[list[Row]] = [[] for _ in range(256)]
        # A special case lists every class it narrows. Try the rows with the most such classes first.
        for entry in sorted(entries, key=lambda entry: (entry.reserved, -len(entry.special_of))):
            row = Row(entry)
            for byte in entry.parsed.bytes_at(place.key):
                if byte not in entry.left_out:
                    (self.alone if entry.alone else self.rows)[byte].append(row)


def compiled(entries: tuple[Entry, ...]) -> dict[Place, Table]:
    """The tables of all places, by place.

    :raises HalfbitError: if two entries can match the same bytes in the same place, and neither says it goes first.
    """
    tables = {}
    for place in Place:
        here = [entry for entry in entries if place in entry.places]
        for one, other in combinations(here, 2):
            _check_apart(one, other, place)
        tables[place] = Table(here, place)
    return tables


def _check_apart(one: Entry, other: Entry, place: Place) -> None:
    """Refuse two entries that could match the same bytes, unless one says that it goes first."""
    if one.reserved != other.reserved or not one.parsed.agrees(other.parsed) or _apart(one, other, place):
        return
    for special, general in ((one, other), (other, one)):
        if general.builds in special.special_of and special.parsed.narrows(general.parsed):
            return
        if special.alone and not general.alone and general.builds in special.beside:
            return
    raise HalfbitError(
        f"entries overlap {place.value}: {one} and {other}. Give the narrower one special_of=(the other's class,), "
        "leave one out with Registry.without(), exchange it with Registry.replaced(), "
        "or make the patterns differ in a fixed bit"
    )


def _apart(one: Entry, other: Entry, place: Place) -> bool:
    """True if the two entries differ in length or first byte, so that no packet can match both."""
    (low, high), (least, most) = one.lengths, other.lengths
    whole = not place.follows_address
    if (whole or one.alone) and high is not None and least > high:
        return True
    if (whole or other.alone) and most is not None and low > most:
        return True
    first = set(one.parsed.bytes_at(0)) - one.left_out
    return first.isdisjoint(set(other.parsed.bytes_at(0)) - other.left_out)
