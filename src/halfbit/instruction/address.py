"""Whom a packet is for (S-9.2.1 A, C and D; S-9.2 B). Always the raw number first."""

from __future__ import annotations

import enum
from collections.abc import Callable
from typing import Any, ClassVar, Union

import attrs

from ..error import HalfbitError

__all__ = [
    "AccessoryAddress",
    "AccessoryBroadcast",
    "Address",
    "Broadcast",
    "ExtendedAccessoryAddress",
    "ExtendedAccessoryBroadcast",
    "IdleAddress",
    "JsonValue",
    "LinearConvention",
    "LongAddress",
    "NoAddress",
    "ReservedAddress",
    "ShortAddress",
    "UnresolvedAddress",
]

#: What :func:`json.dumps` takes.
JsonValue = Union[None, bool, int, str, "list[JsonValue]", "dict[str, JsonValue]"]


class LinearConvention(enum.Enum):
    """How raw accessory addresses are counted as one row of numbers. Both are in use; they differ by 4."""

    #: Number 1 is pair 0 of board address 1 (RCN-213, from memory).
    FROM_BOARD_1 = "from board 1"
    #: Number 1 is pair 0 of board address 0 (S-9.2.2, CV 1 and CV 9: number - 1 holds the bits).
    FROM_BOARD_0 = "from board 0"

    def number(self, raw: int) -> int | None:
        """The number, from 1 up, of an 11-bit raw address.

        ``None`` for board 0 where counting starts at board 1.
        """
        number = raw + 1 if self is LinearConvention.FROM_BOARD_0 else raw - 3
        return number if number >= 1 else None


def _within(low: int, high: int) -> Callable[[Any, attrs.Attribute[Any], object], None]:
    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            where = type(instance).__name__
            raise HalfbitError(f"{where}.{attribute.name}: {value!r} is not an integer from {low} to {high}")

    return check


@attrs.frozen(slots=True)
class Address:
    """Base of all addresses."""

    #: The name used in text and JSON.
    kind: ClassVar[str] = "address"

    def as_dict(self) -> dict[str, JsonValue]:
        """``kind``, then the fields in their order, for JSON."""
        values: dict[str, JsonValue] = {"kind": self.kind}
        for field in attrs.fields(type(self)):
            values[field.name] = getattr(self, field.name)
        return values

    def to_bytes(self) -> bytes:
        """The address bytes of a packet.

        :raises HalfbitError: where the address shares its bytes with the instruction (accessories).
        """
        raise HalfbitError(f"the {self.kind} address has no bytes of its own")


@attrs.frozen(slots=True)
class Broadcast(Address):
    """All multi-function decoders: 00000000 (S-9.2.1 A)."""

    kind: ClassVar[str] = "broadcast"

    def to_bytes(self) -> bytes:
        return b"\x00"

    def __str__(self) -> str:
        return "broadcast"


@attrs.frozen(slots=True)
class ShortAddress(Address):
    """A multi-function decoder by its 7-bit primary address: 0AAAAAAA (S-9.2.1 A).

    :raises HalfbitError: outside 1 to 127.
    """

    kind: ClassVar[str] = "short"
    number: int = attrs.field(validator=_within(1, 127))

    def to_bytes(self) -> bytes:
        return bytes((self.number,))

    def __str__(self) -> str:
        return f"short {self.number}"


@attrs.frozen(slots=True)
class LongAddress(Address):
    """A multi-function decoder by its 14-bit extended address: 11AAAAAA AAAAAAAA (S-9.2.1 A).

    :raises HalfbitError: outside 0 to 10239 (first byte 192 to 231).
    """

    kind: ClassVar[str] = "long"
    number: int = attrs.field(validator=_within(0, 10239))

    def to_bytes(self) -> bytes:
        return bytes((0xC0 | self.number >> 8, self.number & 0xFF))

    def __str__(self) -> str:
        return f"long {self.number}"


