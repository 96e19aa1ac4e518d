"""The base class of all instructions."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from typing import Any, ClassVar, Union

import attrs

from ..error import HalfbitError
from ..event import SCHEMA, Packet, as_json, reading
from .address import Address, Broadcast, JsonValue, LongAddress, ShortAddress
from .field import accepted, checked, instance, integer, tuple_of

LONG_PREAMBLE = 20  #: Fewest one-bits of the long preamble, which a station must send in service mode (S-9.2.3 E).

BRIEF = 40  #: The most characters of :attr:`Instruction.brief`.


class Context(enum.Enum):
    """The mode in which decoders on the track read packets (S-9.2.3)."""

    UNKNOWN = "unknown"  #: Not known: the capture has only just started, or a gap hid the packets before.
    OPERATIONS = "operations"  #: Operations mode: packets have addresses.
    SERVICE = "service"  #: Service mode: packets have no addresses.
    LEFT = "service mode left"  #: Service mode is over, but no packet that resumes operations has come yet.


class Repetition(enum.Enum):
    """First or repeated packet, for instructions that act only on the second identical packet."""

    FIRST = "first sight"  #: The first packet: decoders do nothing yet.
    REPEAT = "repeat"  #: The second identical packet, or a later one: decoders act.


@attrs.frozen(slots=True)
class Configuration:
    """The CVs of a multi-function decoder on which the meaning of its packets depends (S-9.2.2).

    :raises HalfbitError: for a value outside 0 to 255.
    """

    cv29: int = integer(0, 255)
    #: CV 19, the consist: bits 0 to 6 are its address, 0 for no consist; bit 7 is set if the locomotive runs reversed.
    cv19: int = integer(0, 255, default=0, kw_only=True)
    #: CV 21: a set bit means that the function obeys the consist's address; F1 is bit 0, F8 is bit 7.
    cv21: int = integer(0, 255, default=0, kw_only=True)
    #: CV 22: the same for FL forward (bit 0), FL reverse (bit 1), F9 (bit 2) to F12 (bit 5).
    cv22: int = integer(0, 255, default=0, kw_only=True)

    @property
    def steps(self) -> int:
        """Speed steps of the speed and direction instruction: 28 if CV 29 bit 1 is set, else 14.

        If bit 1 is set, FL (the headlight) is in function group one; else it is in speed and direction.
        """
        return 28 if self.cv29 & 0b10 else 14

    @property
    def consist(self) -> ShortAddress | None:
        """The address of the decoder's consist; ``None`` if it is not in a consist (CV 19)."""
        number = self.cv19 & 0x7F
        return ShortAddress(number) if number else None

    def obeys_consist(self, function: int, *, forward: bool) -> bool:
        """True if the function, 0 (FL) to 12, obeys the consist's address (CV 21 and 22).

        :param forward: the direction; it matters for FL only.
        :raises HalfbitError: for a function outside 0 to 12.
        """
        if type(function) is not int or not 0 <= function <= 12:
            raise HalfbitError(f"function: {function!r} is not an integer from 0 (FL) to 12: the CVs have no others")
        if 1 <= function <= 8:
            return bool(self.cv21 >> function - 1 & 1)
        bit = function - 7 if function else int(not forward)
        return bool(self.cv22 >> bit & 1)


#: One configuration for all multi-function decoders, or a mapping of address to configuration. In the mapping the key
#: :class:`Broadcast` is for all addresses that have no key of their own.
Configurations = Union[Configuration, Mapping[Address, Configuration], None]


def checked_configurations(given: object) -> dict[Address, Configuration]:
    """Configurations as a mapping.

    :raises HalfbitError: if ``given`` is not a :data:`Configurations`.
    """
    if given is None:
        return {}
    if isinstance(given, Configuration):
        return {Broadcast(): given}
    if isinstance(given, Mapping) and all(
        isinstance(address, (Broadcast, ShortAddress, LongAddress)) and isinstance(one, Configuration)
        for address, one in given.items()
    ):
        return dict(given)
    raise HalfbitError(
        f"configuration: {given!r} is no Configuration: give Configuration(cv29=...), "
        "or a mapping of short and long addresses (Broadcast() for all others) to them"
    )


def configurations_for(address: Address, known: Mapping[Address, Configuration]) -> tuple[Configuration, ...]:
    """The configurations of the decoders that a packet to ``address`` reaches: its own decoder, and those of a consist.

    Empty if one of them is not known. Without duplicates.
    """
    if not known or not isinstance(address, (Broadcast, ShortAddress, LongAddress)):
        return ()
    if isinstance(address, Broadcast):
        return tuple(dict.fromkeys(known.values())) if address in known else ()
    consist = [one for one in known.values() if one.consist == address]
    own = known.get(address, None if consist else known.get(Broadcast()))
    return tuple(dict.fromkeys([*consist, *([] if own is None else [own])]))


