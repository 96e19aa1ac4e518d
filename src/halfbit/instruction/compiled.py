"""Decoding by rows of the registry: which rows to try, whether one matches, and the instruction it gives."""

from __future__ import annotations

from itertools import combinations

from ..error import HalfbitError
from .address import Address
from .base import Instruction
from .entry import Entry, Place, values_of


def end_of(entry: Entry, address: Address, body: bytes, at: int) -> int:
    """The index after this entry's instruction, if it starts at ``at``; 0 if the bytes do not match."""
    (least, most), left = entry.lengths, len(body) - at
    if left < least or not all(
        byte & mask == value for byte, mask, value in zip(body[at:], entry.parsed.masks, entry.parsed.values)
    ):
        return 0
    if entry.numbers and not has_number(address, entry.numbers):
        return 0
    if entry.tail and most is not None and left > most:
        return 0
    end = len(body) if entry.tail else at + least
    return end if entry.checksum is None or entry.checksum(body[: end - 1]) == body[end - 1] else 0


def read(entry: Entry, address: Address, body: bytes, at: int, end: int, start: int) -> Instruction | None:
    """The instruction in ``body[at:end]``; ``None`` if its class refuses the values.

    :param start: index of its first byte that is not part of the address.
    """
    raw = body[start:end]
    rest = raw if entry.reserved else body[at + len(entry.parsed) : end - (entry.checksum is not None)]
    values = values_of(entry, lambda layout: layout.take(body, at), rest)
    try:
        return entry.builds(address, **values, raw=raw)
    except HalfbitError:
        return None


def address_of(entry: Entry, otherwise: Address, body: bytes) -> Address:
    """The address of a whole packet: read from ``body`` if the entry has address fields, else ``otherwise``."""
    kind = entry.addresses[0]
    if not entry.address_layouts:
        return otherwise if isinstance(otherwise, kind) else kind()
    return kind(**{name: layout.take(body) for name, layout in entry.address_layouts.items()})


def has_number(address: Address, numbers: tuple[int, int]) -> bool:
    """True if the address has a number and it is within the bounds, both included."""
    return numbers[0] <= getattr(address, "number", -1) <= numbers[1]


Tables = dict[Place, list[list[Entry]]]


def compiled(entries: tuple[Entry, ...]) -> Tables:
    """For each place and each value of its key byte, the entries to try, in order.

    :raises HalfbitError: if two entries can match the same bytes in the same place, and neither says it goes first.
    """
    tables: Tables = {place: [[] for _ in range(256)] for place in Place}
    for place, table in tables.items():
        here = [entry for entry in entries if place in entry.places]
        for one, other in combinations(here, 2):
            _check_apart(one, other, place)
        # A special case lists every class it narrows. Try the entries with the most such classes first.
        for entry in sorted(here, key=lambda entry: (entry.reserved, -len(entry.special_of))):
            for byte in entry.parsed.bytes_at(place.key):
                if byte not in entry.left_out:
                    table[byte].append(entry)
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
        "leave out the other's class with Registry.without() before you add yours, "
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