@attrs.frozen(slots=True)
class AccessoryAddress(Address):
    """A basic accessory decoder by its 9-bit address, a pair of it, or one output (S-9.2.1 D).

    :raises HalfbitError: for a board outside 0 to 511, a pair outside 0 to 3, an output outside
        0 to 1, or an output without a pair.
    """

    kind: ClassVar[str] = "accessory"
    #: The raw 9-bit address, its three high bits already turned the right way round.
    board: int = attrs.field(validator=_within(0, 511))
    #: Which pair of outputs; ``None``: the whole decoder.
    pair: int | None = attrs.field(default=None, validator=attrs.validators.optional(_within(0, 3)))
    #: Which output of the pair; ``None``: the pair.
    output: int | None = attrs.field(default=None, validator=attrs.validators.optional(_within(0, 1)))

    def __attrs_post_init__(self) -> None:
        if self.pair is None and self.output is not None:
            raise HalfbitError(f"AccessoryAddress.output: {self.output} needs a pair")

    def linear(self, convention: LinearConvention) -> int | None:
        """The pair's number in the named convention; ``None`` where there is no pair or it has no number."""
        return None if self.pair is None else convention.number(self.board * 4 + self.pair)

    def __str__(self) -> str:
        parts = [f"accessory {self.board}"]
        if self.pair is not None:
            parts.append(f"pair {self.pair}")
        if self.output is not None:
            parts.append(f"output {self.output}")
        return " ".join(parts)


@attrs.frozen(slots=True)
class AccessoryBroadcast(Address):
    """All basic accessory decoders, one output of each: 10111111 1000CDDD (S-9.2.1 D).

    :raises HalfbitError: for a pair outside 0 to 3 or an output outside 0 to 1.
    """

    kind: ClassVar[str] = "accessory broadcast"
    pair: int = attrs.field(validator=_within(0, 3))
    output: int = attrs.field(validator=_within(0, 1))

    def __str__(self) -> str:
        return f"accessory broadcast pair {self.pair} output {self.output}"


@attrs.frozen(slots=True)
class ExtendedAccessoryAddress(Address):
    """An extended accessory decoder by its 11-bit address (S-9.2.1 D).

    :raises HalfbitError: outside 0 to 2047.
    """

    kind: ClassVar[str] = "extended accessory"
    #: The 9-bit address as a basic decoder has it, and two bits below it.
    number: int = attrs.field(validator=_within(0, 2047))

    def linear(self, convention: LinearConvention) -> int | None:
        """The number in the named convention; ``None`` where it has none."""
        return convention.number(self.number)

    def __str__(self) -> str:
        return f"extended accessory {self.number}"


@attrs.frozen(slots=True)
class ExtendedAccessoryBroadcast(Address):
    """All extended accessory decoders: 10111111 00000111 (S-9.2.1 D)."""

    kind: ClassVar[str] = "extended accessory broadcast"

    def __str__(self) -> str:
        return "extended accessory broadcast"


@attrs.frozen(slots=True)
class ReservedAddress(Address):
    """An address byte the standard reserves (S-9.2.1 A); 253 and 254: S-9.2.1.1, RCN-218, from memory.

    :raises HalfbitError: outside 232 to 254.
    """

    kind: ClassVar[str] = "reserved"
    #: The packet's first byte.
    first: int = attrs.field(validator=_within(232, 254))

    def to_bytes(self) -> bytes:
        return bytes((self.first,))

    def __str__(self) -> str:
        return f"reserved {self.first}"


@attrs.frozen(slots=True)
class IdleAddress(Address):
    """Nobody: 11111111 (S-9.2 B, S-9.2.1 A)."""

    kind: ClassVar[str] = "idle"

    def to_bytes(self) -> bytes:
        return b"\xff"

    def __str__(self) -> str:
        return "idle"


@attrs.frozen(slots=True)
class UnresolvedAddress(Address):
    """The first byte of a packet that does not tell whom it is for.

    The packet ends inside its address, is an accessory packet of a form the standards do not
    know, or reads two ways (:class:`Ambiguous`).

    :raises HalfbitError: outside 0 to 255.
    """

    kind: ClassVar[str] = "unresolved"
    #: The packet's first byte.
    first: int = attrs.field(validator=_within(0, 255))

    def to_bytes(self) -> bytes:
        return bytes((self.first,))

    def __str__(self) -> str:
        return f"unresolved {self.first}"


@attrs.frozen(slots=True)
class NoAddress(Address):
    """A packet without an address: service mode, for whatever stands on the programming track (S-9.2.3)."""

    kind: ClassVar[str] = "none"

    def to_bytes(self) -> bytes:
        return b""

    def __str__(self) -> str:
        return "no address"
