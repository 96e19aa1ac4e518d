"""The registry: a table of instruction patterns. It turns bytes into instructions and back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any

import attrs

from ..error import HalfbitError
from ..event import exclusive_or
from ..limits import RECEIVE
from .address import (
    AccessoryAddress, Address, Broadcast, ExtendedAccessoryAddress, IdleAddress, LongAddress, NoAddress,
    ReservedAddress, ShortAddress, UnresolvedAddress,
)  # fmt: skip
from .base import Instruction
from .compiled import Tables, address_of, compiled, end_of, has_number, read
from .entry import PLACES, Entry, Place
from .special import Ambiguous, Damaged, Reserved, Unknown


class Registry:
    """A table of instruction patterns. It turns bytes into instructions and back. It never changes.

    :param entries: the rows. If two rows could match the same bytes in the same place, one must be
        declared as a special case of the other, or be reserved.
    :raises HalfbitError: if two entries overlap without that. The message gives both.
    """

    def __init__(self, entries: Iterable[Entry]) -> None:
        try:
            self._entries = tuple(entries)
        except TypeError:
            raise HalfbitError(f"{entries!r} is not a row of entries: give a list of Entry") from None
        _check_entries(self._entries)
        _ = self._tables  # made now, so that rows that overlap are refused here

    def entries(self) -> tuple[Entry, ...]:
        """All rows, in the order given."""
        return self._entries

    def extended(self, *entries: Entry) -> Registry:
        """A new registry with more rows; this one does not change.

        :raises HalfbitError: if two rows overlap and neither is declared as a special case.
        """
        return Registry((*self.entries(), *entries))

    def without(self, *classes: type[Instruction]) -> Registry:
        """A new registry without the rows that build these classes; this one does not change.

        :raises HalfbitError: if no row builds one of them.
        """
        for kind in classes:
            if not isinstance(kind, type) or kind not in self._by_class:
                raise HalfbitError(f"no row of this registry builds {kind!r}: give the classes of rows to leave out")
        return Registry(entry for entry in self.entries() if entry.builds not in classes)

    def replaced(self, *entries: Entry) -> Registry:
        """A new registry with these rows instead of all rows that build the same classes; this one does not change.

        :raises HalfbitError: if no row builds the class of an entry, or two rows overlap and neither is declared as a
            special case.
        """
        _check_entries(entries)
        return self.without(*dict.fromkeys(entry.builds for entry in entries)).extended(*entries)

    def __copy__(self) -> Registry:
        return self

    def __deepcopy__(self, memo: object) -> Registry:
        return self

    def __reduce__(self) -> Any:
        return Registry, (self.entries(),)

    @cached_property
    def _tables(self) -> Tables:
        return compiled(self.entries())

    @cached_property
    def _by_class(self) -> dict[type[Instruction], list[Entry]]:
        kinds = dict.fromkeys(entry.builds for entry in self.entries())
        return {kind: [entry for entry in self.entries() if entry.builds is kind] for kind in kinds}

    # Bytes to instructions

    def decode(self, data: bytes) -> tuple[Instruction, ...]:
        """The instructions of a whole packet in operations mode. At least one; no bytes are lost.

        :param data: all bytes, error detection byte included. If that byte is wrong, the result is :class:`Damaged`.
        :raises HalfbitError: if ``data`` is not ``bytes``.
        """
        body = _body(data)
        if body is None:
            return (Damaged(NoAddress(), data, raw=data),)
        first = body[0]
        if first == 0:
            return self._follow(Place.BROADCAST, Broadcast(), body, 1)
        if first < 128:
            return self._follow(Place.SHORT, ShortAddress(first), body, 1)
        if first < 192 or first < 232 and len(body) < 2:  # a long address cut short is not known
            return self._whole(Place.ACCESSORY, UnresolvedAddress(first), body)
        if first < 232:
            return self._follow(Place.LONG, LongAddress((first & 0x3F) << 8 | body[1]), body, 2)
        if first < 255:
            return self._whole(Place.RESERVED, ReservedAddress(first), body)
        return self._whole(Place.IDLE, IdleAddress(), body)

    def decode_service(self, data: bytes) -> tuple[Instruction, ...]:
        """The instruction of a whole packet in service mode (S-9.2.3).

        :param data: all bytes, error detection byte included. If that byte is wrong, the result is :class:`Damaged`.
        :raises HalfbitError: if ``data`` is not ``bytes``.
        """
        body = _body(data)
        if body is None:
            return (Damaged(NoAddress(), data, raw=data),)
        return self._whole(Place.SERVICE, NoAddress(), body)

    def _follow(self, place: Place, address: Address, body: bytes, start: int) -> tuple[Instruction, ...]:
        """The instructions after an address: one that must stand alone, or several in sequence (S-9.2.1 C)."""
        if start == len(body):
            return (Unknown(address, b"", raw=b""),)
        for entry in self._tables[place][body[start]]:
            if entry.alone and end_of(entry, address, body, start) == len(body):
                alone = read(entry, address, body, start, len(body), start)
                if alone is not None:
                    others = self._sequence(place, address, body, start) if entry.beside else ()
                    if not others or any(isinstance(one, Unknown) for one in others):
                        return (alone,)
                    return (Ambiguous(address, (others, (alone,)), raw=alone.raw),)
        return self._sequence(place, address, body, start)

    def _sequence(self, place: Place, address: Address, body: bytes, at: int) -> tuple[Instruction, ...]:
        """The instructions that may share a packet."""
        found: list[Instruction] = []
        classes: set[int | None] = set()
        while at < len(body) and (place.many or not found):
            for entry in self._tables[place][body[at]]:
                end = 0 if entry.alone or entry.packet_class in classes else end_of(entry, address, body, at)
                instruction = read(entry, address, body, at, end, at) if end else None
                if instruction is not None:
                    break
            else:
                break
            found.append(instruction)
            classes |= {entry.packet_class} - {None}
            at = end
        if at < len(body):
            found.append(Unknown(address, body[at:], raw=body[at:]))
        return tuple(found)

    def _whole(self, place: Place, otherwise: Address, body: bytes) -> tuple[Instruction, ...]:
        """The instruction whose pattern is the whole packet. ``otherwise`` is the address if no pattern matches."""
        start = len(otherwise.to_bytes())
        for entry in self._tables[place][body[place.key]] if len(body) > place.key else ():
            if end_of(entry, otherwise, body, 0) == len(body):
                instruction = read(entry, address_of(entry, otherwise, body), body, 0, len(body), start)
                if instruction is not None:
                    return (instruction,)
        return (Unknown(otherwise, body[start:], raw=body[start:]),)

    # Instructions to bytes

    def encode(self, instruction: Instruction, *, packet_max: int = RECEIVE.packet_max) -> bytes:
        """The whole packet with only this instruction, error detection byte included.

        :param packet_max: as for :meth:`encode_packet`.
        :raises HalfbitError: as :meth:`encode_packet`.
        """
        if not isinstance(instruction, Instruction):
            raise HalfbitError(f"{instruction!r} is no instruction: give one, or a list of them to encode_packet")
        return self.encode_packet((instruction,), packet_max=packet_max)

    def encode_packet(self, instructions: Sequence[Instruction], *, packet_max: int = RECEIVE.packet_max) -> bytes:
        """One packet with one address and these instructions, error detection byte included.

        :param packet_max: most bytes of the packet, as :attr:`halfbit.Limits.packet_max`. S-9.2.1 has 6; later
            documents have more (from memory).
        :raises HalfbitError: if there is no instruction, their addresses differ, such a packet may hold only one, no
            pattern fits an instruction, a value does not fit the pattern, the packet would be too long, the bytes
            would be read as something else, or an instruction is from a damaged packet.
        """
        read = _checked(instructions)
        if type(packet_max) is not int:
            raise HalfbitError(f"packet_max: {packet_max!r} is not an integer: give the most bytes of a packet")
        if len(read) == 1 and isinstance(read[0], Ambiguous):
            return self.encode_packet(read[0].readings[0], packet_max=packet_max)
        address = read[0].address
        place = PLACES.get(type(address))
        if len(read) > 1 and not (place and place.follows_address):
            raise HalfbitError(f"only one instruction can stand in a packet to {address}: encode each by itself")
        body = address.to_bytes() if place and place.follows_address else b""
        for one in read:
            body += self._bytes(one, body)
        data = body + bytes((exclusive_or(body),))
        if len(data) > packet_max:
            size = f"{len(data)} bytes, more than packet_max {packet_max}"
            raise HalfbitError(f"{_listed(read)}: {size}: send fewer instructions in one packet")
        again = self.decode_service(data) if place is Place.SERVICE else self.decode(data)
        if again != read and not (isinstance(again[0], Ambiguous) and read in again[0].readings):
            raise HalfbitError(f"{_listed(read)}: the bytes {data.hex(' ').upper()} would be read as {_listed(again)}")
        return data

    def _bytes(self, instruction: Instruction, before: bytes) -> bytes:
        """The bytes of one instruction, made from its pattern; for reserved and unknown ones, the bytes that they hold.

        :param before: the packet's bytes before it, for the checksum.
        """
        address, kind = instruction.address, type(instruction)
        if isinstance(instruction, (Reserved, Unknown)):
            place = PLACES.get(type(address))
            return instruction.data if place and place.follows_address else _first(address) + instruction.data
        if kind not in self._by_class:
            raise HalfbitError(f"{kind.__name__} is not in this registry: add a row with Registry.extended()")
        problem = f"{instruction.name}: no pattern for the address '{address}'"
        for entry in self._by_class[kind]:
            if type(address) in entry.addresses and _fits_address(entry, address):
                problem = _misfit(entry, instruction)
                if not problem:
                    data = _filled(entry, instruction)
                    return data if entry.checksum is None else data + bytes((entry.checksum(before + data),))
        raise HalfbitError(problem)


def _body(data: object) -> bytes | None:
    """A packet's bytes without the error detection byte; ``None`` if that byte is wrong or there is no other byte."""
    if not isinstance(data, bytes):
        example = 'bytes.fromhex("03 64 67"), or packet.data'
        raise HalfbitError(f"{data!r} is not bytes: give all bytes of a packet, e.g. {example}")
    return None if len(data) < 2 or exclusive_or(data) else data[:-1]


