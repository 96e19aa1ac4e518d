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

__all__ = ["Timed", "Timer", "pulses", "replaced", "timer_module"]


def replaced(state: Any, **changes: Any) -> Any:
    """What ``dataclasses.replace`` gives for a class of plain fields. It took two thirds of the emulator's time."""
    new = object.__new__(type(state))
    new.__dict__.update(state.__dict__, **changes)
    return new


for _name, _module in list(sys.modules.items()):
    if _name.startswith("pioemu.") and vars(_module).get("replace") is replace:
        setattr(_module, "replace", replaced)

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
        "pull": lambda *words: add(0x8080 | (0 if "noblock" in words else 1) << 5),
        "push": lambda *words: add(0x8000 | (0 if "noblock" in words else 1) << 5),
        "mov": lambda to, source: add(0xA000 | MOV_DESTINATIONS[to] << 5 | MOV_SOURCES[source]),
        "set": lambda to, value: add(0xE000 | SET_DESTINATIONS[to] << 5 | value),
        "label": lambda name: labels.__setitem__(name, len(lines)),
    }
    types.FunctionType(program.__code__, names)()
    words = [line.code | line.delay << 8 | (labels[line.target] if line.target else 0) for line in lines]
    assert len(words) <= 32, "more than a block of programmable I/O holds"
    return words


def timer_module(memory: dict[int, int] | None = None, name: str = "half_bit_timer") -> Any:
    """half_bit_timer.py or another module, its program assembled; board modules are stand-ins."""

    class Pio:
        JOIN_RX, SHIFT_LEFT, OUT_LOW = 2, 0, 0

    class Pin:
        IN, OUT = 0, 1

        def __init__(self, number: int, mode: int) -> None:
            self.number = number

    rp2: Any = types.ModuleType("rp2")
    rp2.PIO = Pio
    decorated: Callable[..., Any] = lambda **settings: lambda program: (assembled(program), settings)
    rp2.asm_pio = decorated
    machine: Any = types.ModuleType("machine")
    machine.Pin, machine.mem32 = Pin, memory if memory is not None else {}
    held = {one: sys.modules.get(one) for one in ("rp2", "machine")}
    sys.modules |= {"rp2": rp2, "machine": machine}
    try:
        return load(PORTS / "_micropython" / Path(f"{name}.py"))
    finally:
        for one, module in held.items():
            sys.modules.pop(one)
            if module is not None:
                sys.modules[one] = module


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
        self._loops = [at for at, word in enumerate(words) if word & 0xE0E0 == JMP_CONDITIONS["pin"] << 5]
        self._known: dict[tuple[int, bool, int], int] = {}
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

    def quick(self) -> list[int]:
        """The counts of :meth:`run`, much sooner: the turns of both counting loops are skipped.

        What a change of the pin does is run in the emulator, once for each place of the change within a turn.

        :raises AssertionError: for changes less than 40 cycles apart.
        """
        clock, x = 7, self.top - 3  # the program's begin: seven instructions
        counts: list[int] = []
        level = before = 0
        for edge in self._edges:
            seen = -(-edge // self._cycle)  # the first cycle that sees the change
            assert seen > before + 40 or not counts
            before = seen
            turns = (seen - clock + 1) // 2
            over = turns > x
            counts.append(self.top - (0 if over else x - turns))
            clock = seen + self._after(level, over, (seen - clock - 2 * x) % 4 if over else (seen - clock) % 2)
            x = self.top - 3
            level ^= 1
        return counts

    def _after(self, level: int, over: bool, phase: int) -> int:
        """Cycles from a change until the other loop begins. The count has run out, or not."""
        key = (level, over, phase)
        if key not in self._known:
            x = 5 if over else 50
            change = 1_000 + (2 * x + 40 if over else 20) + phase

            def pin(state: Any) -> int:
                return level ^ int(state.clock >= change)

            pin.__annotations__["state"] = pioemu.State
            state = pioemu.State(clock=1_000, program_counter=self._loops[level], x_register=x, y_register=self.top - 3)
            for _, state in pioemu.emulate(
                self._words,
                stop_when=lambda _, now: bool(now.receive_fifo) and now.program_counter == self._loops[1 - level],
                initial_state=state, input_source=pin, jmp_pin=0, shift_isr_right=False,
            ):  # fmt: skip
                pass
            assert list(state.receive_fifo) == [0 if over else x - (change - 1_000 + 1) // 2]
            assert state.x_register == self.top - 3
            self._known[key] = state.clock - change
        return int(self._known[key])


def pulses(numbers: Sequence[int], until: int) -> list[tuple[int, int]]:
    """What acknowledgement.py's program does with its pin: microsecond and level of each change.

    :param numbers: what is put into its FIFO at the start.
    """
    words, _ = timer_module(name="acknowledgement").pulse
    changes: list[tuple[int, int]] = []
    state = pioemu.State(transmit_fifo=deque(numbers), pin_directions=1)
    level = 0
    for _, state in pioemu.emulate(
        words, stop_when=lambda _, now: now.clock >= until, initial_state=state, set_count=1
    ):
        if state.pin_values & 1 != level:
            level ^= 1
            changes.append((state.clock, level))
    return changes
