"""The programs that check a receiver on a board over its serial line: an emulated ATmega328P, and MicroPython."""

from __future__ import annotations

import os
import pty
import subprocess
import tty

from halfbit.vectors import cases, check_serial, fed
from halfbit.vectors.check import compared

from . import support_avr
from .support_build import C, build
from .support_micropython import FILES, run

FLAGS = ("-std=c99", "-Wall", "-Wextra", "-Werror", "-Os")
SOURCES = (C / "boards" / "atmega328p_serial.c", C / "halfbit.c")


def checked(flags: tuple[str, ...] = (), every: int = 12) -> tuple[str, ...]:
    """The rules that the chip breaks, seen through a pseudo-terminal."""
    program = build(support_avr.AVR, (*FLAGS, *flags), SOURCES, suffix=".elf")
    inner, outer = pty.openpty()
    tty.setraw(outer)
    chip = subprocess.Popen([support_avr.emulator("avr_serial.c"), program], stdin=inner, stdout=inner)
    os.close(inner)
    try:
        report = check_serial(os.ttyname(outer), cases()[::every], timeout=60)
    finally:
        os.close(outer)
        chip.kill()
        chip.wait()
    return tuple(difference.case.rule for difference in report.differences)


@support_avr.needed
def test_an_atmega328p_answers_all_cases() -> None:
    assert checked() == ()


@support_avr.needed
def test_a_wrong_receiver_is_seen_through_the_line() -> None:
    assert "preamble length" in checked(("-DHALFBIT_PREAMBLE_MIN=12",))


def test_micropython_answers_all_cases() -> None:
    """As on a board, it reads standard input."""
    asked = cases()
    script = "import gc, serial_check, sys\ngc.disable()\nserial_check.run(sys.stdin.readline, sys.stdout.write)"
    output = run(script, FILES, fed(asked, 1).encode()).output
    answered = _cases(output)
    assert len(answered) == len(asked)
    assert compared(asked, answered, "").differences == ()


def _cases(output: str) -> list[list[str]]:
    found: list[list[str]] = [[]]
    for line in output.splitlines():
        if line:
            found[-1].append(line)
        else:
            found.append([])
    return found[:-1]
