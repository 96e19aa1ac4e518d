"""Addresses of packets (S-9.2.1 A, C and D; S-9.2 B). They hold the raw number, as it is sent."""

from __future__ import annotations

import enum
import re
from functools import total_ordering
from typing import Any, ClassVar, Union

import attrs

from ..error import HalfbitError
from .field import integer

#: A value that :func:`json.dumps` accepts.
JsonValue = Union[None, bool, int, str, "list[JsonValue]", "dict[str, JsonValue]"]


class DecoderKind(enum.Enum):
    """The two kinds of decoder, whose CVs differ (S-9.2.2)."""

    MULTI_FUNCTION = "multi-function"  #: In a vehicle.
    ACCESSORY = "accessory"  #: Beside the track: turnouts, signals.


class LinearConvention(enum.Enum):
    """Two ways to number accessory addresses in one sequence. Both are in use; they differ by 4."""

    FROM_BOARD_1 = "from board 1"  #: Number 1 is pair 0 of board address 1 (RCN-213, from memory).
    #: Number 1 is pair 0 of board address 0 (S-9.2.2, CV 1 and CV 9: number - 1 holds the bits).
    FROM_BOARD_0 = "from board 0"

    def number(self, raw: int) -> int | None:
        """The number, from 1, of an 11-bit raw address; ``None`` for board 0 if counting starts at board 1.

        :raises HalfbitError: if ``raw`` is not an integer from 0 to 2047.
        """
        if type(raw) is not int or not 0 <= raw <= 2047:
            raise HalfbitError(f"raw: {raw!r} is not an integer from 0 to 2047")
        number = raw + 1 - self._skipped
        return number if number >= 1 else None

    def raw(self, number: int) -> int:
        """The 11-bit raw address of a number.

        :raises HalfbitError: if no raw address from 0 to 2047 has that number.
        """
        high = 2048 - self._skipped
        if type(number) is not int or not 1 <= number <= high:
            raise HalfbitError(f"number: {number!r} is not an integer from 1 to {high}, counted {self.value}")
        return number - 1 + self._skipped

    @property
    def _skipped(self) -> int:
        return 4 if self is LinearConvention.FROM_BOARD_1 else 0


def _convention(value: object) -> LinearConvention:
    if not isinstance(value, LinearConvention):
        raise HalfbitError(f"convention: {value!r} is no LinearConvention: give FROM_BOARD_1 or FROM_BOARD_0")
    return value


