"""Packets, or parts of them, that no single instruction describes."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .base import Instruction, octets

__all__ = ["Ambiguous", "Reserved", "Unknown"]


@attrs.frozen(slots=True)
class Reserved(Instruction):
    """Bytes the standards keep for later. Nobody knows their length, so they end the packet."""

    name: ClassVar[str] = "Reserved"
    #: The bytes, without address and error detection byte.
    data: bytes = octets(0, None)

    def __str__(self) -> str:
        return f"reserved: {self.data.hex(' ').upper()}"


@attrs.frozen(slots=True)
class Unknown(Instruction):
    """Bytes that fit no pattern of the registry; they end the packet."""

    name: ClassVar[str] = "Unknown"
    #: The bytes, without address and error detection byte. Empty where nothing follows the
    #: address. With no address and a wrong error detection byte: the whole packet.
    data: bytes = octets(0, None)

    def __str__(self) -> str:
        return f"unknown: {self.data.hex(' ').upper() or 'no instruction'}"


@attrs.frozen(slots=True)
class Ambiguous(Instruction):
    """A packet in the form of service mode, where nothing tells whether service mode is on (S-9.2.3)."""

    name: ClassVar[str] = "Ambiguous"
    #: What it is in operations mode, to a short address from 112 to 127.
    operations: tuple[Instruction, ...] = ()
    #: What it is in service mode.
    service: tuple[Instruction, ...] = ()

    def __str__(self) -> str:
        operations = "; ".join(f"{one.address}: {one}" for one in self.operations)
        service = "; ".join(str(one) for one in self.service)
        return f"either operations mode, {operations}; or service mode, {service}"
