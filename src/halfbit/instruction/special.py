"""Packets, or parts of packets, without exactly one known meaning."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import NoAddress
from .base import BRIEF, Instruction, brief, hexadecimal
from .field import accepted, octets, tuple_of

_POLYNOMIAL = 0b1000_1100  #: x^8 + x^5 + x^4 + 1 without the x^8 term, lowest bit first.


def crc8(data: bytes) -> int:
    """CRC-8: x^8 + x^5 + x^4 + 1, least significant bit first, starting at 0 (S-9.2.1.1, RCN-218, from memory).

    :return: 0 to 255; 0 if the data ends with its own correct CRC-8.
    """
    value = 0
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (_POLYNOMIAL if value & 1 else 0)
    return value


@attrs.frozen(slots=True)
class Reserved(Instruction):
    """Bytes that the standards reserve. If their length is not known, they extend to the end of the packet."""

    name: ClassVar[str] = "Reserved"
    data: bytes = octets(0, None)  #: The bytes, without address and error detection byte.

    def __str__(self) -> str:
        return f"reserved: {hexadecimal(self.data)}"


class AdvancedExtended(Reserved):
    """An advanced extended packet, to address 253 or 254: logon of decoders (S-9.2.1.1, RCN-218, from memory).

    The bytes are not decoded, because the standards used here reserve them. Just before the error detection byte there
    is a CRC-8 of all earlier bytes; some of these packets do not have it (from memory).
    """

    __slots__ = ()
    name: ClassVar[str] = "Advanced Extended Packet"
    _meaning: ClassVar[tuple[str, ...]] = ("crc_agrees",)

    @property
    def crc_agrees(self) -> bool:
        """True if its last byte is the CRC-8 of all bytes before it, address byte included."""
        return crc8(self.address.to_bytes() + self.data) == 0

    def _in_brief(self) -> str:
        return f"advanced {hexadecimal(self.data)}"

    def __str__(self) -> str:
        agrees = "agrees" if self.crc_agrees else "does not agree"
        return f"advanced extended packet: {hexadecimal(self.data)}, CRC-8 {agrees}"


@attrs.frozen(slots=True)
class Unknown(Instruction):
    """Bytes that match no pattern of the registry, up to the end of the packet."""

    name: ClassVar[str] = "Unknown"
    #: The bytes, without address and error detection byte. Empty if nothing follows the address.
    data: bytes = octets(0, None)

    def __str__(self) -> str:
        return f"unknown: {self.data.hex(' ').upper() or 'no instruction'}"


@attrs.frozen(slots=True)
class Damaged(Instruction):
    """Not a valid packet: the error detection byte is wrong, or there are fewer than two bytes.

    It cannot be encoded, because the bytes that were sent are not known. Layer 4 gives no such packets.
    """

    name: ClassVar[str] = "Damaged"
    data: bytes = octets(0, None)  #: All bytes as received.

    def __str__(self) -> str:
        return f"damaged packet: {hexadecimal(self.data)}"


_are_instructions = tuple_of(lambda one: isinstance(one, Instruction))
_are_readings = tuple_of(lambda reading: _are_instructions(reading) and reading != ())


@attrs.frozen(slots=True)
class Ambiguous(Instruction):
    """A packet with two or more possible readings, and nothing decides between them.

    Either it has the form of service mode and the mode is not known (S-9.2.3), or documents of different age read the
    same bytes differently.
    """

    name: ClassVar[str] = "Ambiguous"
    #: Two or more readings. Each is the instructions of the whole packet. Service mode readings have :class:`NoAddress`
    #: and come last.
    readings: tuple[tuple[Instruction, ...], ...] = accepted(
        lambda value: _are_readings(value) and len(value) > 1,
        "two or more readings, each a tuple of one or more instructions",
        metadata={"readings": True},
    )

    def _in_brief(self) -> str:
        words = ["; ".join(one.brief for one in reading) for reading in self.readings]
        while sum(map(len, words)) + 3 * (len(words) - 1) > BRIEF:
            longest = max(words, key=len)
            words[words.index(longest)] = brief(longest, len(longest) - 1)
        return " | ".join(words)

    def __str__(self) -> str:
        service = [reading for reading in self.readings if isinstance(reading[0].address, NoAddress)]
        mode = "operations mode, " if service else ""
        others = [reading for reading in self.readings if reading not in service]
        words = [mode + "; ".join(f"{one.address}: {one}" for one in reading) for reading in others]
        words += ["service mode, " + "; ".join(map(str, reading)) for reading in service]
        return "either " + "; or ".join(words)
