"""What can be wrong with a signal, and where: data, never an exception."""

from __future__ import annotations

import enum
from typing import Any

import attrs

from . import core
from .unfrozen import unfrozen

__all__ = ["Cutout", "Fault", "FaultKind", "Layer", "HALF_BIT_FAULTS", "KINDS", "UnfrozenFault", "fault_of"]


class Layer(enum.IntEnum):
    """The layers from level changes up to instructions."""

    EDGE = 1
    HALF_BIT = 2
    BIT = 3
    PACKET = 4
    INSTRUCTION = 5


class FaultKind(enum.IntEnum):
    """What is wrong. The numbers are the core's answers, and a port's."""

    #: A half-bit shorter than any (S-9.1 A). Detail: its duration, ns.
    SHORT = core.SHORT
    #: A half-bit longer than a one's and shorter than a zero's (S-9.1 A). Detail: its duration, ns.
    BETWEEN = core.BETWEEN
    #: A half-bit longer than any (S-9.1 A). Detail: its duration, ns.
    LONG = core.LONG
    #: Half of a one-bit without its other half (S-9.1 A). Detail: its duration, ns.
    LONE_ONE = core.LONE_ONE
    #: Half of a zero-bit without its other half (S-9.1 A). Detail: its duration, ns.
    LONE_ZERO = core.LONE_ZERO
    #: The halves of a one-bit differ too much (S-9.1 A). Detail: the difference, ns.
    UNEQUAL = core.UNEQUAL
    #: A whole zero-bit is too long (S-9.1 A). Detail: its duration, ns.
    STRETCHED = core.STRETCHED
    #: A start bit after too few one-bits (S-9.2 A). Detail: how many there were.
    PREAMBLE = core.PREAMBLE
    #: Ten one-bits in a row inside a packet, hence a preamble (S-9.2 A). The core's table has it to be
    #: total; no signal gives it, since the ninth one in a row is taken for an end bit. Detail: bytes complete.
    RUN = core.RUN
    #: A packet end bit too soon (S-9.2 A). Detail: bytes complete.
    FEW_BYTES = core.FEW_BYTES
    #: No packet end bit after the longest packet allowed (S-9.2.1 B). Detail: bytes complete.
    MANY_BYTES = core.MANY_BYTES
    #: The error detection byte disagrees (S-9.2 A). Detail: the exclusive or of all bytes, not 0.
    ERROR_BYTE = core.ERROR_BYTE
    #: The capture starts or ends inside a packet. Detail: bytes complete.
    CUT = core.CUT
    #: No reading of the bits fits the times (decision by sequence). Detail: 0.
    UNCLEAR = core.UNCLEAR


_WORDS = {
    FaultKind.SHORT: "half-bit of {us} us is shorter than any",
    FaultKind.BETWEEN: "half-bit of {us} us is too long for a one and too short for a zero",
    FaultKind.LONG: "half-bit of {us} us is longer than any",
    FaultKind.LONE_ONE: "half of a one-bit, {us} us, without its other half",
    FaultKind.LONE_ZERO: "half of a zero-bit, {us} us, without its other half",
    FaultKind.UNEQUAL: "halves of a one-bit differ by {us} us",
    FaultKind.STRETCHED: "zero-bit of {us} us is too long as a whole",
    FaultKind.PREAMBLE: "start bit after {n} one-bits: too few for a preamble",
    FaultKind.RUN: "preamble inside a packet, after byte {n}",
    FaultKind.FEW_BYTES: "packet ends after {n} bytes: too few",
    FaultKind.MANY_BYTES: "packet goes on after {n} bytes: too many",
    FaultKind.ERROR_BYTE: "error detection byte is off by {n:08b}",
    FaultKind.UNCLEAR: "no reading of the bits fits the times",
    FaultKind.CUT: "the capture starts or ends inside a packet",
}


@attrs.frozen(slots=True, weakref_slot=False)
class Fault:
    """Something wrong, and the stretch of the signal lost to it.

    Seen at layers 2 and 3 a fault covers one half-bit or bit. At layer 4 and above it
    covers all that was lost: from the torn packet's preamble (or from the half-bit, where
    no packet was torn) up to the next preamble, and names what went wrong first in it.
    """

    #: What is wrong.
    kind: FaultKind
    #: The layer that found it.
    layer: Layer
    #: First ns of the stretch that is lost, from the capture's start.
    start: int
    #: The ns after it.
    end: int
    #: Where it went wrong: the half-bit's or bit's start, ns. For UNEQUAL the change between
    #: its halves.
    at: int
    #: A number that says more; which one, each :class:`FaultKind` says.
    detail: int = 0
    #: The bytes of the torn packet that were complete.
    data: bytes = b""
    #: How many half-bits and bits in the stretch were wrong.
    count: int = 1

    def __str__(self) -> str:
        return _WORDS[self.kind].format(us=f"{self.detail / 1000:g}", n=self.detail)


#: To make faults fast with.
UnfrozenFault = unfrozen(Fault)

#: The core's answers about a single half-bit, and about a whole bit.
HALF_BIT_FAULTS = frozenset((core.SHORT, core.BETWEEN, core.LONG))
_BIT_FAULTS = (core.LONE_ONE, core.LONE_ZERO, core.UNEQUAL, core.STRETCHED)


def _layer(kind: FaultKind) -> Layer:
    if kind in HALF_BIT_FAULTS:
        return Layer.HALF_BIT
    return Layer.BIT if kind in _BIT_FAULTS else Layer.PACKET


#: The core's answers: their kinds, and the layers that find them. Asking an enumeration takes ten times as long.
KINDS = {int(kind): (kind, _layer(kind)) for kind in FaultKind}


def fault_of(
    answer: int, start: int, end: int, at: int, detail: int, data: bytes = b"", count: int = 1
) -> Fault:
    """The fault of one of the core's answers, in a third of the time that ``Fault(...)`` takes."""
    new: Any = UnfrozenFault()
    new.kind, new.layer = KINDS[answer]
    new.start, new.end, new.at, new.detail = start, end, at, detail
    new.data, new.count = data, count
    new.__class__ = Fault
    fault: Fault = new
    return fault


@attrs.frozen(slots=True)
class Cutout:
    """A stretch after a packet in which the station shorted the rails so that decoders may speak.

    Bi-directional communication (S-9.3.2, RCN-217, both from memory). Not a fault.
    """

    #: First ns, from the capture's start: the end of the packet before.
    start: int
    #: The ns after it.
    end: int

    def __str__(self) -> str:
        return f"cutout of {(self.end - self.start) / 1000:g} us"