@attrs.frozen(slots=True)
class PacketContext:
    """Facts about a packet that are not in its bytes: they come from the packets before it and from the caller.

    :raises HalfbitError: for a value of the wrong type.
    """

    context: Context = instance(Context, "a Context", default=Context.UNKNOWN)
    #: First or repeat; ``None`` if decoders act on a single packet, or repeats were not counted.
    repetition: Repetition | None = instance(Repetition, "a Repetition or None", default=None)
    #: True if the station sent it too early after a reset: to addresses 100 to 127 within 20 ms (S-9.2 B), or to
    #: addresses 112 to 127 within 10 packet times (S-9.2.1 C). If packets have no times, the 20 ms rule covers only the
    #: packet directly after the reset.
    too_soon_after_reset: bool = instance(bool, "False or True", default=False)
    #: The page register, if earlier packets set it; else ``None`` (service mode, S-9.2.3).
    page: int | None = instance(int, "an integer or None", default=None)
    #: The configurations of the decoders that the packet is for, if the caller gave all of them; else empty. More than
    #: one for a consist whose decoders differ.
    configurations: tuple[Configuration, ...] = accepted(
        tuple_of(lambda one: isinstance(one, Configuration)), "a tuple of Configuration", default=()
    )

    @property
    def steps(self) -> int | None:
        """28 or 14, if the configurations are known and agree (CV 29 bit 1); else ``None``."""
        steps = {one.steps for one in self.configurations}
        return steps.pop() if len(steps) == 1 else None


_is_bytes = checked(lambda value: value is None or isinstance(value, bytes), "bytes or None")
_is_packet = checked(lambda value: value is None or isinstance(value, Packet), "Packet or None")
_is_context = checked(lambda value: isinstance(value, PacketContext), "a PacketContext")


# A class that adds no fields has ``__slots__ = ()`` instead of attrs, which would build the same methods again: half a
# millisecond for each class when it is imported.
@attrs.frozen(slots=True)
class Instruction:
    """One instruction to decoders: a packet, or the part of a packet after its address.

    Equality compares the class, the address and the fields. It ignores ``raw``, ``packet`` and
    ``packet_context``.

    :raises HalfbitError: if a value does not fit its field.
    """

    name: ClassVar[str] = "Instruction"  #: The standards' name of the instruction. Each class has its own.
    _meaning: ClassVar[tuple[str, ...]] = ()  #: The properties that :meth:`meaning` gives.

    address: Address = instance(Address, 'an address: give ShortAddress(3) or Address.parse("short 3")')
    #: Its own bytes: after the packet's address (for accessories, after the first byte), without the error detection
    #: byte. ``None`` if it was not read from a packet.
    raw: bytes | None = attrs.field(default=None, kw_only=True, eq=False, repr=False, validator=_is_bytes)
    #: The packet it was read from; ``None`` if it was built by hand, or read from bytes only.
    packet: Packet | None = attrs.field(default=None, kw_only=True, eq=False, repr=False, validator=_is_packet)
    packet_context: PacketContext = attrs.field(
        default=PacketContext(), kw_only=True, eq=False, repr=False, validator=_is_context
    )

    @property
    def context(self) -> Context:
        """The context in which it was read."""
        return self.packet_context.context

    @property
    def repetition(self) -> Repetition | None:
        """First or repeat, if decoders act only on the second identical packet (S-9.2.1 C, S-9.2.3)."""
        return self.packet_context.repetition

    @property
    def too_soon_after_reset(self) -> bool:
        """True if the station sent it too early after a reset (S-9.2 B, S-9.2.1 C)."""
        return self.packet_context.too_soon_after_reset

    @property
    def long_preamble(self) -> bool:
        """True if its packet had the long preamble of service mode: 20 one-bits or more (S-9.2.3 E)."""
        return self.packet is not None and self.packet.preamble >= LONG_PREAMBLE

    @property
    def needs_repeat(self) -> bool:
        """True if decoders act only on the second identical packet (S-9.2.1 C, S-9.2.3)."""
        return False

    @property
    def new_page(self) -> int | None:
        """The value it writes to the page register of service mode; ``None`` if it does not write it (S-9.2.3)."""
        return None

    @property
    def brief(self) -> str:
        """The instruction in at most 40 characters, without its address. For tables."""
        return brief(self._in_brief())

    def _in_brief(self) -> str:
        """What :attr:`brief` cuts at 40 characters."""
        return str(self)

    def meaning(self) -> dict[str, JsonValue]:
        """Values derived from the fields, as JSON, for :meth:`as_dict`."""
        return {name: _json(getattr(self, name)) for name in self._meaning}

    def as_dict(self) -> dict[str, JsonValue]:
        """The instruction as JSON: name, address, fields, their meaning, text, context and packet.

        The keys and their order are the same for all instructions of a class. Bytes are hexadecimal.
        """
        return {
            "schema": SCHEMA, "type": "instruction", "name": self.name, "address": self.address.as_dict(),
            "bytes": None if self.raw is None else self.raw.hex().upper(),
            "fields": {field.name: _json(getattr(self, field.name)) for field in own_fields(type(self))},
            "meaning": self.meaning(), "text": str(self), "brief": self.brief,
            **as_json(self.packet_context),
            "long_preamble": self.long_preamble, "packet": None if self.packet is None else self.packet.as_dict(),
        }  # fmt: skip

    @classmethod
    def from_dict(cls, value: Any) -> Instruction:
        """The inverse of :meth:`as_dict`. It finds your own instruction classes too, once they are imported.

        :raises HalfbitError: if ``value`` does not have the form that :meth:`as_dict` makes, or is not of this class.
        """
        with reading(value, "instruction"):
            kind, fields = _named(cls, value["name"]), value["fields"]
            wanted = {field.name: field for field in own_fields(kind)}
            if set(fields) != set(wanted):
                raise ValueError(f"fields {sorted(fields)}")
            data, packet, repetition = value["bytes"], value["packet"], value["repetition"]
            repeat = None if repetition is None else Repetition(repetition)
            configurations = tuple(Configuration(**one) for one in value["configurations"])
            context, too_soon, page = Context(value["context"]), value["too_soon_after_reset"], value["page"]
            return kind(
                Address.from_dict(value["address"]),
                **{name: _from_json(field, fields[name]) for name, field in wanted.items()},
                raw=None if data is None else bytes.fromhex(data),
                packet=None if packet is None else Packet.from_dict(packet),
                packet_context=PacketContext(context, repeat, too_soon, page, configurations),
            )

    def __str__(self) -> str:
        return self.name.lower()


