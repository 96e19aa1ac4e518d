"""Functions, binary states and analog outputs (S-9.2.1 C)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import attrs

from .address import JsonValue
from .base import Instruction, choice, flag, integer

__all__ = [
    "AnalogFunction",
    "BinaryStateLong",
    "BinaryStateShort",
    "FunctionExpansion",
    "FunctionGroupOne",
    "FunctionGroupTwo",
]


def _states(first: int, count: int, bits: int) -> dict[int, bool]:
    """Function number to state, the lowest function in bit 0."""
    return {first + index: bits >> index & 1 == 1 for index in range(count)}


def _words(functions: Mapping[int, bool]) -> str:
    return ", ".join(f"F{index} {_on(state)}" for index, state in functions.items())


def _json(functions: Mapping[int, bool]) -> dict[str, JsonValue]:
    return {"functions": {f"F{index}": state for index, state in functions.items()}}


def _on(state: bool) -> str:
    return "on" if state else "off"


@attrs.frozen(slots=True)
class FunctionGroupOne(Instruction):
    """Function group one: 100LDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "Function Group One"
    #: L, bit 4: FL, where the decoder's CV 29 has bit 1 set; else it means nothing.
    bit4: bool = flag()
    #: DDDD: F1 in bit 0 to F4 in bit 3.
    states: int = integer(0, 15)

    @property
    def functions(self) -> dict[int, bool]:
        """F1 to F4: number to state."""
        return _states(1, 4, self.states)

    @property
    def fl_readings(self) -> tuple[bool | None, ...]:
        """What it says of FL: with 28 steps its state, with 14 steps nothing (``None``).

        One reading only where the decoder's configuration is known.
        """
        known = self.evidence.configuration
        if known is None:
            return (self.bit4, None)
        return (self.bit4,) if known.steps == 28 else (None,)

    def details(self) -> dict[str, JsonValue]:
        return {"fl_readings": list(self.fl_readings), **_json(self.functions)}

    def __str__(self) -> str:
        readings = self.fl_readings
        if readings == (None,):
            words = "no FL"
        elif len(readings) == 1:
            words = f"FL {_on(self.bit4)}"
        else:
            words = f"FL {_on(self.bit4)} or no FL"
        return f"function group one: {words}, {_words(self.functions)}"


@attrs.frozen(slots=True)
class FunctionGroupTwo(Instruction):
    """Function group two: 1011DDDD for F5 to F8, 1010DDDD for F9 to F12 (S-9.2.1 C)."""

    name: ClassVar[str] = "Function Group Two"
    #: The lowest function: 5 or 9.
    first: int = choice(5, 9)
    #: DDDD: the lowest function in bit 0.
    states: int = integer(0, 15)

    @property
    def functions(self) -> dict[int, bool]:
        """Four functions: number to state."""
        return _states(self.first, 4, self.states)

    def details(self) -> dict[str, JsonValue]:
        return _json(self.functions)

    def __str__(self) -> str:
        return f"function group two: {_words(self.functions)}"


@attrs.frozen(slots=True)
class FunctionExpansion(Instruction):
    """F13 to F20 and F21 to F28 (S-9.2.1 C), F29 to F68 in eights (RCN-212, from memory)."""

    name: ClassVar[str] = "Feature Expansion, Functions"
    #: The lowest function: 13, 21, 29, 37, 45, 53 or 61.
    first: int = choice(13, 21, 29, 37, 45, 53, 61)
    #: DDDDDDDD: the lowest function in bit 0.
    states: int = integer(0, 255)

    @property
    def functions(self) -> dict[int, bool]:
        """Eight functions: number to state."""
        return _states(self.first, 8, self.states)

    def details(self) -> dict[str, JsonValue]:
        return _json(self.functions)

    def __str__(self) -> str:
        return f"functions: {_words(self.functions)}"


def _binary_state(number: int, state: bool) -> str:
    return f"binary state: {number if number else 'all'} {_on(state)}"


@attrs.frozen(slots=True)
class BinaryStateLong(Instruction):
    """Binary state control, long form: 11000000 DLLLLLLL HHHHHHHH (S-9.2.1 C)."""

    name: ClassVar[str] = "Binary State Control, Long Form"
    #: D.
    state: bool = flag()
    #: H above L: the binary state; 0: all.
    number: int = integer(0, 32767)

    def __str__(self) -> str:
        return _binary_state(self.number, self.state)


@attrs.frozen(slots=True)
class BinaryStateShort(Instruction):
    """Binary state control, short form: 11011101 DLLLLLLL (S-9.2.1 C)."""

    name: ClassVar[str] = "Binary State Control, Short Form"
    #: D.
    state: bool = flag()
    #: L: the binary state; 0: all.
    number: int = integer(0, 127)

    def __str__(self) -> str:
        return _binary_state(self.number, self.state)


@attrs.frozen(slots=True)
class AnalogFunction(Instruction):
    """Analog function group: 00111101 VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "Analog Function Group"
    #: V: which output; 1 is the volume.
    output: int = integer(0, 255)
    #: D.
    value: int = integer(0, 255)

    def __str__(self) -> str:
        what = "volume" if self.output == 1 else f"output {self.output}"
        return f"analog function: {what} := {self.value}"