@total_ordering
@attrs.frozen(slots=True)
class Address:
    """Base of all addresses. They sort by kind, then by number. :meth:`parse` reads the text that ``str()`` prints."""

    kind: ClassVar[str] = "address"  #: The name used in text and JSON.
    #: The kind of decoder it reaches; ``None`` if it is not for one kind only.
    decoder: ClassVar[DecoderKind | None] = None
    _words: ClassVar[str] = ""  # the first words of the text; if empty, the kind
    _first: ClassVar[bytes] = b""  # the packet's bytes before those of the fields

    @classmethod
    def parse(cls, text: str) -> Address:
        """The address that ``str()`` prints as ``text``, e.g. ``"short 3"`` or ``"accessory 9 pair 2 output 1"``.

        :raises HalfbitError: if ``text`` is not an address, or not one of this class.
        """
        if isinstance(text, str):
            for kind in _KINDS:
                match = re.fullmatch(kind._form(), text.strip(), re.ASCII)
                if match and issubclass(kind, cls):
                    return kind(**{name: int(value) for name, value in match.groupdict().items() if value})
        raise HalfbitError(f'{text!r} is no {cls.kind}: give it as it prints, e.g. "short 3" or "accessory 9 pair 2"')

    def as_dict(self) -> dict[str, JsonValue]:
        """For JSON: ``kind``, then the fields in their order."""
        return {"kind": self.kind, **attrs.asdict(self)}

    @staticmethod
    def from_dict(value: Any) -> Address:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` does not have the form that :meth:`as_dict` makes.
        """
        if isinstance(value, dict):
            for kind in _KINDS:
                names = [name for name, _ in _fields(kind)]
                if value.get("kind") == kind.kind and set(value) == {"kind", *names}:
                    return kind(**{name: value[name] for name in names})
        raise HalfbitError(f"{value!r} is not the form of an address: give what as_dict() made")

    def to_bytes(self) -> bytes:
        """The address bytes of a packet; empty for :class:`NoAddress`.

        :raises HalfbitError: for accessories, because their address shares its bytes with the instruction.
        """
        if self.decoder is DecoderKind.ACCESSORY:
            raise HalfbitError(f"the {self.kind} address has no bytes of its own")
        return self._first + bytes(attrs.astuple(self))

    @classmethod
    def _form(cls) -> str:
        """The text of these addresses as a regular expression."""
        form = cls._words or cls.kind
        for name, optional in _fields(cls):
            form += rf"(?: {name} (?P<{name}>\d+))?" if optional else rf" (?P<{name}>\d+)"
        return form

    def __str__(self) -> str:
        words = [self._words or self.kind]
        for name, optional in _fields(type(self)):
            value = getattr(self, name)
            if value is not None:
                words += [name, str(value)] if optional else [str(value)]
        return " ".join(words)

    def __lt__(self, other: object) -> bool:
        if not isinstance(other, Address):
            return NotImplemented
        return self._order() < other._order()

    def _order(self) -> tuple[int, ...]:
        return (_KINDS.index(type(self)), *(-1 if value is None else value for value in attrs.astuple(self)))


class Broadcast(Address):
    """All multi-function decoders: 00000000 (S-9.2.1 A)."""

    __slots__ = ()
    kind: ClassVar[str] = "broadcast"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.MULTI_FUNCTION
    _first: ClassVar[bytes] = b"\x00"


@attrs.frozen(slots=True)
class ShortAddress(Address):
    """A multi-function decoder by its 7-bit primary address: 0AAAAAAA (S-9.2.1 A).

    :raises HalfbitError: outside 1 to 127.
    """

    kind: ClassVar[str] = "short"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.MULTI_FUNCTION
    number: int = integer(1, 127)


@attrs.frozen(slots=True)
class LongAddress(Address):
    """A multi-function decoder by its 14-bit extended address: 11AAAAAA AAAAAAAA (S-9.2.1 A).

    :raises HalfbitError: outside 0 to 10239 (first byte 192 to 231).
    """

    kind: ClassVar[str] = "long"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.MULTI_FUNCTION
    number: int = integer(0, 10239)

    def to_bytes(self) -> bytes:
        """Two bytes."""
        return bytes((0xC0 | self.number >> 8, self.number & 0xFF))


@attrs.frozen(slots=True)
class AccessoryAddress(Address):
    """A basic accessory decoder (9-bit address), one of its pairs of outputs, or one output (S-9.2.1 D).

    :raises HalfbitError: for a board outside 0 to 511, a pair outside 0 to 3, an output outside
        0 to 1, or an output without a pair.
    """

    kind: ClassVar[str] = "accessory"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.ACCESSORY
    board: int = integer(0, 511)  #: The raw 9-bit address. Its three high bits are sent inverted; here they are not.
    pair: int | None = integer(0, 3, optional=True)  #: The pair of outputs, 0 to 3; ``None`` for the whole decoder.
    output: int | None = integer(0, 1, optional=True)  #: The output of the pair, 0 or 1; ``None`` for the pair.

    def __attrs_post_init__(self) -> None:
        if self.pair is None and self.output is not None:
            raise HalfbitError(f"AccessoryAddress.output: {self.output} needs a pair")

    @classmethod
    def from_linear(cls, number: int, convention: LinearConvention, output: int | None = None) -> AccessoryAddress:
        """The pair with this linear number, or one output of that pair.

        :raises HalfbitError: if no pair has the number, or ``convention`` is not a :class:`LinearConvention`.
        """
        raw = _convention(convention).raw(number)
        return cls(raw >> 2, raw & 3, output)

    def linear(self, convention: LinearConvention) -> int | None:
        """The pair's number in this convention; ``None`` if there is no pair, or the pair has no number.

        :raises HalfbitError: if ``convention`` is not a :class:`LinearConvention`.
        """
        return None if self.pair is None else _convention(convention).number(self.board * 4 + self.pair)


@attrs.frozen(slots=True)
class AccessoryBroadcast(Address):
    """All basic accessory decoders, or the same output of each: 10111111 1000CDDD (S-9.2.1 D).

    :raises HalfbitError: for a pair outside 0 to 3, an output outside 0 to 1, or only one of the two.
    """

    kind: ClassVar[str] = "accessory broadcast"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.ACCESSORY
    pair: int | None = integer(0, 3, optional=True)  #: The pair of outputs, 0 to 3; ``None`` for the whole decoders.
    output: int | None = integer(0, 1, optional=True)  #: The output of the pair, 0 or 1; ``None`` if there is no pair.

    def __attrs_post_init__(self) -> None:
        if (self.pair is None) != (self.output is None):
            raise HalfbitError(f"AccessoryBroadcast: pair {self.pair} and output {self.output}: give both or neither")


@attrs.frozen(slots=True)
class ExtendedAccessoryAddress(Address):
    """An extended accessory decoder by its 11-bit address (S-9.2.1 D).

    :raises HalfbitError: outside 0 to 2047.
    """

    kind: ClassVar[str] = "extended accessory"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.ACCESSORY
    number: int = integer(0, 2047)  #: The 9-bit address of a basic decoder, then two lower bits.

    @classmethod
    def from_linear(cls, number: int, convention: LinearConvention) -> ExtendedAccessoryAddress:
        """The address with this linear number.

        :raises HalfbitError: if no address has the number, or ``convention`` is not a :class:`LinearConvention`.
        """
        return cls(_convention(convention).raw(number))

    def linear(self, convention: LinearConvention) -> int | None:
        """The number in this convention; ``None`` if the address has no number there.

        :raises HalfbitError: if ``convention`` is not a :class:`LinearConvention`.
        """
        return _convention(convention).number(self.number)


class ExtendedAccessoryBroadcast(Address):
    """All extended accessory decoders: 10111111 00000111 (S-9.2.1 D)."""

    __slots__ = ()
    kind: ClassVar[str] = "extended accessory broadcast"
    decoder: ClassVar[DecoderKind | None] = DecoderKind.ACCESSORY


@attrs.frozen(slots=True)
class ReservedAddress(Address):
    """An address byte that the standard reserves (S-9.2.1 A); 253 and 254: S-9.2.1.1, RCN-218, from memory.

    :raises HalfbitError: outside 232 to 254.
    """

    kind: ClassVar[str] = "reserved"
    first: int = integer(232, 254)


class IdleAddress(Address):
    """The idle address, for no decoder: 11111111 (S-9.2 B, S-9.2.1 A)."""

    __slots__ = ()
    kind: ClassVar[str] = "idle"
    _first: ClassVar[bytes] = b"\xff"


@attrs.frozen(slots=True)
class UnresolvedAddress(Address):
    """The first byte of a packet whose address cannot be read.

    The packet ends inside its address, or is an accessory packet that matches no pattern of the registry, or may be a
    service mode packet (:class:`Ambiguous`).

    :raises HalfbitError: outside 0 to 255.
    """

    kind: ClassVar[str] = "unresolved"
    first: int = integer(0, 255)


class NoAddress(Address):
    """No address: service mode packets, for any decoder on the programming track (S-9.2.3)."""

    __slots__ = ()
    kind: ClassVar[str] = "none"
    _words: ClassVar[str] = "no address"


#: All kinds, in the order they sort.
_KINDS: tuple[type[Address], ...] = (
    Broadcast, ShortAddress, LongAddress, AccessoryAddress, AccessoryBroadcast, ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast, ReservedAddress, IdleAddress, UnresolvedAddress, NoAddress,
)  # fmt: skip


def _fields(kind: type[Address]) -> list[tuple[str, bool]]:
    """The fields: name, and True if the field is optional. In text only an optional field has its name before it."""
    return [(field.name, field.default is None) for field in attrs.fields(kind)]
