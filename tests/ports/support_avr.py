"""Runs the C port on an ATmega328P in Debian's simavr, which counts cycles.

Only Debian has what this takes: gcc-avr, avr-libc, libsimavr-dev, and a C compiler for the machine itself. Without them
the tests here are skipped and say so.
"""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
from array import array
from collections.abc import Sequence
from pathlib import Path

import attrs
import pytest

from .support_build import STRICT, build
from .support_chip import RECEIVER, Program

__all__ = ["AVR", "FLAGS", "Calls", "calls", "compiler_version", "emulator", "missing", "needed", "state", "symbols"]

AVR = ("avr-gcc", "-mmcu=atmega328p")
FLAGS = (*STRICT, "-Os")
HERE = Path(__file__).parent
#: What the harness writes for each duration: answer, cycles (two bytes), length.
RECORD = 4


@functools.cache
def missing() -> str:
    """What is not there, in words; empty if all is."""
    lacking = [name for name in ("avr-gcc", "cc") if shutil.which(name) is None]
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        lacking.append("simavr's headers")
    return f"no {', '.join(lacking)} (Debian: gcc-avr avr-libc libsimavr-dev gcc)" if lacking else ""


needed = pytest.mark.skipif(bool(missing()), reason=f"AVR left out: {missing()}")


def compiler_version() -> str:
    """The AVR compiler's own first line."""
    return subprocess.check_output(["avr-gcc", "--version"], text=True).splitlines()[0]


def emulator(source: str) -> Path:
    """A harness around simavr, compiled for this machine."""
    flags = ("-O2", "-Wall", "-Werror")
    return build(("cc",), flags, (HERE / source,), after=("-lsimavr",), needs=(HERE / "avr_chip.h",))


def symbols(program: Path) -> dict[str, int]:
    """Every symbol of a linked program and its address."""
    lines = subprocess.check_output(["avr-nm", str(program)], text=True).splitlines()
    return {words[2]: int(words[0], 16) for words in map(str.split, lines) if len(words) == 3}


@functools.cache
def state(source: str = "state.c") -> int:
    """Bytes of the receiver's struct there, from a file that has one and nothing else."""
    program = build(AVR, (*FLAGS, "-c", "-fno-common"), (HERE / source,), suffix=".o")
    return int(subprocess.check_output(["avr-size", str(program)], text=True).splitlines()[1].split()[2])


@attrs.frozen
class Calls:
    """What each duration gave."""

    answers: bytes
    cycles: tuple[int, ...]
    lengths: bytes
    #: Bytes of stack at the deepest, the return address among them.
    stack: int
    #: Bytes of code and constants.
    code: int
    #: Most cycles of a call.
    most: int


def calls(
    durations: Sequence[int], settings: Sequence[str] = (), length_at: int = 15, chosen: Program | None = None
) -> Calls:
    """Feed the receiver on the emulated chip, or another program."""
    # The receiver by halves must need no library; that by sum multiplies.
    libraries = () if chosen is None else ("-lgcc",)
    runs = chosen or RECEIVER
    flags = (*FLAGS, "-nostdlib", f"-Wl,-e,{runs.feed}", *settings)
    program = build(AVR, flags, runs.sources, suffix=".elf", after=libraries)
    found = symbols(program)
    words = [str(found[runs.init]), str(found[runs.feed])]
    done = subprocess.run(
        [emulator("avr_call.c"), program, *words, str(length_at)],
        input=array("I", durations).tobytes(), capture_output=True, env={**os.environ, "LC_ALL": "C"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    out = done.stdout
    assert len(out) == RECORD * len(durations)
    cycles = tuple(low | high << 8 for low, high in zip(out[1::RECORD], out[2::RECORD]))
    size = subprocess.check_output(["avr-size", str(program)], text=True).splitlines()[1].split()
    assert size[1:3] == ["0", "0"], "the receiver must not need RAM of its own"
    most, stack = map(int, done.stderr.split()[-2:])
    return Calls(out[::RECORD], cycles, out[3::RECORD], stack, int(size[0]), most)
