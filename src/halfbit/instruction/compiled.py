"""Lookup tables for decoding: for each place and each value of the key byte, the registry rows to try."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import combinations
from typing import Any

import attrs

from ..error import HalfbitError
from .address import Address
from .base import NOTHING_KNOWN, Instruction, own_fields, setters
from .entry import Entry
from .field import has_only_own_check
from .place import Place

__all__ = ["Row", "Table", "compiled"]

_PUT_ADDRESS, _PUT_RAW, _PUT_PACKET, _PUT_CONTEXT = setters(Instruction).values()


class Row:
    """An entry with its checks and fields as plain tuples, for speed."""

    __slots__ = (
        "checked", "checks", "checksum", "ends", "entry", "fields", "kind", "least", "most", "numbers", "once",
        "reserved", "size",
    )  # fmt: skip

    def __init__(self, entry: Entry) -> None:
        self.entry: Entry = entry
        self.kind: type[Instruction] = entry.builds
        pattern = entry.parsed
        fixed = zip(pattern.masks, pattern.values)
        self.checks: tuple[tuple[int, int, int], ...] = tuple(
            (index, mask, value) for index, (mask, value) in enumerate(fixed) if mask
        )
        self.least: int = entry.lengths[0]
        self.most: int | None = entry.lengths[1]
        self.checksum: Callable[[bytes], int] | None = entry.checksum
        self.ends: bool = entry.tail is not None
        self.numbers: tuple[int, int] | None = entry.numbers
        self.once: int | None = entry.packet_class
        self.reserved: bool = entry.reserved
        self.size: int = len(pattern)
        puts, own = setters(entry.builds), own_fields(entry.builds)
        #: For each field of the class: the functions that set and read it, its constant, and True if it is a ``bool``.
        #: Of function and constant at most one is set. If both are ``None``, the field is the tail.
        self.fields: list[tuple[Callable[..., None], Callable[[bytes, int], int] | None, Any, bool]] = []
        for field in own:
            is_flag = bool(field.metadata.get("bool"))
            constant, layout = entry.constants.get(field.name), entry.layouts.get(field.name)
            value = constant == 1 if is_flag and constant is not None else constant
            self.fields.append((puts[field.name], None if layout is None else layout.take, value, is_flag))
        #: True if the class has more checks than the ranges of its fields. :class:`Entry` has checked that these ranges
        #: hold every value of the pattern.
        self.checked: bool = hasattr(self.kind, "__attrs_post_init__") or not all(map(has_only_own_check, own))

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
        new = object.__new__(self.kind)
        _PUT_ADDRESS(new, address)
        _PUT_RAW(new, raw)
        _PUT_PACKET(new, None)
        _PUT_CONTEXT(new, NOTHING_KNOWN)
        for put, take, constant, is_flag in self.fields:
            if take is not None:
                value = take(body, at)
                put(new, value == 1 if is_flag else value)
            elif constant is not None:
                put(new, constant)
            else:
                put(new, raw if self.reserved else body[at + self.size : end if self.checksum is None else end - 1])
        if not self.checked:
            return new
        try:
            return attrs.evolve(new)  # the same by the constructor
        except HalfbitError:
            return None

    def address(self, otherwise: Address, body: bytes) -> Address:
        """The address of a whole packet: read from ``body`` if the row has address fields, else ``otherwise``."""
        kind = self.entry.addresses[0]
        if not self.entry.address_layouts:
            return otherwise if isinstance(otherwise, kind) else kind()
        fields: Any = {name: layout.take(body) for name, layout in self.entry.address_layouts.items()}
        return kind(**fields)


def has_number(address: Address, numbers: tuple[int, int]) -> bool:
    """True if the address has a number and it is within the bounds, both included."""
    return numbers[0] <= getattr(address, "number", -1) <= numbers[1]


class Table:
    """The rows of one place by the value of the key byte.

    ``rows`` has the instructions that may share a packet, ``alone`` those that fill the packet alone.
    """

    __slots__ = ("alone", "many", "rows")

    def __init__(self, entries: Iterable[Entry], place: Place) -> None:
        self.many: bool = place.many
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
