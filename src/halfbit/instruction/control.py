"""Decoder and consist control, decoder lock, address query, idle, and clocks (S-9.2 B, S-9.2.1 C, S-9.2.3)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .base import Instruction, hexadecimal
from .field import flag, integer, octets


class DigitalDecoderReset(Instruction):
    """Digital decoder reset: 00000000; as a broadcast, the reset packet (S-9.2 B, S-9.2.1 C)."""

    __slots__ = ()
    name: ClassVar[str] = "Digital Decoder Reset"
    brief: ClassVar[str] = "reset"


class HardReset(Instruction):
    """Hard reset: 00000001 (S-9.2.1 C)."""

    __slots__ = ()
    name: ClassVar[str] = "Hard Reset"


@attrs.frozen(slots=True)
class FactoryTest(Instruction):
    """Factory test: 0000001F, then bytes with a meaning that the decoder's maker chose (S-9.2.1 C)."""

    name: ClassVar[str] = "Factory Test"
    f: bool = flag()
    data: bytes = octets(0, None)  #: All following bytes, without the error detection byte.

    def _in_brief(self) -> str:
        return f"factory test F={int(self.f)}, {hexadecimal(self.data)}"

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
    _meaning: ClassVar[tuple[str, ...]] = ("flag_name",)
    value: bool = flag()  #: D: the flag's new value.
    code: int = integer(0, 15)  #: CCCC: the flag.
    sub_address: int = integer(0, 7)  #: SSS: the decoder, if several share the address; 0 for all of them.

    @property
    def flag_name(self) -> str | None:
        """The name of the flag; ``None`` if the standard does not define it (S-9.2.1 C)."""
        return _FLAGS.get(self.code)

    def _in_brief(self) -> str:
        return f"flag {self.code:04b} := {int(self.value)}, sub-address {self.sub_address or 'all'}"

    def __str__(self) -> str:
        what = self.flag_name or f"flag {self.code:04b} of no stated meaning"
        whom = f"sub-address {self.sub_address}" if self.sub_address else "all sub-addresses"
        return f"set decoder flags: {what}, {int(self.value)}, {whom}"


@attrs.frozen(slots=True)
class SetExtendedAddressing(Instruction):
    """Set extended addressing, CV 29 bit 5: 0000101D (S-9.2.1 C)."""

    name: ClassVar[str] = "Set Extended Addressing"
    enabled: bool = flag()  #: D: the new value of the bit; True: the decoder uses its long address.

    def __str__(self) -> str:
        return f"set extended addressing: CV 29 bit 5 := {int(self.enabled)}"


@attrs.frozen(slots=True)
class DecoderAcknowledgementRequest(Instruction):
    """Decoder acknowledgement request: 0000111D (S-9.2.1 C)."""

    name: ClassVar[str] = "Decoder Acknowledgement Request"
    value: bool = flag()

    def __str__(self) -> str:
        return f"decoder acknowledgement request: {int(self.value)}"


@attrs.frozen(slots=True)
class ConsistControl(Instruction):
    """Set consist address: 0001001R 0AAAAAAA (S-9.2.1 C)."""

    name: ClassVar[str] = "Consist Control"
    reversed: bool = flag()  #: R: True if the locomotive runs reversed in the consist.
    number: int = integer(0, 127)  #: A: the consist's address; 0 takes the locomotive out of its consist.

    @property
    def cv19(self) -> int:
        """The value that CV 19 gets (S-9.2.1 C)."""
        return self.number | self.reversed << 7 if self.number else 0

    def _in_brief(self) -> str:
        return f"consist {self.number or 'none'}{', reversed' if self.reversed else ''}"

    def __str__(self) -> str:
        consist = f"consist address {self.number}" if self.number else "no consist"
        return f"consist control: {consist}, {'reversed' if self.reversed else 'normal'} direction"


@attrs.frozen(slots=True)
class DecoderLock(Instruction):
    """Decoder lock, a broadcast: 11111001 0AAAAAAA (S-9.2.3 appendix B)."""

    name: ClassVar[str] = "Decoder Lock"
    number: int = integer(0, 127)  #: A: the address.

    def __str__(self) -> str:
        return f"decoder lock: address {self.number}"


class AddressQuery(Instruction):
    """Address query, to a short address from 1 to 111: 11111001 (S-9.2.3 appendix A)."""

    __slots__ = ()
    name: ClassVar[str] = "Address Query"


class Idle(Instruction):
    """Idle, for no decoder: 11111111 00000000 (S-9.2 B)."""

    __slots__ = ()
    name: ClassVar[str] = "Idle"


@attrs.frozen(slots=True)
class ModelTime(Instruction):
    """Model time: 11000001 00MMMMMM WWWHHHHH U0BBBBBB (RCN-211, from memory).

    The fields accept every value that the bits can hold, also hour 31: a station can send it.
    """

    name: ClassVar[str] = "Model Time"
    minute: int = integer(0, 63)  #: M: minute of the hour.
    weekday: int = integer(0, 7)  #: W: 0 is Monday (from memory).
    hour: int = integer(0, 31)  #: H: hour of the day.
    update: bool = flag()  #: U: True if the clock was set, False if it ran on normally.
    factor: int = integer(0, 63)  #: B: the clock runs this many times faster than real time; 0 if it is stopped.

    def __str__(self) -> str:
        words = f"model time: {self.hour:02}:{self.minute:02}, weekday {self.weekday}, factor {self.factor}"
        return words + (", update" if self.update else "")

    def _in_brief(self) -> str:
        words = f"time {self.hour:02}:{self.minute:02}, weekday {self.weekday}, x{self.factor}"
        return words + (", set" if self.update else "")


@attrs.frozen(slots=True)
class ModelDate(Instruction):
    """Model date: 11000001 010TTTTT MMMMYYYY YYYYYYYY (RCN-211, from memory)."""

    name: ClassVar[str] = "Model Date"
    day: int = integer(0, 31)  #: T: day of the month.
    month: int = integer(0, 15)  #: M: month of the year.
    year: int = integer(0, 4095)  #: Y: year.

    def __str__(self) -> str:
        return f"model date: {self.year:04}-{self.month:02}-{self.day:02}"


@attrs.frozen(slots=True)
class SystemTime(Instruction):
    """System time: 11000010 and two bytes (RCN-211, from memory)."""

    name: ClassVar[str] = "System Time"
    milliseconds: int = integer(0, 65535)  #: Milliseconds since the system started, modulo 65536.

    def __str__(self) -> str:
        return f"system time: {self.milliseconds} ms"
