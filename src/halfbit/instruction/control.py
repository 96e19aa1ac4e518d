"""Decoder control, consist control, decoder lock, address query and idle (S-9.2 B, S-9.2.1 C, S-9.2.3)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import JsonValue
from .base import Instruction, brief, hexadecimal
from .field import flag, integer, octets

__all__ = [
    "AddressQuery", "ConsistControl", "DecoderAcknowledgementRequest", "DecoderLock", "DigitalDecoderReset",
    "FactoryTest", "HardReset", "Idle", "SetDecoderFlags", "SetExtendedAddressing",
]  # fmt: skip


@attrs.frozen(slots=True)
class DigitalDecoderReset(Instruction):
    """Digital decoder reset: 00000000; as a broadcast, the reset packet (S-9.2 B, S-9.2.1 C)."""

    name: ClassVar[str] = "Digital Decoder Reset"
    resets_decoder: ClassVar[bool] = True
    brief: ClassVar[str] = "reset"


@attrs.frozen(slots=True)
class HardReset(Instruction):
    """Hard reset: 00000001 (S-9.2.1 C)."""

    name: ClassVar[str] = "Hard Reset"


@attrs.frozen(slots=True)
class FactoryTest(Instruction):
    """Factory test: 0000001F, then bytes with a meaning that the decoder's maker chose (S-9.2.1 C)."""

    name: ClassVar[str] = "Factory Test"
    #: F.
    f: bool = flag()
    #: All following bytes, without the error detection byte.
    data: bytes = octets(0, None)

    @property
    def brief(self) -> str:
        """F and the bytes, cut to at most 40 characters."""
        return brief(f"factory test F={int(self.f)}, {hexadecimal(self.data)}")

    def __str__(self) -> str:
        return f"factory test: F {int(self.f)}, bytes {self.data.hex(' ').upper() or 'none'}"


_FLAGS = {
    0b0000: "disable 111 instructions",
    0b0100: "disable acknowledgement request",
    0b0101: "activate bi-directional communication",
    0b1000: "set bi-directional communication",
    0b1001: "set 111 instruction",
    0b1111: "accept 111 instructions",
}


@attrs.frozen(slots=True)
class SetDecoderFlags(Instruction):
    """Set decoder flags: 0000011D CCCC0SSS (S-9.2.1 C)."""

    name: ClassVar[str] = "Set Decoder Flags"
    #: D: the flag's new value.
    value: bool = flag()
    #: CCCC: the flag.
    code: int = integer(0, 15)
    #: SSS: the decoder, if several share the address; 0 for all of them.
    sub_address: int = integer(0, 7)

    @property
    def flag_name(self) -> str | None:
        """The name of the flag; ``None`` if the standard does not define it (S-9.2.1 C)."""
        return _FLAGS.get(self.code)

    def meaning(self) -> dict[str, JsonValue]:
        """``flag_name``, for ``as_dict()``."""
        return {"flag_name": self.flag_name}

    @property
    def brief(self) -> str:
        """Flag, value and sub-address, in at most 40 characters."""
        return f"flag {self.code:04b} := {int(self.value)}, sub-address {self.sub_address or 'all'}"

    def __str__(self) -> str:
        what = self.flag_name or f"flag {self.code:04b} of no stated meaning"
        whom = f"sub-address {self.sub_address}" if self.sub_address else "all sub-addresses"
        return f"set decoder flags: {what}, {int(self.value)}, {whom}"


@attrs.frozen(slots=True)
class SetExtendedAddressing(Instruction):
    """Set extended addressing, CV 29 bit 5: 0000101D (S-9.2.1 C)."""

    name: ClassVar[str] = "Set Extended Addressing"
    #: D: the new value of the bit; True: the decoder uses its long address.
    enabled: bool = flag()

    def __str__(self) -> str:
        return f"set extended addressing: CV 29 bit 5 := {int(self.enabled)}"


@attrs.frozen(slots=True)
class DecoderAcknowledgementRequest(Instruction):
    """Decoder acknowledgement request: 0000111D (S-9.2.1 C)."""

    name: ClassVar[str] = "Decoder Acknowledgement Request"
    #: D.
    value: bool = flag()

    def __str__(self) -> str:
        return f"decoder acknowledgement request: {int(self.value)}"


@attrs.frozen(slots=True)
class ConsistControl(Instruction):
    """Set consist address: 0001001R 0AAAAAAA (S-9.2.1 C)."""

    name: ClassVar[str] = "Consist Control"
    #: R: True if the locomotive runs reversed in the consist.
    reversed: bool = flag()
    #: A: the consist's address; 0 takes the locomotive out of its consist.
    number: int = integer(0, 127)

    @property
    def brief(self) -> str:
        """The consist's address, and the direction if reversed, in at most 40 characters."""
        return f"consist {self.number or 'none'}{', reversed' if self.reversed else ''}"

    def __str__(self) -> str:
        direction = "reversed direction" if self.reversed else "normal direction"
        if self.number == 0:
            return f"consist control: no consist, {direction}"
        return f"consist control: consist address {self.number}, {direction}"


@attrs.frozen(slots=True)
class DecoderLock(Instruction):
    """Decoder lock, a broadcast: 11111001 0AAAAAAA (S-9.2.3 appendix B)."""

    name: ClassVar[str] = "Decoder Lock"
    #: A: the address.
    number: int = integer(0, 127)

    def __str__(self) -> str:
        return f"decoder lock: address {self.number}"


@attrs.frozen(slots=True)
class AddressQuery(Instruction):
    """Address query, to a short address from 1 to 111: 11111001 (S-9.2.3 appendix A)."""

    name: ClassVar[str] = "Address Query"


@attrs.frozen(slots=True)
class Idle(Instruction):
    """Idle, for no decoder: 11111111 00000000 (S-9.2 B)."""

    name: ClassVar[str] = "Idle"
