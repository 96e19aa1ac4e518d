"""Speed and direction, in their several forms (S-9.2 B, S-9.2.1 C)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import JsonValue
from .base import Instruction, flag, integer, octets

__all__ = [
    "BroadcastStop",
    "RestrictedSpeedStep",
    "SpeedAndDirection",
    "SpeedControl128",
    "SpeedDirectionFunctions",
    "SpeedReading",
]


@attrs.frozen(slots=True)
class SpeedReading:
    """One reading of a speed code."""

    #: How many steps there are: 14, 28 or 126.
    steps: int
    #: The step, from 1 up; 0 for stop and emergency stop.
    step: int
    #: Stop without momentum: no energy to the motor.
    emergency: bool = False
    #: Decoders may ignore the direction for direction-sensitive functions.
    direction_ignored: bool = False
    #: FL, where the form carries it.
    fl: bool | None = None

    def as_dict(self) -> dict[str, JsonValue]:
        """The fields in their order."""
        return {
            "steps": self.steps,
            "step": self.step,
            "emergency": self.emergency,
            "direction_ignored": self.direction_ignored,
            "fl": self.fl,
        }

    def __str__(self) -> str:
        if self.step:
            words = f"step {self.step}"
        else:
            words = "emergency stop" if self.emergency else "stop"
        words += f" of {self.steps} steps"
        if self.direction_ignored:
            words += ", direction may be ignored"
        if self.fl is not None:
            words += " with FL on" if self.fl else " with FL off"
        return words


def reading_28(code: int) -> SpeedReading:
    """CSSSS with 28 steps: C is the lowest step bit (S-9.2 B)."""
    low, high = code >> 4, code & 0b1111
    if high < 2:
        return SpeedReading(28, 0, emergency=high == 1, direction_ignored=low == 1)
    return SpeedReading(28, 2 * high - 3 + low)


def reading_14(code: int) -> SpeedReading:
    """CSSSS with 14 steps: C is FL (S-9.2 B)."""
    fl, high = code >> 4 == 1, code & 0b1111
    if high < 2:
        return SpeedReading(14, 0, emergency=high == 1, fl=fl)
    return SpeedReading(14, high - 1, fl=fl)


def reading_126(code: int) -> SpeedReading:
    """SSSSSSS: 0 stop, 1 emergency stop, else a step and 1 (S-9.2.1 C, 128 speed step control)."""
    if code < 2:
        return SpeedReading(126, 0, emergency=code == 1)
    return SpeedReading(126, code - 1)


def _direction(forward: bool) -> str:
    return "forward" if forward else "reverse"


@attrs.frozen(slots=True)
class SpeedAndDirection(Instruction):
    """Speed and direction: 01DCSSSS (S-9.2 B, S-9.2.1 C, instructions 010 and 011)."""

    name: ClassVar[str] = "Speed and Direction"
    #: D.
    forward: bool = flag()
    #: CSSSS, C the highest bit.
    code: int = integer(0, 31)

    @property
    def readings(self) -> tuple[SpeedReading, ...]:
        """With 28 steps and with 14; one only where the decoder's configuration is known."""
        known = self.evidence.configuration
        if known is None:
            return (reading_28(self.code), reading_14(self.code))
        return (reading_28(self.code) if known.steps == 28 else reading_14(self.code),)

    def details(self) -> dict[str, JsonValue]:
        return {"readings": [reading.as_dict() for reading in self.readings]}

    def __str__(self) -> str:
        words = ", or ".join(str(reading) for reading in self.readings)
        return f"speed and direction: {_direction(self.forward)}, {words}"


@attrs.frozen(slots=True)
class BroadcastStop(Instruction):
    """All multi-function decoders stop: 00000000 01DC000S (S-9.2 B)."""

    name: ClassVar[str] = "Broadcast Stop"
    #: D.
    forward: bool = flag()
    #: C: decoders may ignore the direction for direction-sensitive functions.
    direction_ignored: bool = flag()
    #: S: stop delivering energy to the motor, rather than bring the locomotive to a stop.
    emergency: bool = flag()

    def __str__(self) -> str:
        how = "stop delivering energy" if self.emergency else "stop"
        words = f"broadcast stop: {how}, {_direction(self.forward)}"
        return words + (", direction may be ignored" if self.direction_ignored else "")


@attrs.frozen(slots=True)
class SpeedControl128(Instruction):
    """128 speed step control: 00111111 DSSSSSSS (S-9.2.1 C)."""

    name: ClassVar[str] = "128 Speed Step Control"
    #: D.
    forward: bool = flag()
    #: SSSSSSS.
    code: int = integer(0, 127)

    @property
    def reading(self) -> SpeedReading:
        """What the code says."""
        return reading_126(self.code)

    def details(self) -> dict[str, JsonValue]:
        return {"readings": [self.reading.as_dict()]}

    def __str__(self) -> str:
        return f"128 speed step control: {_direction(self.forward)}, {self.reading}"


@attrs.frozen(slots=True)
class RestrictedSpeedStep(Instruction):
    """Restricted speed step: 00111110 E0SSSSSS (S-9.2.1 C)."""

    name: ClassVar[str] = "Restricted Speed Step"
    #: E inverted: a zero enables.
    enabled: bool = flag()
    #: SSSSSS.
    step: int = integer(0, 63)

    def __str__(self) -> str:
        return f"restricted speed step: {'enabled' if self.enabled else 'disabled'}, step {self.step}"


@attrs.frozen(slots=True)
class SpeedDirectionFunctions(Instruction):
    """Speed, direction and functions in one: 00111100 DSSSSSSS and function bytes (RCN-212, from memory)."""

    name: ClassVar[str] = "Speed, Direction and Functions"
    #: D.
    forward: bool = flag()
    #: SSSSSSS, as in 128 speed step control.
    code: int = integer(0, 127)
    #: One to four bytes of functions from F0 up, the lowest in bit 0 of the first.
    states: bytes = octets(1, 4)

    @property
    def reading(self) -> SpeedReading:
        """What the code says."""
        return reading_126(self.code)

    @property
    def functions(self) -> dict[int, bool]:
        """Function number to state, from F0 up."""
        bits = int.from_bytes(self.states, "little")
        return {index: bits >> index & 1 == 1 for index in range(8 * len(self.states))}

    def details(self) -> dict[str, JsonValue]:
        return {
            "readings": [self.reading.as_dict()],
            "functions": {f"F{index}": on for index, on in self.functions.items()},
        }

    def __str__(self) -> str:
        functions = self.functions
        on = " ".join(f"F{index}" for index, state in functions.items() if state) or "none"
        return (
            f"speed, direction and functions: {_direction(self.forward)}, {self.reading}, "
            f"on of F0 to F{len(functions) - 1}: {on}"
        )
