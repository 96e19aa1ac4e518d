"""Speed and direction, in their several forms (S-9.2 B, S-9.2.1 C)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import JsonValue
from .base import BRIEF, Instruction
from .field import flag, integer, octets
from .function import FunctionControl, function_words, states_of


@attrs.frozen(slots=True)
class SpeedReading:
    """One possible meaning of a speed code."""

    steps: int  #: Number of steps: 14, 28 or 126.
    step: int  #: The step, from 1; 0 for stop and emergency stop.
    emergency: bool = False  #: True for emergency stop: the motor gets no energy, the decoder does not brake slowly.
    direction_ignored: bool = False  #: True if decoders may ignore the direction for direction-sensitive functions.
    fl: bool | None = None  #: FL (the headlight); ``None`` if the packet does not carry it.

    @property
    def brief(self) -> str:
        """Step and number of steps, e.g. ``6/28``, ``e-stop/14 FL on``."""
        return f"{self.step or ('e-stop' if self.emergency else 'stop')}/{self.steps}" + self._fl(" ")

    def _fl(self, before: str) -> str:
        return "" if self.fl is None else f"{before}FL {'on' if self.fl else 'off'}"

    def __str__(self) -> str:
        step = f"step {self.step}" if self.step else "emergency stop" if self.emergency else "stop"
        ignored = ", direction may be ignored" if self.direction_ignored else ""
        return f"{step} of {self.steps} steps{ignored}{self._fl(' with ')}"


def reading_of(code: int, steps: int) -> SpeedReading:
    """A speed code, read with this number of steps.

    CSSSS with 28 steps: C is the lowest bit of the step; with 14 steps: C is FL (S-9.2 B). SSSSSSS with 126 steps
    (S-9.2.1 C). S is 0 for stop and 1 for emergency stop, else step + 1.
    """
    if steps == 126:
        return SpeedReading(126, max(code - 1, 0), emergency=code == 1)
    c, s = code >> 4 == 1, code & 0b1111
    if steps == 14:
        return SpeedReading(14, max(s - 1, 0), emergency=s == 1, fl=c)
    return SpeedReading(28, 2 * s - 3 + c) if s > 1 else SpeedReading(28, 0, emergency=s == 1, direction_ignored=c)


def readings_of(code: int, steps: int | None) -> tuple[SpeedReading, ...]:
    """CSSSS read with 28 steps and with 14; only one of them if ``steps`` is known."""
    return tuple(reading_of(code, one) for one in ((28, 14) if steps is None else (steps,)))


def _brief(readings: tuple[SpeedReading, ...]) -> str:
    return " or ".join(reading.brief for reading in readings)


def _text(readings: tuple[SpeedReading, ...]) -> str:
    return ", or ".join(map(str, readings))


class SpeedControl(Instruction):
    """Base of all instructions that set speed and direction."""

    __slots__ = ()
    _meaning: ClassVar[tuple[str, ...]] = ("readings",)

    @property
    def forward(self) -> bool:
        """True for forward, False for reverse."""
        raise NotImplementedError

    @property
    def readings(self) -> tuple[SpeedReading, ...]:
        """The possible readings of the speed: more than one if the number of steps is not known."""
        raise NotImplementedError

    def _in_brief(self) -> str:
        ignored = any(reading.direction_ignored for reading in self.readings)
        direction = f"({self._direction()})" if ignored else self._direction()
        return f"{direction} {_brief(self.readings)}"

    def _direction(self) -> str:
        return "forward" if self.forward else "reverse"

    def __str__(self) -> str:
        return f"{self.name.lower()}: {self._direction()}, {_text(self.readings)}"


@attrs.frozen(slots=True)
class SpeedAndDirection(SpeedControl):
    """Speed and direction: 01DCSSSS (S-9.2 B, S-9.2.1 C, instructions 010 and 011)."""

    name: ClassVar[str] = "Speed and Direction"
    forward: bool = flag()
    code: int = integer(0, 31)  #: CSSSS, C the highest bit.

    @property
    def readings(self) -> tuple[SpeedReading, ...]:
        """Read with 28 steps and with 14; only one of them if the decoder's configuration is known."""
        return readings_of(self.code, self.packet_context.steps)


