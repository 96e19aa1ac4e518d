"""Model time and date, which are broadcast, and system time (RCN-211, from memory)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .base import Instruction
from .field import flag, integer

__all__ = ["ModelDate", "ModelTime", "SystemTime"]


@attrs.frozen(slots=True)
class ModelTime(Instruction):
    """Model time: 11000001 00MMMMMM WWWHHHHH U0BBBBBB (RCN-211, from memory).

    The fields accept every value that the bits can hold, also hour 31: a station can send it.
    """

    name: ClassVar[str] = "Model Time"
    #: M: minute of the hour.
    minute: int = integer(0, 63)
    #: W: 0 is Monday (from memory).
    weekday: int = integer(0, 7)
    #: H: hour of the day.
    hour: int = integer(0, 31)
    #: U: True if the clock was set, False if it ran on normally.
    update: bool = flag()
    #: B: the clock runs this many times faster than real time; 0 if it is stopped.
    factor: int = integer(0, 63)

    def __str__(self) -> str:
        words = f"model time: {self.hour:02}:{self.minute:02}, weekday {self.weekday}, factor {self.factor}"
        return words + (", update" if self.update else "")

    @property
    def brief(self) -> str:
        """Time, weekday and factor, in at most 40 characters."""
        words = f"time {self.hour:02}:{self.minute:02}, weekday {self.weekday}, x{self.factor}"
        return words + (", set" if self.update else "")


@attrs.frozen(slots=True)
class ModelDate(Instruction):
    """Model date: 11000001 010TTTTT MMMMYYYY YYYYYYYY (RCN-211, from memory)."""

    name: ClassVar[str] = "Model Date"
    #: T: day of the month.
    day: int = integer(0, 31)
    #: M: month of the year.
    month: int = integer(0, 15)
    #: Y: year.
    year: int = integer(0, 4095)

    def __str__(self) -> str:
        return f"model date: {self.year:04}-{self.month:02}-{self.day:02}"


@attrs.frozen(slots=True)
class SystemTime(Instruction):
    """System time: 11000010 and two bytes (RCN-211, from memory)."""

    name: ClassVar[str] = "System Time"
    #: Milliseconds since the system started, modulo 65536.
    milliseconds: int = integer(0, 65535)

    def __str__(self) -> str:
        return f"system time: {self.milliseconds} ms"
