"""Packets, or parts of them, that no single instruction describes."""

from __future__ import annotations

from typing import Any, ClassVar

import attrs

from .address import JsonValue, NoAddress
from .base import BRIEF, Instruction, brief, hexadecimal
from .checksum import crc8
from .field import accepted, octets

__all__ = ["AdvancedExtended", "Ambiguous", "Damaged", "Reserved", "Unknown"]


@attrs.frozen(slots=True)
class Reserved(Instruction):
    """Bytes the standards keep for later. If nobody knows their length, they end the packet."""

    name: ClassVar[str] = "Reserved"
    #: The bytes, without address and error detection byte.
    data: bytes = octets(0, None)

    def __str__(self) -> str:
        return f"reserved: {hexadecimal(self.data)}"


@attrs.frozen(slots=True)
class AdvancedExtended(Reserved):
    """An advanced extended packet, to address 253 or 254: logon of decoders (S-9.2.1.1, RCN-218, from memory).

    What its bytes mean is not read: they are reserved in the documents that were. A CRC-8 stands before the error
    detection byte, over all bytes before it; not in each such packet, as far as remembered.
    """

    name: ClassVar[str] = "Advanced Extended Packet"

    @property
    def crc_agrees(self) -> bool:
        """Whether its last byte is the CRC-8 of those before it, the address byte included."""
        return crc8(self.address.to_bytes() + self.data) == 0

    def meaning(self) -> dict[str, JsonValue]:
        return {"crc_agrees": self.crc_agrees}

    @property
    def brief(self) -> str:
        return brief(f"advanced {hexadecimal(self.data)}")

    def __str__(self) -> str:
        agrees = "agrees" if self.crc_agrees else "does not agree"
        return f"advanced extended packet: {hexadecimal(self.data)}, CRC-8 {agrees}"


@attrs.frozen(slots=True)
class Unknown(Instruction):
    """Bytes that fit no pattern of the registry; they end the packet."""

    name: ClassVar[str] = "Unknown"
    #: The bytes, without address and error detection byte. Empty if nothing follows the address.
    data: bytes = octets(0, None)

    def __str__(self) -> str:
        return f"unknown: {self.data.hex(' ').upper() or 'no instruction'}"


@attrs.frozen(slots=True)
class Damaged(Instruction):
    """A packet that is none: the error detection byte is wrong, or it has fewer than two bytes.

    What was sent is not known, so it does not go back to bytes. Layer 4 gives no such packets.
    """

    name: ClassVar[str] = "Damaged"
    #: All bytes as received.
    data: bytes = octets(0, None)

    def __str__(self) -> str:
        return f"damaged packet: {hexadecimal(self.data)}"


def _readings() -> Any:
    words = "two or more readings, each a tuple of one or more instructions"
    return accepted(_are_readings, words, metadata={"readings": True})


def _are_readings(value: object) -> bool:
    if not isinstance(value, tuple) or len(value) < 2:
        return False
    for reading in value:
        if not isinstance(reading, tuple) or not reading:
            return False
        for one in reading:
            if not isinstance(one, Instruction):
                return False
    return True


@attrs.frozen(slots=True)
class Ambiguous(Instruction):
    """A packet that can be read in more than one way, and nothing decides which.

    It has the form of service mode and nothing says whether service mode is on (S-9.2.3); or documents of different age
    read the same bytes differently.
    """

    name: ClassVar[str] = "Ambiguous"
    #: The readings, two or more; each is the instructions of the whole packet. Those of service mode have
    #: :class:`NoAddress`, and come last.
    readings: tuple[tuple[Instruction, ...], ...] = _readings()

    @property
    def brief(self) -> str:
        """The readings side by side; the longest is cut until there is room for all."""
        words = ["; ".join(one.brief for one in reading) for reading in self.readings]
        while sum(map(len, words)) + 3 * (len(words) - 1) > BRIEF:
            longest = max(words, key=len)
            words[words.index(longest)] = brief(longest, len(longest) - 1)
        return " | ".join(words)

    def __str__(self) -> str:
        service = [reading for reading in self.readings if isinstance(reading[0].address, NoAddress)]
        mode = "operations mode, " if service else ""
        words = [
            "service mode, " + "; ".join(map(str, reading))
            if reading in service
            else mode + "; ".join(f"{one.address}: {one}" for one in reading)
            for reading in self.readings
        ]
        return "either " + "; or ".join(words)
