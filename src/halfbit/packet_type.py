"""The value of layer 4, apart from its machine so that the account of time can make it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from operator import xor

import attrs

from .unfrozen import unfrozen

__all__ = ["Packet", "UnfrozenPacket", "exclusive_or"]


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


def exclusive_or(data: Iterable[int]) -> int:
    """The exclusive or of bytes; 0 for a whole packet whose error detection byte agrees (S-9.2 A)."""
    return reduce(xor, data, 0)
