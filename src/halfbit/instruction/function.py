"""Functions, binary states and analog outputs (S-9.2.1 C)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import attrs

from .address import JsonValue
from .base import BRIEF, Instruction
from .field import choice, flag, integer


def states_of(first: int, count: int, bits: int) -> dict[int, bool]:
    """Function number to state; function ``first`` is bit 0 of ``bits``."""
    return {first + index: bits >> index & 1 == 1 for index in range(count)}


def function_words(functions: Mapping[int, bool], room: int = 1000) -> str:
    """Neighbouring functions in one text, e.g. ``F1-F4: 1 3 on``.

    If that is longer than ``room`` characters, only the number of functions that are on: ``F1-F4: 2 on``.
    """
    on = [str(index) for index, state in functions.items() if state]
    head = f"F{min(functions)}-F{max(functions)}: "
    words = head + (" ".join(on) + " on" if on else "all off")
    return words if len(words) <= room else f"{head}{len(on)} on"


def _each(functions: Mapping[int, bool]) -> str:
    return ", ".join(f"F{index} {_on(state)}" for index, state in functions.items())


def _on(state: bool) -> str:
    return "on" if state else "off"


class FunctionControl(Instruction):
    """Base of all instructions that set functions."""

    __slots__ = ()

    @property
    def functions(self) -> dict[int, bool]:
        """Function number to state. F0 (FL) only if the packet certainly carries it."""
        raise NotImplementedError

    @property
    def fl_readings(self) -> tuple[bool | None, ...]:
        """The possible readings of FL (F0): a state, or ``None`` if the packet does not carry FL. One if certain."""
        return (self.functions.get(0),)

    def _in_brief(self) -> str:
        return function_words(self.functions, BRIEF)

    def meaning(self) -> dict[str, JsonValue]:
        """``functions`` and ``fl_readings``, for ``as_dict()``."""
        functions: dict[str, JsonValue] = {f"F{index}": state for index, state in self.functions.items()}
        return {"functions": functions, "fl_readings": list(self.fl_readings)}


@attrs.frozen(slots=True)
class FunctionGroupOne(FunctionControl):
    """Function group one: 100LDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "Function Group One"
    bit4: bool = flag()  #: L, bit 4: FL, if CV 29 bit 1 of the decoder is set; else it has no meaning.
    states: int = integer(0, 15)  #: DDDD: F1 in bit 0 to F4 in bit 3.

    @property
    def functions(self) -> dict[int, bool]:
        """F1 to F4; also F0 (FL) if the decoder's configuration is known and has 28 steps."""
        functions = states_of(1, 4, self.states)
        return {0: self.bit4, **functions} if self.packet_context.steps == 28 else functions

    @property
    def fl_readings(self) -> tuple[bool | None, ...]:
        """With 28 steps the state of FL, with 14 steps ``None``. Both readings if the configuration is not known."""
        return {28: (self.bit4,), 14: (None,), None: (self.bit4, None)}[self.packet_context.steps]

    def _fl(self) -> str:
        return " or ".join("no FL" if state is None else f"FL {_on(state)}" for state in self.fl_readings)

    def _in_brief(self) -> str:
        return f"{function_words(states_of(1, 4, self.states))}, {self._fl()}"

    def __str__(self) -> str:
        return f"function group one: {self._fl()}, {_each(states_of(1, 4, self.states))}"


@attrs.frozen(slots=True)
class FunctionGroupTwo(FunctionControl):
    """Function group two: 1011DDDD for F5 to F8, 1010DDDD for F9 to F12 (S-9.2.1 C)."""

    name: ClassVar[str] = "Function Group Two"
    first: int = choice(5, 9)  #: The lowest function.
    states: int = integer(0, 15)  #: DDDD: the lowest function in bit 0.

    @property
    def functions(self) -> dict[int, bool]:
        """The four functions: number to state."""
        return states_of(self.first, 4, self.states)

    def __str__(self) -> str:
        return f"function group two: {_each(self.functions)}"


@attrs.frozen(slots=True)
class FunctionExpansion(FunctionControl):
    """Eight functions: F13 to F20, F21 to F28 (S-9.2.1 C), or a group from F29 to F68 (RCN-212, from memory)."""

    name: ClassVar[str] = "Feature Expansion, Functions"
    first: int = choice(13, 21, 29, 37, 45, 53, 61)  #: The lowest function.
    states: int = integer(0, 255)  #: DDDDDDDD: the lowest function in bit 0.

    @property
    def functions(self) -> dict[int, bool]:
        """The eight functions: number to state."""
        return states_of(self.first, 8, self.states)

    def __str__(self) -> str:
        return f"functions: {_each(self.functions)}"


@attrs.frozen(slots=True)
class BinaryStateLong(Instruction):
    """Binary state control, long form: 11000000 DLLLLLLL HHHHHHHH (S-9.2.1 C).

    Binary states 1 to 127 must be sent in the short form.
    """

    name: ClassVar[str] = "Binary State Control, Long Form"
    _meaning: ClassVar[tuple[str, ...]] = ("needs_short_form",)
    state: bool = flag()
    number: int = integer(0, 32767)  #: H (high bits) and L (low bits): the binary state; 0 for all.

    @property
    def needs_short_form(self) -> bool:
        """True for binary states 1 to 127: the station should have sent the short form (S-9.2.1 C)."""
        return 1 <= self.number <= 127

    def __str__(self) -> str:
        words = _binary_state(self.number, self.state)
        return words + (", should have the short form" if self.needs_short_form else "")


@attrs.frozen(slots=True)
class BinaryStateShort(Instruction):
    """Binary state control, short form: 11011101 DLLLLLLL (S-9.2.1 C)."""

    name: ClassVar[str] = "Binary State Control, Short Form"
    state: bool = flag()
    number: int = integer(0, 127)  #: L: the binary state; 0 for all.

    def __str__(self) -> str:
        return _binary_state(self.number, self.state)


def _binary_state(number: int, state: bool) -> str:
    return f"binary state: {number or 'all'} {_on(state)}"


@attrs.frozen(slots=True)
class AnalogFunction(Instruction):
    """Analog function group: 00111101 VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "Analog Function Group"
    output: int = integer(0, 255)  #: V: the output; 1 is the volume, all others are reserved (S-9.2.1 C).
    value: int = integer(0, 255)

    def _in_brief(self) -> str:
        return f"{'volume' if self.output == 1 else f'analog output {self.output}'} := {self.value}"

    def __str__(self) -> str:
        what = "volume" if self.output == 1 else f"output {self.output} (reserved)"
        return f"analog function: {what} := {self.value}"
