"""The registry: entries compiled to a table, and both directions made from it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import combinations
from typing import Any

import attrs

from ..error import HalfbitError
from ..event import exclusive_or
from ..simulate.signal import with_error_byte
from .address import (
    Address,
    Broadcast,
    IdleAddress,
    LongAddress,
    NoAddress,
    ReservedAddress,
    ShortAddress,
    UnresolvedAddress,
)
from .base import Instruction
from .entry import PLACES, Entry, Place
from .special import Ambiguous, Reserved, Unknown

__all__ = ["Registry"]

_SHORT = (None, *(ShortAddress(number) for number in range(1, 128)))


class _Row:
    """An entry made ready for reading: its checks and fields as plain tuples."""

    __slots__ = ("checks", "entry", "fields", "flags", "least", "most", "numbers", "once", "reserved", "size", "tail")

    def __init__(self, entry: Entry) -> None:
        self.entry = entry
        pattern = entry.parsed
        self.checks = tuple(
            (index, mask, value)
            for index, (mask, value) in enumerate(zip(pattern.masks, pattern.values))
            if mask
        )
        self.least, self.most = entry.lengths
        self.numbers = entry.numbers
        self.once, self.reserved, self.size = entry.once, entry.reserved, len(pattern)
        ranges = {field.name: field.metadata for field in attrs.fields(entry.builds)}
        self.fields = tuple(
            (name, layout, bool(ranges[name].get("bool"))) for name, layout in entry.layouts.items()
        )
        self.flags = {
            name: bool(value) if ranges[name].get("bool") else value
            for name, value in entry.constants.items()
        }
        self.tail = entry.tail.field if entry.tail else None

    def end(self, body: bytes, at: int) -> int:
        """Where the instruction that starts at ``at`` ends; 0 where it is not this one."""
        left = len(body) - at
        if left < self.least:
            return 0
        for index, mask, value in self.checks:
            if body[at + index] & mask != value:
                return 0
        return at + (left if self.most is None else min(left, self.most))

    def read(self, address: Address, body: bytes, at: int, end: int) -> Instruction | None:
        """The instruction in ``body[at:end]``, or ``None`` where its class refuses the values."""
        builds = self.entry.builds
        try:
            if self.reserved:
                return Reserved(address, body[at:end])
            values: dict[str, Any] = dict(self.flags)
            for name, layout, is_flag in self.fields:
                value = layout.take(body, at)
                values[name] = value == 1 if is_flag else value
            if self.tail is not None:
                values[self.tail] = body[at + self.size : end]
            return builds(address, **values)
        except HalfbitError:
            return None


class Registry:
    """Instructions by their patterns: bytes to instructions and back.

    :param entries: the rows. Where two could match the same bytes in the same place one must be
        declared a special case of the other, or be reserved.
    :raises HalfbitError: where two entries overlap undeclared, with both named.
    """

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._entries = tuple(entries)
        self._by_class: dict[type[Instruction], list[Entry]] = {}
        for entry in self._entries:
            self._by_class.setdefault(entry.builds, []).append(entry)
        self._tables = {place: self._compiled(place) for place in Place}

    def entries(self) -> tuple[Entry, ...]:
        """All rows, in the order given."""
        return self._entries

    def extended(self, *entries: Entry) -> Registry:
        """A new registry with more rows; this one stays as it is.

        :raises HalfbitError: where a row overlaps another undeclared.
        """
        return Registry((*self._entries, *entries))

    # Bytes to instructions

    def decode(self, data: bytes) -> tuple[Instruction, ...]:
        """The instructions of a whole packet in operations mode; at least one, and no bytes are lost.

        :param data: all bytes, error detection byte included. Where that does not agree the whole
            is :class:`Unknown`.
        """
        if exclusive_or(data):
            return (Unknown(NoAddress(), data),)
        body = data[:-1]
        if not body:
            return (Unknown(NoAddress(), b""),)
        first = body[0]
        if first == 0:
            return self._follow(Place.BROADCAST, Broadcast(), body, 1)
        if first < 128:
            address = _SHORT[first]
            assert address is not None
            return self._follow(Place.SHORT, address, body, 1)
        if first < 192:
            return self._whole(Place.ACCESSORY, UnresolvedAddress(first), body)
        if first < 232:
            if len(body) < 2:
                return (Unknown(UnresolvedAddress(first), b""),)
            return self._follow(Place.LONG, LongAddress((first & 0x3F) << 8 | body[1]), body, 2)
        if first < 255:
            return self._whole(Place.RESERVED, ReservedAddress(first), body)
        return self._whole(Place.IDLE, IdleAddress(), body)

    def decode_service(self, data: bytes) -> tuple[Instruction, ...]:
        """The instruction of a whole packet in service mode (S-9.2.3).

        :param data: all bytes, error detection byte included, in the form of service mode.
        """
        if exclusive_or(data):
            return (Unknown(NoAddress(), data),)
        return self._whole(Place.SERVICE, NoAddress(), data[:-1])

    def _follow(
        self, place: Place, address: Address, body: bytes, at: int
    ) -> tuple[Instruction, ...]:
        """Instructions behind one address, one after the other (S-9.2.1 B)."""
        table = self._tables[place]
        found: list[Instruction] = []
        once = False
        while at < len(body):
            for row in table[body[at]]:
                end = row.end(body, at)
                if not end or (once and row.once):
                    continue
                if row.numbers and not _numbered(address, row.numbers):
                    continue
                instruction = row.read(address, body, at, end)
                if instruction is not None:
                    break
            else:
                found.append(Unknown(address, body[at:]))
                return tuple(found)
            once = once or row.once
            found.append(instruction)
            at = end
        return tuple(found) if found else (Unknown(address, b""),)

    def _whole(self, place: Place, otherwise: Address, body: bytes) -> tuple[Instruction, ...]:
        """The instruction whose pattern is all of the packet; ``otherwise`` is the address if none is."""
        if len(body) > place.key:
            for row in self._tables[place][body[place.key]]:
                if row.end(body, 0) != len(body):
                    continue
                if row.reserved:
                    return (Reserved(otherwise, body[len(otherwise.to_bytes()) :]),)
                address = self._address(row.entry, otherwise, body)
                instruction = row.read(address, body, 0, len(body))
                if instruction is not None:
                    return (instruction,)
        return (Unknown(otherwise, body[len(otherwise.to_bytes()) :]),)

    @staticmethod
    def _address(entry: Entry, otherwise: Address, body: bytes) -> Address:
        kind = entry.addresses[0]
        if not entry.address_layouts:
            return otherwise if isinstance(otherwise, kind) else kind()
        return kind(**{name: layout.take(body) for name, layout in entry.address_layouts.items()})

    # Instructions to bytes

    def encode(self, instruction: Instruction) -> bytes:
        """The whole packet with this instruction alone, error detection byte included.

        :raises HalfbitError: where no pattern is for it at its address, a value does not fit the
            pattern, or the bytes would be read as something else.
        """
        return self.encode_packet((instruction,))

    def encode_packet(self, instructions: Sequence[Instruction]) -> bytes:
        """One packet with these instructions behind one address, error detection byte included.

        :raises HalfbitError: where there is none, they are for different addresses, only one may
            stand in such a packet, or the bytes would be read as something else.
        """
        if not instructions:
            raise HalfbitError("a packet needs at least one instruction")
        first = instructions[0]
        if len(instructions) == 1 and isinstance(first, Ambiguous):
            return self.encode_packet(first.operations)
        for instruction in instructions:
            if instruction.address != first.address:
                raise HalfbitError(
                    f"one packet has one address, not {first.address} and {instruction.address}"
                )
        place = PLACES.get(type(first.address))
        if len(instructions) > 1 and not (place and place.follows_address):
            raise HalfbitError(f"only one instruction can stand in a packet to {first.address}")
        follows = place is not None and place.follows_address
        body = first.address.to_bytes() if follows else b""
        body += b"".join(self._bytes(one) for one in instructions)
        data = with_error_byte(body)
        service = place is Place.SERVICE
        read = self.decode_service(data) if service else self.decode(data)
        if read != tuple(instructions):
            raise HalfbitError(
                f"{_listed(instructions)}: the bytes {data.hex(' ').upper()} "
                f"would be read as {_listed(read)}"
            )
        return data

    def _bytes(self, instruction: Instruction) -> bytes:
        """The bytes of one instruction: those of its pattern, or those it holds as they are."""
        address = instruction.address
        if isinstance(instruction, (Reserved, Unknown)):
            place = PLACES.get(type(address))
            return instruction.data if place and place.follows_address else address.to_bytes() + instruction.data
        entries = self._by_class.get(type(instruction), [])
        if not entries:
            raise HalfbitError(f"{type(instruction).__name__} is not in this registry")
        problem = f"{instruction.name}: no pattern for the address '{address}'"
        for entry in entries:
            if type(address) not in entry.addresses or not _fits_address(entry, address):
                continue
            misfit = _misfit(entry, instruction)
            if not misfit:
                return _filled(entry, instruction)
            problem = misfit
        raise HalfbitError(problem)

    # The table

    def _compiled(self, place: Place) -> tuple[tuple[_Row, ...], ...]:
        """For each value of the key byte the rows that can match, special cases first."""
        entries = [entry for entry in self._entries if place in entry.places]
        for one, other in combinations(entries, 2):
            _check_apart(one, other, place)
        # A special case names every class it narrows: the more it names, the sooner it is tried.
        ordered = sorted(entries, key=lambda entry: (entry.reserved, -len(entry.special_of)))
        lists: list[list[_Row]] = [[] for _ in range(256)]
        for row in map(_Row, ordered):
            pattern = row.entry.parsed
            for key in _with_bits(pattern.masks[place.key], pattern.values[place.key]):
                lists[key].append(row)
        if place.follows_address:
            lists = [_without_reserved(rows) for rows in lists]
        return tuple(map(tuple, lists))


@lru_cache(maxsize=None)
def _with_bits(mask: int, value: int) -> tuple[int, ...]:
    """The bytes with these fixed bits."""
    return tuple(byte for byte in range(256) if (byte ^ value) & mask == 0)


def _without_reserved(rows: list[_Row]) -> list[_Row]:
    """Only the instructions among rows that share a first byte, unless they leave some addresses out."""
    claimed = any(not row.entry.reserved and row.numbers is None for row in rows)
    return [row for row in rows if not (claimed and row.entry.reserved)]


def _check_apart(one: Entry, other: Entry, place: Place) -> None:
    """Refuse two entries that could match the same bytes, unless they say which goes first."""
    if one.reserved != other.reserved or not one.parsed.agrees(other.parsed):
        return
    if not place.follows_address:
        # Whole packets of different length cannot be taken for one another.
        (low, high), (least, most) = one.lengths, other.lengths
        if (high is not None and least > high) or (most is not None and low > most):
            return
    for special, general in ((one, other), (other, one)):
        if general.builds in special.special_of and special.parsed.narrows(general.parsed):
            return
    raise HalfbitError(f"entries overlap {place.value}: {one} and {other}")


def _numbered(address: Address, numbers: tuple[int, int]) -> bool:
    return numbers[0] <= getattr(address, "number", -1) <= numbers[1]


def _listed(instructions: Sequence[Instruction]) -> str:
    return ", then ".join(f"{one.name} to {one.address}" for one in instructions)


def _fits_address(entry: Entry, address: Address) -> bool:
    """Whether the entry holds just those fields of the address that are not ``None``."""
    if not entry.address_layouts:
        return True
    present = {f.name for f in attrs.fields(type(address)) if getattr(address, f.name) is not None}
    return present == set(entry.address_layouts)


def _misfit(entry: Entry, instruction: Instruction) -> str:
    """Why the entry's pattern cannot hold the instruction; empty if it can."""
    if entry.numbers and not _numbered(instruction.address, entry.numbers):
        low, high = entry.numbers
        return f"{instruction.name} is for addresses {low} to {high}, not {instruction.address}"
    for name, constant in entry.constants.items():
        if getattr(instruction, name) != constant:
            return f"{type(instruction).__name__}.{name}: no pattern for {getattr(instruction, name)}"
    for name, layout in entry.layouts.items():
        value = getattr(instruction, name)
        if not layout.low <= value <= layout.high:
            return f"{type(instruction).__name__}.{name}: {value} is not from {layout.low} to {layout.high}"
    return ""


def _filled(entry: Entry, instruction: Instruction) -> bytes:
    data = bytearray(entry.parsed.values)
    for name, layout in entry.layouts.items():
        layout.put(getattr(instruction, name), data)
    for name, layout in entry.address_layouts.items():
        layout.put(getattr(instruction.address, name), data)
    if entry.tail is not None:
        data += getattr(instruction, entry.tail.field)
    return bytes(data)
