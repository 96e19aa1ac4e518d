"""What layers 2 to 4 give: packets, faults and cutouts, each with the time it covers.

A fault of the signal is a value in its place in time, never an exception.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import reduce
from operator import xor
from typing import Any, Union

import attrs

from . import core
from .error import HalfbitError

#: The number of the form that ``as_dict`` gives. It grows when a reader of the form before would not understand it.
SCHEMA = 1


def exclusive_or(data: Iterable[int]) -> int:
    """The exclusive or of bytes: 0 for a whole packet with the right error detection byte (S-9.2 A)."""
    return reduce(xor, data, 0)


@contextmanager
def reading(value: object, type_: str) -> Iterator[None]:
    """Turn what a wrong dictionary raises into an error that names the form.

    :raises HalfbitError: if the form or its version is another, or a field is missing or wrong.
    """
    if not isinstance(value, Mapping) or value.get("type") != type_ or value.get("schema") != SCHEMA:
        article = "an" if type_[0] in "aeiou" else "a"
        raise HalfbitError(f"{value!r} is not {article} {type_} of schema {SCHEMA}: give what as_dict() made")
    try:
        yield
    except HalfbitError:
        raise
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise HalfbitError(f"{type_}: {error} is missing or wrong in {value!r}: give what as_dict() made") from None


def whole_numbers(value: Mapping[str, Any], *names: str) -> list[int]:
    """The integers of these names in a dictionary.

    :raises TypeError: if one is not an integer. :func:`reading` makes the error of it that users see.
    """
    for name in names:
        if type(value[name]) is not int:
            raise TypeError(repr(name))
    return [value[name] for name in names]


def as_json(value: Any) -> dict[str, Any]:
    """The fields of a value for JSON.

    Bytes are hexadecimal, members of enumerations are their values, sets and mappings are sorted lists.
    """
    return attrs.asdict(value, value_serializer=_plain)


def _plain(_: object, __: object, value: object) -> object:
    if isinstance(value, bytes):
        return value.hex().upper()
    if isinstance(value, (frozenset, Mapping)):
        return sorted(value.items() if isinstance(value, Mapping) else value)
    if isinstance(value, tuple):
        return list(value)
    return value.value if isinstance(value, enum.Enum) else value


class Recovery(enum.Enum):
    """How a packet was recovered that its half-bits, each by itself, or their sums did not give."""

    TIMES = "times"  #: Nothing was missing: the times of all its level changes together fit only this packet.
    MISSED_CHANGES = "missed changes"  #: Level changes were missing.
    EXTRA_CHANGES = "extra changes"  #: There were level changes too many: noted twice, or spikes.
    LATE_CHANGES = "late changes"  #: Level changes were seen much too late or too early.
    LONG_TURNS = "long turns"  #: Level changes fell into long turns of the loop that looks at the level.
    CUTOUT = "cutout"  #: Its packet end bit runs into a cutout.


@attrs.frozen(slots=True)
class Packet:
    """A packet whose error detection byte is right (S-9.2 A).

    It covers the time from the end of the packet or the loss before it to the end of its packet end bit.
    """

    data: bytes  #: All bytes: the address first, the error detection byte last (S-9.2 A).
    #: One-bits before the packet start bit. The end bit of the packet before counts (S-9.2 A). 255 means 255 or more.
    preamble: int = 0
    start: int = 0  #: First ns of the preamble, from the capture's start.
    end: int = 0  #: First ns after the packet end bit.
    recovered: Recovery | None = None  #: How, by the most frequent error; ``None`` if it did not have to be recovered.
    #: How many times likelier it was than any other reading of the same times, if it was recovered.
    margin: int | None = None

    def __str__(self) -> str:
        return self.data.hex(" ").upper()

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it: bytes in hexadecimal, times in ns."""
        return {"schema": SCHEMA, "type": "packet", **as_json(self)}

    @classmethod
    def from_dict(cls, value: dict[str, Any]) -> Packet:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` is not the form of a packet.
        """
        with reading(value, "packet"):
            preamble, start, end = whole_numbers(value, "preamble", "start", "end")
            recovered = None if value["recovered"] is None else Recovery(value["recovered"])
            margin = None if value["margin"] is None else whole_numbers(value, "margin")[0]
            return cls(bytes.fromhex(value["data"]), preamble, start, end, recovered, margin)


class Layer(enum.IntEnum):
    """The layers that find faults."""

    HALF_BIT = 2  #: A half-bit by itself.
    BIT = 3  #: Two halves of a bit.
    PACKET = 4  #: Bits of a packet.


_UNPAIRED = "{us} us; a level change was probably missed"


class FaultKind(enum.IntEnum):
    """What is wrong. The numbers are the answers of the core, and of a port."""

    _value_: int
    layer: Layer  #: The layer that finds it.
    named: str | None  #: The property of :class:`Fault` that gives its detail, if it has one.
    _words: str

    def __new__(cls, number: int, words: str = "", layer: Layer = Layer.PACKET, named: str | None = None) -> FaultKind:
        kind = int.__new__(cls, number)
        kind._value_, kind.layer, kind.named, kind._words = number, layer, named, words
        return kind

    #: A half-bit is shorter than any half-bit may be (S-9.1 A, table 1). See :attr:`Fault.duration`.
    SHORT = core.SHORT, "half-bit of {us} us is too short", Layer.HALF_BIT, "duration"
    #: A half-bit is too long for a one-bit and too short for a zero-bit (S-9.1 A, table 1). See :attr:`Fault.duration`.
    GAP = core.GAP, "half-bit of {us} us is too long for a one and too short for a zero", Layer.HALF_BIT, "duration"
    #: A half-bit is longer than any half-bit may be (S-9.1 A, table 1). See :attr:`Fault.duration`.
    LONG = core.LONG, "half-bit of {us} us is too long", Layer.HALF_BIT, "duration"
    #: Half of a one-bit without its other half (S-9.1 A). See :attr:`Fault.duration`.
    UNPAIRED_ONE = core.UNPAIRED_ONE, f"unpaired half of a one-bit, {_UNPAIRED}", Layer.BIT, "duration"
    #: Half of a zero-bit without its other half (S-9.1 A). See :attr:`Fault.duration`.
    UNPAIRED_ZERO = core.UNPAIRED_ZERO, f"unpaired half of a zero-bit, {_UNPAIRED}", Layer.BIT, "duration"
    #: The halves of a one-bit differ too much (S-9.1 A, table 1). See :attr:`Fault.difference`.
    UNEQUAL = core.UNEQUAL, "halves of a one-bit differ by {us} us", Layer.BIT, "difference"
    #: A whole zero-bit is too long (S-9.1 A, table 1). See :attr:`Fault.duration`.
    ZERO_TOO_LONG = core.ZERO_TOO_LONG, "zero-bit of {us} us is too long as a whole", Layer.BIT, "duration"
    #: A start bit after too few one-bits (S-9.2 A). See :attr:`Fault.one_bits`.
    SHORT_PREAMBLE = (
        core.SHORT_PREAMBLE, "start bit after {n} one-bits: too few for a preamble", Layer.PACKET, "one_bits"
    )  # fmt: skip
    #: A packet end bit too soon (S-9.2 A). See :attr:`Fault.data`.
    FEW_BYTES = core.FEW_BYTES, "packet ends after {bytes}: too few"
    #: No packet end bit after the longest packet allowed (S-9.2.1, introduction). See :attr:`Fault.data`.
    MANY_BYTES = core.MANY_BYTES, "packet goes on after {bytes}: too many"
    #: The error detection byte is wrong (S-9.2 A). See :attr:`Fault.wrong_bits`.
    ERROR_BYTE = core.ERROR_BYTE, "error detection byte is wrong in the bits {n:08b}", Layer.PACKET, "wrong_bits"
    #: The capture starts or ends inside a packet. See :attr:`Fault.data`.
    CUT = core.CUT, "the capture starts or ends inside a packet"
    #: No reading of the bits fits the times, or two fit about equally well.
    UNCLEAR = core.UNCLEAR, "no single reading of the bits fits the times"


#: The core's answers about a single half-bit.
HALF_BIT_FAULTS = frozenset(int(kind) for kind in FaultKind if kind.layer is Layer.HALF_BIT)


@attrs.frozen(slots=True)
class Fault:
    """Something wrong, and the stretch of the signal that was lost to it.

    At layers 2 and 3 a fault covers one half-bit or bit. At layer 4 and in what :func:`halfbit.decode` gives it covers
    all that was lost: from the torn packet's preamble (or from the half-bit, if no packet was torn) to the
    next preamble. It names what went wrong first.
    """

    kind: FaultKind
    start: int  #: First ns of the stretch that is lost, from the capture's start.
    end: int  #: First ns after it.
    #: The place of the fault, ns: the start of the wrong half-bit or bit. For UNEQUAL the change between the halves.
    at: int
    detail: int = 0  #: The number that the property named at each :class:`FaultKind` gives. Use the property.
    data: bytes = b""  #: The bytes of the torn packet that were complete.
    count: int = 1  #: How many half-bits and bits in the stretch were wrong.

    @property
    def layer(self) -> Layer:
        """The layer that found it."""
        return self.kind.layer

    @property
    def duration(self) -> int | None:
        """How long the wrong half-bit or zero-bit lasted, ns; ``None`` for other kinds."""
        return self.detail if self.kind.named == "duration" else None

    @property
    def difference(self) -> int | None:
        """By how much the halves of a one-bit differ, ns; ``None`` for kinds other than UNEQUAL."""
        return self.detail if self.kind.named == "difference" else None

    @property
    def one_bits(self) -> int | None:
        """How many one-bits came before the start bit; ``None`` for kinds other than SHORT_PREAMBLE."""
        return self.detail if self.kind.named == "one_bits" else None

    @property
    def wrong_bits(self) -> int | None:
        """The exclusive or of all bytes of the packet, 1 to 255; ``None`` for kinds other than ERROR_BYTE."""
        return self.detail if self.kind.named == "wrong_bits" else None

    def __str__(self) -> str:
        complete = "1 byte" if len(self.data) == 1 else f"{len(self.data)} bytes"
        return self.kind._words.format(us=f"{self.detail / 1000:g}", n=self.detail, bytes=complete)

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it: bytes in hexadecimal, times and durations in ns, and only the properties of its kind."""
        named = {self.kind.named: self.detail} if self.kind.named else {}
        return {
            "schema": SCHEMA, "type": "fault", "kind": self.kind.name, "layer": int(self.layer),
            "start": self.start, "end": self.end, "at": self.at, **named,
            "data": self.data.hex().upper(), "count": self.count,
        }  # fmt: skip

    @classmethod
    def from_dict(cls, value: dict[str, Any]) -> Fault:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` is not the form of a fault.
        """
        with reading(value, "fault"):
            kind = FaultKind[value["kind"]]
            start, end, at, count = whole_numbers(value, "start", "end", "at", "count")
            detail = whole_numbers(value, kind.named)[0] if kind.named else 0
            return cls(kind, start, end, at, detail, bytes.fromhex(value["data"]), count)


@attrs.frozen(slots=True)
class Cutout:
    """A stretch after a packet in which the station shorted the rails so that decoders may answer.

    Bi-directional communication (S-9.3.2 and RCN-217, both from memory). Not a fault.
    """

    start: int  #: First ns, from the capture's start: the end of the packet before.
    end: int  #: First ns after it.

    def __str__(self) -> str:
        return f"cutout of {(self.end - self.start) / 1000:g} us"

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it, times in ns."""
        return {"schema": SCHEMA, "type": "cutout", **as_json(self)}

    @classmethod
    def from_dict(cls, value: dict[str, Any]) -> Cutout:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` is not the form of a cutout.
        """
        with reading(value, "cutout"):
            return cls(*whole_numbers(value, "start", "end"))


PacketEvent = Union[Packet, Fault, Cutout]  #: The output of layer 4.
