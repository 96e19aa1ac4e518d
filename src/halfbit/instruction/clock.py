"""Model time and date, both to broadcast, and system time (RCN-211, from memory)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .base import Instruction
from .field import flag, integer

__all__ = ["ModelDate", "ModelTime", "SystemTime"]


@attrs.frozen(slots=True)
class ModelTime(Instruction):
    """Model time: 11000001 00MMMMMM WWWHHHHH U0BBBBBB (RCN-211, from memory).

    Values that no clock shows can be sent, so they can be read.
    """

    name: ClassVar[str] = "Model Time"
    #: M.
    minute: int = integer(0, 63)
    #: W: 0 is Monday (from memory).
    weekday: int = integer(0, 7)
    #: H.
    hour: int = integer(0, 31)
    #: U: the clock was set, rather than ran on.
    update: bool = flag()
    #: B: how many times faster than real time the clock runs; 0: it stands.
    factor: int = integer(0, 63)

    def __str__(self) -> str:
        words = f"model time: {self.hour:02}:{self.minute:02}, weekday {self.weekday}, factor {self.factor}"
        return words + (", update" if self.update else "")

    @property
    def brief(self) -> str:
        words = f"time {self.hour:02}:{self.minute:02}, weekday {self.weekday}, x{self.factor}"
        return words + (", set" if self.update else "")


@attrs.frozen(slots=True)
class ModelDate(Instruction):
    """Model date: 11000001 010TTTTT MMMMYYYY YYYYYYYY (RCN-211, from memory)."""

    name: ClassVar[str] = "Model Date"
    #: T.
    day: int = integer(0, 31)
    #: M.
    month: int = integer(0, 15)
    #: Y.
    year: int = integer(0, 4095)

    def __str__(self) -> str:
        return f"model date: {self.year:04}-{self.month:02}-{self.day:02}"


@attrs.frozen(slots=True)
class SystemTime(Instruction):
    """System time: 11000010 and two bytes (RCN-211, from memory)."""

    name: ClassVar[str] = "System Time"
    #: ms since the system started, without what is above 16 bits.
    milliseconds: int = integer(0, 65535)

    def __str__(self) -> str:
        return f"system time: {self.milliseconds} ms"
