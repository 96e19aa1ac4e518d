"""What all instructions have in common."""

from __future__ import annotations

import enum
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar

import attrs

from ..error import HalfbitError
from ..packet import Packet
from .address import Address, JsonValue
from .configuration import Configuration

if TYPE_CHECKING:
    from .registry import Registry

__all__ = [
    "Context",
    "PacketContext",
    "Instruction",
    "Repetition",
    "Template",
    "choice",
    "flag",
    "integer",
    "octets",
]

#: One-bits of the long preamble, which a station must send in service mode (S-9.2.3 E).
LONG_PREAMBLE = 20


class Context(enum.Enum):
    """What decoders on the track take packets for (S-9.2.3)."""

    #: The capture starts with it; nothing seen yet tells.
    UNKNOWN = "unknown"
    #: Packets have addresses.
    OPERATIONS = "operations"
    #: Service mode.
    SERVICE = "service"
    #: Service mode is over, and no packet has come yet with which operations resume.
    LEFT = "service mode left"


class Repetition(enum.Enum):
    """Where an instruction acts only with its second identical packet: which one it is."""

    #: Nothing happens yet.
    FIRST = "first sight"
    #: The second or a later one in a row: decoders act.
    REPEAT = "repeat"


@attrs.frozen(slots=True)
class PacketContext:
    """What was known beside the packet's own bytes."""

    #: The context the packet was read in.
    context: Context = Context.UNKNOWN
    #: First sight or repeat; ``None`` where a single packet acts, or nothing was kept count of.
    repetition: Repetition | None = None
    #: Sent to an address from 100 to 127 within 20 ms of a reset, where stations must not (S-9.2 B).
    #: Without times: as the packet next after a reset.
    hold_off: bool = False
    #: What the page register holds, where the packets told (service mode, S-9.2.3).
    page: int | None = None
    #: The configuration of the decoder the packet is for, where the caller gave it.
    configuration: Configuration | None = None


NO_EVIDENCE = PacketContext()


def integer(low: int, high: int) -> Any:
    """An attrs field for an integer from ``low`` to ``high``, both included.

    The class refuses others with :class:`HalfbitError`, and a registry checks that a pattern's
    field cannot hold others.
    """

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise _refused(instance, attribute, value, f"an integer from {low} to {high}")

    return attrs.field(validator=check, metadata={"range": (low, high), "bool": False})


def choice(*values: int) -> Any:
    """An attrs field for one of a few integers, which the pattern alone determines."""

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if isinstance(value, bool) or value not in values:
            raise _refused(instance, attribute, value, f"one of {', '.join(map(str, values))}")

    return attrs.field(validator=check, metadata={"range": (min(values), max(values)), "bool": False})


def flag() -> Any:
    """An attrs field for one bit, as ``bool``."""

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if not isinstance(value, bool):
            raise _refused(instance, attribute, value, "False or True (0 to 1)")

    return attrs.field(validator=check, metadata={"range": (0, 1), "bool": True})


def octets(low: int, high: int | None) -> Any:
    """An attrs field for ``bytes``, ``low`` to ``high`` of them (``None``: as many as there are)."""
    words = f"{low} or more bytes" if high is None else f"{low} to {high} bytes"

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if not isinstance(value, bytes) or len(value) < low or (high is not None and len(value) > high):
            raise _refused(instance, attribute, value, words)

    return attrs.field(validator=check, metadata={"octets": (low, high)})


def _refused(
    instance: object, attribute: attrs.Attribute[Any], value: object, words: str
) -> HalfbitError:
    return HalfbitError(f"{type(instance).__name__}.{attribute.name}: {value!r} is not {words}")


def _an_address(instance: object, attribute: attrs.Attribute[Any], value: object) -> None:
    if not isinstance(value, Address):
        raise _refused(instance, attribute, value, "an address")


