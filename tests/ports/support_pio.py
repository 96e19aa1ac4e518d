"""The RP2040's programmable I/O for tests: an assembler for the example's program, and a signal for the emulator.

The encodings are those of the RP2040 datasheet, section 3.4 (from memory); PyPI's rp2040-pio-emulator, which was written from the
datasheet by others, takes them apart again.
"""

from __future__ import annotations

import sys
import types
from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import accumulate
from pathlib import Path
from typing import Any

import attrs
import pioemu  # type: ignore[import-untyped]

from .support_files import PORTS, load

__all__ = ["Timed", "Timer", "timer_module"]

JMP_CONDITIONS = {None: 0, "not_x": 1, "x_dec": 2, "not_y": 3, "y_dec": 4, "x_not_y": 5, "pin": 6, "not_osre": 7}
IN_SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "isr": 6, "osr": 7}
MOV_DESTINATIONS = {"pins": 0, "x": 1, "y": 2, "exec": 4, "pc": 5, "isr": 6, "osr": 7}
MOV_SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "status": 5, "isr": 6, "osr": 7}
SET_DESTINATIONS = {"pins": 0, "x": 1, "y": 2, "pindirs": 4}


@attrs.define
class Line:
    """An instruction; an index is its delay."""

    code: int
    target: str | None = None
    delay: int = 0

    def __getitem__(self, delay: int) -> Line:
        assert 0 <= delay < 32
        self.delay = delay
        return self


def assembled(program: types.FunctionType) -> list[int]:
    """The program's words."""
    lines: list[Line] = []
    labels: dict[str, int] = {}

    def add(code: int, target: str | None = None) -> Line:
        lines.append(Line(code, target))
        return lines[-1]

    def jump(*words: str) -> Line:
        condition = words[0] if len(words) == 2 else None
        return add(0x0000 | JMP_CONDITIONS[condition] << 5, words[-1])

    names: dict[str, Any] = {name: name for name in ("x", "y", "isr", "osr", "null", "pin", "pins", "x_dec", "noblock")}
    names |= {
        "jmp": jump,
        "in_": lambda source, count: add(0x4000 | IN_SOURCES[source] << 5 | count & 31),
        "push": lambda *words: add(0x8000 | (0 if "noblock" in words else 1) << 5),
        "mov": lambda to, source: add(0xA000 | MOV_DESTINATIONS[to] << 5 | MOV_SOURCES[source]),
        "set": lambda to, value: add(0xE000 | SET_DESTINATIONS[to] << 5 | value),
        "label": lambda name: labels.__setitem__(name, len(lines)),
    }
    types.FunctionType(program.__code__, names)()
    words = [line.code | line.delay << 8 | (labels[line.target] if line.target else 0) for line in lines]
    assert len(words) <= 32, "more than a block of programmable I/O holds"
    return words


def timer_module(memory: dict[int, int] | None = None) -> Any:
    """half_bit_timer.py, its program assembled; board modules are stand-ins."""

    class Pio:
        JOIN_RX, SHIFT_LEFT = 2, 0

    class Pin:
        IN = 0

        def __init__(self, number: int, mode: int) -> None:
            self.number = number

    rp2: Any = types.ModuleType("rp2")
    rp2.PIO = Pio
    decorated: Callable[..., Any] = lambda **settings: lambda program: (assembled(program), settings)
    rp2.asm_pio = decorated
    machine: Any = types.ModuleType("machine")
    machine.Pin, machine.mem32 = Pin, memory if memory is not None else {}
    held = {name: sys.modules.get(name) for name in ("rp2", "machine")}
    sys.modules |= {"rp2": rp2, "machine": machine}
    try:
        return load(PORTS / "micropython" / Path("half_bit_timer.py"))
    finally:
        for name, module in held.items():
            sys.modules.pop(name)
            if module is not None:
                sys.modules[name] = module


@attrs.frozen
class Timed:
    """What came out of the FIFO, in ticks, and what was still in it when nobody took it."""

    counts: list[int]
    waiting: int


class Timer:
    """The program on an emulated state machine.

    :param durations: between changes of the pin, ns; the level is low before the first.
    :param quiet: how long the pin is low before the first change, ns.
    :param fives: the five bits of which the program makes what it counts down from, three times over; fewer than
        its own let it run out sooner.
    """

    def __init__(self, durations: Sequence[int], quiet: int = 20_000, fives: int = 31) -> None:
        module = timer_module()
        words, _ = module.half_bit_timer
        assert words[0] == 0xE020 | 31 and module.COUNT == 31 * 0b1_00001_00001
        self._words = [0xE020 | fives, *words[1:]]
        #: The longest there is, ticks.
        self.top = fives * 0b1_00001_00001 + module.AHEAD
        self._cycle = 1_000_000_000 // module.FREQUENCY
        self._edges = list(accumulate(durations, initial=quiet))

    def run(self, drained: Callable[[int], bool] = lambda cycle: True) -> Timed:
        """Run until past the last change; ``drained`` says whether somebody takes counts at a cycle."""
        cycle_ns, edges = self._cycle, self._edges
        end = edges[-1] // cycle_ns + 40

        def level(state: pioemu.State) -> int:
            return bisect_right(edges, state.clock * cycle_ns) & 1

        level.__annotations__["state"] = pioemu.State  # it looks at the type itself, not its name
        state = pioemu.State()
        counts: list[int] = []
        while state.clock < end:
            # Until a count can be taken; a FIFO not drained is looked at again later.
            look = state.clock + 200
            for _, state in pioemu.emulate(
                self._words,
                stop_when=lambda _, now: bool(now.receive_fifo) and drained(now.clock)
                or now.clock >= end or (bool(now.receive_fifo) and now.clock >= look),
                initial_state=state, input_source=level, jmp_pin=0, shift_isr_right=False,
            ):  # fmt: skip
                pass
            if state.receive_fifo and drained(state.clock):
                counts += [self.top - word for word in state.receive_fifo]
                state = replace(state, receive_fifo=deque())
        return Timed(counts, len(state.receive_fifo))
