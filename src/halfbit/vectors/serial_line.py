"""A port on a board run against the vectors over a serial line.

The board runs the same loop as a program on a PC (:mod:`halfbit.vectors.check`): a decimal number to a line in, answers a line
each out, an empty line at the end of a case. Only the way of the bytes differs: one case at a time goes to the board, so
that its answers need no more room than those of one case.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator, Sequence

from ..error import HalfbitError
from .case import Case
from .check import Report, compared, fed

__all__ = ["BAUD", "check_serial"]

BAUD = 115_200
#: Durations that go out at once; the board's receive buffer must hold their bytes.
_AT_ONCE = 8


def check_serial(
    port: str,
    cases: Sequence[Case],
    *,
    baud: int = BAUD,
    ticks_per_us: int = 1,
    packets_only: bool = False,
    timeout: float = 10,
) -> Report:
    """Run a port on a board over cases and compare.

    First empty lines go out until one comes back, so that a board that starts anew when the line is opened has time to.

    :param port: the serial line's device, ``/dev/ttyACM0`` or the like.
    :param baud: bits a second; a line over USB does not care.
    :param ticks_per_us: how many of the port's ticks make a microsecond.
    :param packets_only: leaves all answers but packets out of the comparison.
    :param timeout: how long the board may be silent, s.
    :raises HalfbitError: if the line cannot be opened or set, or the board never answers.
    """
    if ticks_per_us < 1:
        raise HalfbitError(f"ticks_per_us: {ticks_per_us!r} is not a number from 1 up")
    with _opened(port, baud) as line:
        wire = _Wire(line, port, timeout)
        wire.greet()
        answered: list[list[str]] = []
        for case in cases:
            text = fed([case], ticks_per_us).encode().splitlines(keepends=True)
            for at in range(0, len(text), _AT_ONCE):
                wire.send(b"".join(text[at : at + _AT_ONCE]))
            lines = wire.case()
            if lines is None:
                break
            answered.append(lines)
    return compared(cases, answered, f"the board was silent for {timeout:g} s", packets_only=packets_only)


class _Wire:
    """Lines over an open device that does not block."""

    def __init__(self, line: int, port: str, timeout: float) -> None:
        self._line = line
        self._port = port
        self._timeout = timeout
        self._got = b""

    def greet(self) -> None:
        """Empty lines until one comes back; then what else comes in is dropped."""
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
        """Write all, reading meanwhile so that neither side waits for the other."""
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
        """The lines of a case; nothing if the board is silent for too long before its end."""
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
    """The device, raw, eight bits, no parity; closed at the end."""
    try:
        import termios
        import tty
    except ImportError:
        raise HalfbitError("a serial line needs a system with termios; pipe the cases yourself (halfbit vectors feed)") from None
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