@attrs.frozen(slots=True)
class Instruction:
    """What a packet, or a part of it behind its address, bids.

    Equality compares what the bytes say: the class, the address and the fields, not the packet
    they came with nor the evidence beside it.
    """

    #: The standards' name of the instruction.
    name: ClassVar[str] = "Instruction"

    #: Whom it is for.
    address: Address = attrs.field(validator=_an_address)
    #: The packet it was read from; ``None`` when built by hand.
    packet: Packet | None = attrs.field(default=None, kw_only=True, eq=False, repr=False)
    #: What was known beside the packet.
    evidence: PacketContext = attrs.field(default=NO_EVIDENCE, kw_only=True, eq=False, repr=False)

    @property
    def context(self) -> Context:
        """The context it was read in."""
        return self.evidence.context

    @property
    def repetition(self) -> Repetition | None:
        """First sight or repeat, where only the second identical packet acts (S-9.2.1 C, S-9.2.3)."""
        return self.evidence.repetition

    @property
    def hold_off(self) -> bool:
        """Whether it came where stations must not send to its address (S-9.2 B)."""
        return self.evidence.hold_off

    @property
    def long_preamble(self) -> bool:
        """Whether its packet had the long preamble of service mode (S-9.2.3 E)."""
        return self.packet is not None and self.packet.preamble >= LONG_PREAMBLE

    @property
    def needs_repeat(self) -> bool:
        """Whether decoders act only on the second identical packet."""
        return False

    def encode(self, registry: Registry | None = None) -> bytes:
        """The whole packet that carries it, with the error detection byte (S-9.2 A).

        :param registry: the one whose patterns to use; the standards' if left out.
        :raises HalfbitError: where the registry has no pattern for it at its address, a value does
            not fit the pattern, or the bytes would be read as something else.
        """
        return (registry or _standard()).encode(self)

    def details(self) -> dict[str, JsonValue]:
        """What follows from the fields, for :meth:`as_dict`."""
        return {}

    def as_dict(self) -> dict[str, JsonValue]:
        """Its name, address, fields, what follows from them and the evidence, for JSON.

        The keys and their order are the same for all instructions of a class. Bytes are hexadecimal.
        """
        values: dict[str, JsonValue] = {"name": self.name, "address": self.address.as_dict()}
        for field in attrs.fields(type(self)):
            if field.name not in ("address", "packet", "evidence"):
                values[field.name] = _json(getattr(self, field.name))
        values.update(self.details())
        values["context"] = self.context.value
        values["repetition"] = None if self.repetition is None else self.repetition.value
        values["hold_off"] = self.hold_off
        values["long_preamble"] = self.long_preamble
        return values

    def __str__(self) -> str:
        return self.name


def _json(value: object) -> JsonValue:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, tuple):
        return [_json(item) for item in value]
    if isinstance(value, Instruction):
        return value.as_dict()
    if value is None or isinstance(value, (bool, int, str)):
        return value
    return str(value)


def _standard() -> Registry:
    # Late, because the standards' registry is built from the instructions.
    from .standard import STANDARD

    return STANDARD


_Put = Callable[[Instruction, Any], None]


def _put(cls: type[Instruction], name: str) -> _Put:
    """Writes a slot past the frozen class."""
    put: _Put = getattr(cls, name).__set__
    return put


_put_packet = _put(Instruction, "packet")
_put_evidence = _put(Instruction, "evidence")


_known_puts: dict[type[Instruction], tuple[tuple[_Put, str], ...]] = {}


def _puts(cls: type[Instruction]) -> tuple[tuple[_Put, str], ...]:
    """The slots that are the same for all packets, and their names."""
    if cls not in _known_puts:
        names = [field.name for field in attrs.fields(cls) if field.name not in ("packet", "evidence")]
        _known_puts[cls] = tuple((_put(cls, name), name) for name in names)
    return _known_puts[cls]


class Template:
    """Makes the same instruction from other packets. Its fields were checked once and are not again."""

    __slots__ = ("_class", "_values", "instruction")

    def __init__(self, instruction: Instruction) -> None:
        self.instruction = instruction
        self._class = cls = type(instruction)
        self._values = [(put, getattr(instruction, name)) for put, name in _puts(cls)]

    def dressed(self, packet: Packet | None, evidence: PacketContext) -> Instruction:
        """The instruction, with its packet and what was known beside it."""
        new = object.__new__(self._class)
        for put, value in self._values:
            put(new, value)
        _put_packet(new, packet)
        _put_evidence(new, evidence)
        return new