def of_packet(one: Instruction, packet: Packet, context: PacketContext) -> Instruction:
    """The same instruction, of another packet with the same bytes.

    ``attrs.evolve`` would do the same, but it checks every field again and takes several times as long.
    """
    new, put = object.__new__(type(one)), object.__setattr__
    for field in one.__attrs_attrs__:
        put(new, field.name, getattr(one, field.name))
    put(new, "packet", packet)
    put(new, "packet_context", context)
    return new


def own_fields(kind: type[Instruction]) -> tuple[attrs.Attribute[Any], ...]:
    """The fields that a class adds to those of :class:`Instruction`."""
    return tuple(field for field in attrs.fields(kind) if field.name not in _COMMON)


_COMMON = frozenset(field.name for field in attrs.fields(Instruction))


def _named(cls: type[Instruction], name: object) -> type[Instruction]:
    """The class with this name: ``cls`` or a class derived from it.

    :raises HalfbitError: if no class, or more than one, has this name.
    """
    found, waiting = set(), [cls]
    while waiting:
        kind = waiting.pop()
        waiting += kind.__subclasses__()
        # attrs makes a second class, with slots. Python keeps the first one for a while; skip it: it has neither.
        if kind.name == name and vars(kind).keys() & {"__slots__", "__attrs_attrs__"}:
            found.add(kind)
    if len(found) != 1:
        how = "more than one class" if found else "no class"
        raise HalfbitError(f"{how} of {cls.__name__} has the name {name!r}: import its module, or call its from_dict()")
    return found.pop()


def _json(value: object) -> JsonValue:
    if isinstance(value, bytes):
        return value.hex().upper()
    if isinstance(value, tuple):
        return [_json(item) for item in value]
    if isinstance(value, Instruction):
        return value.as_dict()
    if isinstance(value, enum.Enum):
        return _json(value.value)
    if attrs.has(type(value)):
        return as_json(value)
    return value if value is None or isinstance(value, (bool, int, str)) else str(value)


def _from_json(field: attrs.Attribute[Any], value: Any) -> Any:
    if "octets" in field.metadata:
        return bytes.fromhex(value)
    if "readings" in field.metadata:
        return tuple(tuple(Instruction.from_dict(one) for one in reading) for reading in value)
    return value


def hexadecimal(data: bytes) -> str:
    """Bytes as upper-case hexadecimal with spaces; ``"-"`` for no bytes."""
    return data.hex(" ").upper() or "-"


def brief(text: str, room: int = BRIEF) -> str:
    """The text, cut at a word to at most ``room`` characters. A cut text ends with "…"."""
    if len(text) <= room:
        return text
    kept = text[: room - 1]
    if " " in kept and text[room - 1] != " ":
        kept = kept[: kept.rindex(" ")]
    return kept.rstrip() + "…"