@attrs.frozen(slots=True)
class BroadcastStop(SpeedControl):
    """All multi-function decoders stop: 00000000 01DC000S as a whole packet (S-9.2 B)."""

    name: ClassVar[str] = "Broadcast Stop"
    forward: bool = flag()
    direction_ignored: bool = flag()  #: C: True if decoders may ignore the direction for direction-sensitive functions.
    emergency: bool = flag()  #: S: True cuts the motor's energy off; False brings the locomotive to a stop.

    @property
    def readings(self) -> tuple[SpeedReading, ...]:
        """One: stop. The number of steps does not matter; it is given as 28."""
        return (SpeedReading(28, 0, self.emergency, self.direction_ignored),)

    def _in_brief(self) -> str:
        direction = f"({self._direction()})" if self.direction_ignored else self._direction()
        return f"{direction} {'e-stop' if self.emergency else 'stop'}"

    def __str__(self) -> str:
        words = f"broadcast stop: {'stop delivering energy' if self.emergency else 'stop'}, {self._direction()}"
        return words + (", direction may be ignored" if self.direction_ignored else "")


@attrs.frozen(slots=True)
class SpeedControl128(SpeedControl):
    """128 speed step control: 00111111 DSSSSSSS (S-9.2.1 C)."""

    name: ClassVar[str] = "128 Speed Step Control"
    forward: bool = flag()
    code: int = integer(0, 127)

    @property
    def readings(self) -> tuple[SpeedReading, ...]:
        """One, with 126 steps."""
        return (reading_of(self.code, 126),)


@attrs.frozen(slots=True)
class RestrictedSpeedStep(Instruction):
    """Restricted speed step: 00111110 EUSSSSSS (S-9.2.1 C); or special operating modes (from memory).

    Later documents give these bytes another meaning, with another layout of the second byte. The packet does not show
    which one is meant, so both are here: the fields of S-9.2.1, and :attr:`modes`.
    """

    name: ClassVar[str] = "Restricted Speed Step or Special Operating Modes"
    _meaning: ClassVar[tuple[str, ...]] = ("readings", "modes")
    enabled: bool = flag()  #: E inverted: bit 0 in the packet enables the limit.
    bit6: bool = flag()  #: U, bit 6; S-9.2.1 gives it no meaning.
    bit5: bool = flag()  #: Bit 5; in the speed and direction instruction of S-9.2 this bit is the direction.
    code: int = integer(0, 31)  #: Bits 0 to 4, the speed step: CSSSS.

    @property
    def readings(self) -> tuple[SpeedReading, ...]:
        """The highest allowed step, read with 28 and with 14 steps; one reading if the configuration is known."""
        return readings_of(self.code, self.packet_context.steps)

    @property
    def limit(self) -> int | None:
        """Bits 0 to 5 of the limit: a speed code of S-9.2; ``None`` if the packet ends the limit."""
        return self.bit5 << 5 | self.code if self.enabled else None

    @property
    def modes(self) -> int:
        """The second byte, unchanged: position in a consist, shunting, direction bits (from memory)."""
        return (not self.enabled) << 7 | self.bit6 << 6 | self.bit5 << 5 | self.code

    def _in_brief(self) -> str:
        words = f"limit {_brief(self.readings)}" if self.enabled else "no limit"
        return f"{words} | modes {self.modes:02X}"

    def __str__(self) -> str:
        limit = f"{'enabled' if self.enabled else 'disabled'}, {_text(self.readings)}"
        return f"either restricted speed step: {limit}; or special operating modes: {self.modes:08b}"


@attrs.frozen(slots=True)
class SpeedDirectionFunctions(SpeedControl128, FunctionControl):
    """128 speed step control with functions: 00111100 DSSSSSSS and function bytes (RCN-212, from memory)."""

    name: ClassVar[str] = "Speed, Direction and Functions"
    states: bytes = octets(1, 4)  #: One to four bytes of function states; F0 is bit 0 of the first byte.

    @property
    def functions(self) -> dict[int, bool]:
        """Function number to state, from F0 up."""
        return states_of(0, 8 * len(self.states), int.from_bytes(self.states, "little"))

    def meaning(self) -> dict[str, JsonValue]:
        """``readings``, ``functions`` and ``fl_readings``, for ``as_dict()``."""
        return {**SpeedControl128.meaning(self), **FunctionControl.meaning(self)}

    def _in_brief(self) -> str:
        words = f"{self._direction()} {_brief(self.readings)}, "
        return words + function_words(self.functions, BRIEF - len(words))

    def __str__(self) -> str:
        functions = self.functions
        on = " ".join(f"F{index}" for index, state in functions.items() if state) or "none"
        return f"{SpeedControl.__str__(self)}, on of F0 to F{len(functions) - 1}: {on}"
