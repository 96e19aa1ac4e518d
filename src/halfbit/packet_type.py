"""The value of layer 4, apart from its machine so that the account of time can make it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from operator import xor
from typing import Any

import attrs

from .unfrozen import unfrozen

__all__ = ["Packet", "UnfrozenPacket", "exclusive_or", "packet_of"]


@attrs.frozen(slots=True, weakref_slot=False)
class Packet:
    """A packet whose error detection byte agrees.

    From the end of the packet before (or of what was lost before) to the end of its packet end bit.
    """

    #: All bytes, address first, error detection byte last (S-9.2 A).
    data: bytes
    #: One-bits before the packet start bit, the end bit of the packet before among them where
    #: there was one (S-9.2 A lets it count); 255 stands for 255 or more.
    preamble: int = 0
    #: First ns of the preamble, from the capture's start.
    start: int = 0
    #: The ns after the packet end bit.
    end: int = 0
    #: How it was recovered, in words, where its bits were not plain to see; else empty.
    recovered: str = ""

    def __str__(self) -> str:
        return self.data.hex(" ").upper()


#: To make packets fast with.
UnfrozenPacket = unfrozen(Packet)


def packet_of(data: bytes, preamble: int, start: int, end: int) -> Packet:
    """A packet, in a third of the time that ``Packet(...)`` takes."""
    new: Any = UnfrozenPacket()
    new.data, new.preamble, new.start, new.end = data, preamble, start, end
    new.recovered = ""
    new.__class__ = Packet
    packet: Packet = new
    return packet


def exclusive_or(data: Iterable[int]) -> int:
    """The exclusive or of bytes; 0 for a whole packet whose error detection byte agrees (S-9.2 A)."""
    return reduce(xor, data, 0)