def _check_entries(entries: tuple[object, ...]) -> None:
    for entry in entries:
        if not isinstance(entry, Entry):
            raise HalfbitError(f"{entry!r} is no Entry: give Entry(pattern=..., addresses=..., builds=..., source=...)")


def _checked(instructions: object) -> tuple[Instruction, ...]:
    """The instructions as a tuple, checked for one packet.

    :raises HalfbitError: if they are not instructions, or cannot share a packet.
    """
    if not isinstance(instructions, (tuple, list)):
        how = "give a list of them, or a single one to encode"
        raise HalfbitError(f"{instructions!r} is not a row of instructions: {how}")
    if not instructions:
        raise HalfbitError("a packet needs at least one instruction")
    for one in instructions:
        if not isinstance(one, Instruction):
            raise HalfbitError(f"{one!r} is no instruction")
        if isinstance(one, Damaged):
            raise HalfbitError("a damaged packet does not go back to bytes: what was sent is not known")
        if one.address != instructions[0].address:
            raise HalfbitError(f"one packet has one address, not {instructions[0].address} and {one.address}")
    return tuple(instructions)


def _first(address: Address) -> bytes:
    """The first byte of a whole packet to this address, for reserved and unknown instructions."""
    if isinstance(address, AccessoryAddress):
        return bytes((0x80 | address.board & 0x3F,))
    if isinstance(address, ExtendedAccessoryAddress):
        return bytes((0x80 | address.number >> 2 & 0x3F,))
    return b"\xbf" if PLACES.get(type(address)) is Place.ACCESSORY else address.to_bytes()


