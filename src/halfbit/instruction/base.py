"""The base class of all instructions."""

from __future__ import annotations

import enum
from typing import Any, ClassVar

import attrs

from ..error import HalfbitError
from ..event import SCHEMA, Packet, as_json
from .address import Address, JsonValue
from .configuration import Configuration
from .field import accepted, checked, instance, tuple_of

#: Fewest one-bits of the long preamble, which a station must send in service mode (S-9.2.3 E).
LONG_PREAMBLE = 20

#: The most characters of :attr:`Instruction.brief`.
BRIEF = 40


class Context(enum.Enum):
    """The mode in which decoders on the track read packets (S-9.2.3)."""

    #: Not known: the capture has only just started, or a gap hid the packets before.
    UNKNOWN = "unknown"
    #: Operations mode: packets have addresses.
    OPERATIONS = "operations"
    #: Service mode: packets have no addresses.
    SERVICE = "service"
    #: Service mode is over, but no packet that resumes operations has come yet.
    LEFT = "service mode left"


class Repetition(enum.Enum):
    """First or repeated packet, for instructions that act only on the second identical packet."""

    #: The first packet: decoders do nothing yet.
    FIRST = "first sight"
    #: The second identical packet, or a later one: decoders act.
    REPEAT = "repeat"


@attrs.frozen(slots=True)
class PacketContext:
    """Facts about a packet that are not in its bytes: they come from the packets before it and from the caller.

    :raises HalfbitError: for a value of the wrong type.
    """

    #: The context the packet was read in.
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


NOTHING_KNOWN = PacketContext()


_is_bytes = checked(lambda value: value is None or isinstance(value, bytes), "bytes or None")
_is_packet = checked(lambda value: value is None or isinstance(value, Packet), "Packet or None")
_is_context = checked(lambda value: isinstance(value, PacketContext), "a PacketContext")


@attrs.frozen(slots=True)
class Instruction:
    """One instruction to decoders: a packet, or the part of a packet after its address.

    Equality compares the class, the address and the fields. It ignores ``raw``, ``packet`` and
    ``packet_context``.

    :raises HalfbitError: if a value does not fit its field.
    """

    #: The standards' name of the instruction. Each class has its own.
    name: ClassVar[str] = "Instruction"

    #: The address it is for.
    address: Address = instance(Address, 'an address: give ShortAddress(3) or Address.parse("short 3")')
    #: Its own bytes: after the packet's address (for accessories, after the first byte), without the error detection
    #: byte. ``None`` if it was not read from a packet.
    raw: bytes | None = attrs.field(default=None, kw_only=True, eq=False, repr=False, validator=_is_bytes)
    #: The packet it was read from; ``None`` if it was built by hand, or read from bytes only.
    packet: Packet | None = attrs.field(default=None, kw_only=True, eq=False, repr=False, validator=_is_packet)
    #: Facts about the packet that are not in its bytes.
    packet_context: PacketContext = attrs.field(
        default=NOTHING_KNOWN, kw_only=True, eq=False, repr=False, validator=_is_context
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
    def resets_decoder(self) -> bool:
        """True for a digital decoder reset. A station must wait after it (S-9.2.1 C)."""
        return False

    @property
    def new_page(self) -> int | None:
        """The value it writes to the page register of service mode; ``None`` if it does not write it (S-9.2.3)."""
        return None

    @property
    def brief(self) -> str:
        """The instruction in at most 40 characters, without its address. For tables."""
        return brief(str(self))

    def meaning(self) -> dict[str, JsonValue]:
        """Values derived from the fields, as JSON, for :meth:`as_dict`."""
        return {}

    def as_dict(self) -> dict[str, JsonValue]:
        """The instruction as JSON: name, address, fields, their meaning, text, context and packet.

        The keys and their order are the same for all instructions of a class. Bytes are hexadecimal.
        """
        return {
            "schema": SCHEMA,
            "type": "instruction",
            "name": self.name,
            "address": self.address.as_dict(),
            "bytes": None if self.raw is None else self.raw.hex().upper(),
            "fields": {field.name: _json(getattr(self, field.name)) for field in own_fields(type(self))},
            "meaning": self.meaning(),
            "text": str(self),
            "brief": self.brief,
            **as_json(self.packet_context),
            "long_preamble": self.long_preamble,
            "packet": None if self.packet is None else self.packet.as_dict(),
        }

    @classmethod
    def from_dict(cls, value: Any) -> Instruction:
        """The inverse of :meth:`as_dict`. It finds your own instruction classes too, once they are imported.

        :raises HalfbitError: if ``value`` does not have the form that :meth:`as_dict` makes, or is not of this class.
        """
        if not isinstance(value, dict) or value.get("type") != "instruction" or value.get("schema") != SCHEMA:
            raise HalfbitError(f"{value!r} is not an instruction of schema {SCHEMA}: give what as_dict() made")
        kind = _named(cls, value.get("name"))
        try:
            fields = value["fields"]
            wanted = own_fields(kind)
            if set(fields) != {field.name for field in wanted}:
                raise HalfbitError(f"fields {sorted(fields)}")
            data, packet, repetition = value["bytes"], value["packet"], value["repetition"]
            return kind(
                Address.from_dict(value["address"]),
                **{field.name: _from_json(field, fields[field.name]) for field in wanted},
                raw=None if data is None else bytes.fromhex(data),
                packet=None if packet is None else Packet.from_dict(packet),
                packet_context=PacketContext(
                    Context(value["context"]),
                    None if repetition is None else Repetition(repetition),
                    value["too_soon_after_reset"],
                    value["page"],
                    tuple(Configuration(**one) for one in value["configurations"]),
                ),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise HalfbitError(f"{error} is missing or wrong in {value!r}: give what as_dict() made") from None

    def __str__(self) -> str:
        return self.name.lower()


def of_packet(one: Instruction, packet: Packet, context: PacketContext) -> Instruction:
    """The same instruction, of another packet with the same bytes.

    ``attrs.evolve`` would do the same, but it checks every field again and takes several times as long.
    """
    new = object.__new__(type(one))
    for field in attrs.fields(type(one)):
        object.__setattr__(new, field.name, getattr(one, field.name))
    object.__setattr__(new, "packet", packet)
    object.__setattr__(new, "packet_context", context)
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
        # attrs makes a second class, with slots. Python keeps the first one for a while; skip it, it has no fields.
        if kind.name == name and "__attrs_attrs__" in vars(kind):
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
    if value is None or isinstance(value, (bool, int, str)):
        return value
    return str(value)


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
