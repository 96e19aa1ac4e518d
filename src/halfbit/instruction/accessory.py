"""Instructions to accessory decoders (S-9.2.1 D)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .base import Instruction
from .field import flag, integer


@attrs.frozen(slots=True)
class BasicAccessory(Instruction):
    """Basic accessory decoder packet: 10AAAAAA 1AAACDDD (S-9.2.1 D).

    The pair and the output are part of the address.
    """

    name: ClassVar[str] = "Basic Accessory Decoder Packet"
    activate: bool = flag()  #: C: True activates the output, False deactivates it.

    def _in_brief(self) -> str:
        board = getattr(self.address, "board", "all")
        pair, output = getattr(self.address, "pair", "-"), getattr(self.address, "output", "-")
        return f"output {board}.{pair}.{output} {'on' if self.activate else 'off'}"

    def __str__(self) -> str:
        return f"basic accessory: {'activate' if self.activate else 'deactivate'}"


@attrs.frozen(slots=True)
class ExtendedAccessory(Instruction):
    """Extended accessory decoder packet: 10AAAAAA 0AAA0AA1 and the aspect (S-9.2.1 D).

    S-9.2.1 has three zeros, then five bits of aspect; later documents use all eight bits (from memory).
    """

    name: ClassVar[str] = "Extended Accessory Decoder Packet"
    aspect: int = integer(0, 255)  #: The aspect that the signal must show; 0 is absolute stop.

    def _in_brief(self) -> str:
        return f"aspect {self.aspect}" + (", stop" if self.aspect == 0 else "")

    def __str__(self) -> str:
        return f"extended accessory: aspect {self.aspect}" + (", absolute stop" if self.aspect == 0 else "")


class AccessoryNop(Instruction):
    """Accessory NOP: 10AAAAAA 0AAA1AAT (RCN-213, from memory).

    It changes nothing; it only gives the decoder a chance to answer. T is 0 for a basic address, 1 for an extended one.
    """

    __slots__ = ()
    name: ClassVar[str] = "Accessory NOP"

    def __str__(self) -> str:
        return "accessory NOP"