def _listed(instructions: Sequence[Instruction]) -> str:
    return ", then ".join(f"{one.name} to {one.address}" for one in instructions)


def _fits_address(entry: Entry, address: Address) -> bool:
    """True if the entry's address fields are exactly the fields of the address that are not ``None``."""
    if PLACES[type(address)] is not Place.ACCESSORY:
        return True
    present = {f.name for f in attrs.fields(type(address)) if getattr(address, f.name) is not None}
    return present == set(entry.address_layouts)


def _misfit(entry: Entry, instruction: Instruction) -> str:
    """The reason why the entry's pattern cannot hold the instruction; ``""`` if it can."""
    if entry.numbers and not has_number(instruction.address, entry.numbers):
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


class _Standard(Registry):
    """A registry whose rows are made on first use. This keeps ``import halfbit`` fast."""

    def __init__(self) -> None:
        pass

    def __reduce__(self) -> Any:
        return "STANDARD"  # so that a copy is the same object

    def entries(self) -> tuple[Entry, ...]:
        """All rows, in order."""
        return self._rows

    @cached_property
    def _rows(self) -> tuple[Entry, ...]:
        from .rows import ACCESSORY, MULTI_FUNCTION, SERVICE

        return (*MULTI_FUNCTION, *ACCESSORY, *SERVICE)


STANDARD: Registry = _Standard()  #: Every instruction of S-9.2, S-9.2.1, S-9.2.3 and, from memory, later documents.
