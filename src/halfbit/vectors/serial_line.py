"""Runs a port on a board against the vectors, over a serial line.

The board runs the same loop as a program on a PC (:mod:`halfbit.vectors.check`): it reads one decimal number per line,
prints one answer per line, and an empty line ends a case. Cases are sent one at a time, so that the board needs buffer
space only for the answers to one case.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator, Sequence

from ..error import HalfbitError
from .case import Case
from .check import Report, compared, fed

BAUD = 115_200
#: Number of durations sent in one write. The board's receive buffer must have room for their bytes.
_AT_ONCE = 8


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
    :raises HalfbitError: if the line cannot be opened or set, the board does not answer the empty lines, or
        ``ticks_per_us`` is less than 1.
    """
    given = [fed([case], ticks_per_us).encode().splitlines(keepends=True) for case in cases]
    with _opened(port, baud) as line:
        wire = _Wire(line, port, timeout)
        wire.greet()
        answered: list[list[str]] = []
        for text in given:
            for at in range(0, len(text), _AT_ONCE):
                wire.send(b"".join(text[at : at + _AT_ONCE]))
            lines = wire.case()
            if lines is None:
                break
            answered.append(lines)
    return compared(cases, answered, f"the board was silent for {timeout:g} s", packets_only=packets_only)


class _Wire:
    """Reads and writes lines on an open, non-blocking device."""

    def __init__(self, line: int, port: str, timeout: float) -> None:
        self._line = line
        self._port = port
        self._timeout = timeout
        self._got = b""

    def greet(self) -> None:
        """Send empty lines until one comes back; then drop all other input.

        :raises HalfbitError: if no empty line comes back in time.
        """
        deadline = time.monotonic() + self._timeout
        while time.monotonic() < deadline:
            self.send(b"\n")
            time.sleep(0.1)
            if b"\n" in self._read().replace(b"\r", b""):
                time.sleep(0.2)
                self._read()
                self._got = b""
                return
        raise HalfbitError(f"{self._port}: the board does not answer an empty line with an empty line")

    def send(self, data: bytes) -> None:
        """Write all bytes. Read in between, so that neither side blocks the other.

        :raises HalfbitError: if the device takes no bytes for too long, or writing fails.
        """
        deadline = time.monotonic() + self._timeout
        while data:
            try:
                data = data[os.write(self._line, data) :]
            except BlockingIOError:
                if time.monotonic() > deadline:
                    raise HalfbitError(f"{self._port}: takes no bytes for {self._timeout:g} s") from None
                time.sleep(0.001)
            except OSError as error:
                raise HalfbitError(f"{self._port}: cannot be written: {error.strerror or error}") from None
            self._got += self._read()

    def case(self) -> list[str] | None:
        """The lines of one case; ``None`` if the board is silent for too long before the case ends."""
        lines: list[str] = []
        deadline = time.monotonic() + self._timeout
        while True:
            line, end, rest = self._got.partition(b"\n")
            if end:
                self._got = rest
                text = line.decode("utf-8", "replace").strip()
                if not text:
                    return lines
                lines.append(text)
                continue
            new = self._read()
            if new:
                self._got += new
                deadline = time.monotonic() + self._timeout
            elif time.monotonic() > deadline:
                return None
            else:
                time.sleep(0.001)

    def _read(self) -> bytes:
        try:
            return os.read(self._line, 4096)
        except BlockingIOError:
            return b""
        except OSError as error:
            raise HalfbitError(f"{self._port}: cannot be read: {error.strerror or error}") from None


@contextlib.contextmanager
def _opened(port: str, baud: int) -> Iterator[int]:
    """Open the device in raw mode, eight bits, no parity; close it at the end."""
    try:
        import termios
        import tty
    except ImportError:
        raise HalfbitError(
            "a serial line needs a system with termios; pipe the cases yourself (halfbit vectors feed)"
        ) from None
    speed = getattr(termios, f"B{baud}", None)
    if speed is None:
        raise HalfbitError(f"baud: {baud} is no speed this system has; give 9600, 57600, 115200 or the like")
    try:
        line = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        raise HalfbitError(f"{port}: cannot be opened: {error.strerror or error}") from None
    try:
        try:
            tty.setraw(line, termios.TCSANOW)
            settings = termios.tcgetattr(line)
            settings[4] = settings[5] = speed
            termios.tcsetattr(line, termios.TCSANOW, settings)
        except termios.error as error:
            raise HalfbitError(f"{port}: is no serial line: {error.args[-1]}") from None
        yield line
    finally:
        os.close(line)
