"""Runs a port on a board against the vectors, over a serial line, with the package pyserial (the extra ``serial``).

The board runs the same loop as a program on a PC (:mod:`halfbit.vectors.check`): it reads one decimal number per line,
prints one answer per line, and an empty line ends a case. Cases are sent one at a time, so that the board needs buffer
space only for the answers to one case.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..error import HalfbitError
from .case import Case
from .check import Report, compared, fed

if TYPE_CHECKING:
    from serial import Serial

BAUD = 115_200
_AT_ONCE = 8  #: Number of durations sent in one write. The board's receive buffer must have room for their bytes.


def check_serial(
    port: str, cases: Sequence[Case], *, baud: int = BAUD, ticks_per_us: int = 1, packets_only: bool = False,
    timeout: float = 10,
) -> Report:  # fmt: skip
    """Run a port on a board on cases and compare its answers.

    First, empty lines are sent until one comes back. Some boards reset when the line is opened; this gives them time.

    :param port: the device of the serial line, e.g. ``/dev/ttyACM0``.
    :param baud: bits per second. It has no effect on a board's own USB line.
    :param ticks_per_us: ticks of the port per microsecond.
    :param packets_only: True compares only packets and ignores all other answers.
    :param timeout: the longest time without an answer, s.
    :raises HalfbitError: if pyserial is not installed, the line cannot be opened or set, the board does not answer the
        empty lines, or ``ticks_per_us`` is less than 1.
    """
    given = [fed([case], ticks_per_us).encode().splitlines(keepends=True) for case in cases]
    answered: list[list[str]] = []
    with _opened(port, baud, timeout) as line:
        try:
            _greet(line, timeout)
            for text in given:
                for at in range(0, len(text), _AT_ONCE):
                    line.write(b"".join(text[at : at + _AT_ONCE]))
                lines = _lines(line)  # until now they wait in the system's buffer, in which those of a case have room
                if lines is None:
                    break
                answered.append(lines)
        except OSError as error:  # pyserial's errors are of this class
            raise HalfbitError(f"{port}: cannot be read or written: {error}") from None
    return compared(cases, answered, f"the board was silent for {timeout:g} s", packets_only=packets_only)


def _opened(port: str, baud: int, timeout: float) -> Serial:
    """The line: eight bits, no parity. A read or write that takes longer than ``timeout``, s, is given up."""
    try:
        from serial import Serial
    except ImportError:
        raise HalfbitError("a serial line takes the package pyserial: pip install 'halfbit[serial]'") from None
    try:
        return Serial(port, baud, timeout=timeout, write_timeout=timeout)
    except OSError as error:
        problem = f"cannot be opened: {os.strerror(error.errno)}" if error.errno else "is no serial line"
        raise HalfbitError(f"{port}: {problem}") from None
    except ValueError:
        problem = "is no speed this system has; give 9600, 57600, 115200 or the like"
        raise HalfbitError(f"baud: {baud} {problem}") from None


def _greet(line: Serial, timeout: float) -> None:
    """Send empty lines until one comes back; then drop all other input.

    :raises HalfbitError: if no empty line comes back in time.
    """
    deadline = time.monotonic() + timeout
    while time.monotonic() < deadline:
        line.write(b"\n")
        time.sleep(0.1)
        if b"\n" in line.read(line.in_waiting):
            time.sleep(0.2)
            line.reset_input_buffer()
            return
    raise HalfbitError(f"{line.port}: the board does not answer an empty line with an empty line")


def _lines(line: Serial) -> list[str] | None:
    """The lines of one case; ``None`` if the board is silent for too long before the case ends."""
    lines: list[str] = []
    while data := line.readline():
        text = data.decode("utf-8", "replace").strip()
        if not text:
            return lines
        lines.append(text)
    return None
