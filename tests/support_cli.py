"""Captures to decode, and the command line as a process of its own."""

from __future__ import annotations

import fcntl
import io
import os
import select
import subprocess
import sys
import termios
import time
from collections.abc import Iterable, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import halfbit
from halfbit.cli.main import main
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte

__all__ = ["COMMAND", "ENVIRONMENT", "Process", "durations_of", "here", "packet", "problems", "run", "text_of"]

COMMAND = (sys.executable, "-m", "halfbit")

#: So that a process started anywhere finds the same halfbit as the tests.
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(halfbit.__file__).parents[1])}

TIMEOUT = 30.0  # seconds; far above what anything takes, so that only a hang is a failure


def packet(text: str) -> bytes:
    """A packet by its bytes in hexadecimal, without the error detection byte."""
    return with_error_byte(bytes.fromhex(text))


def durations_of(packets: Iterable[bytes]) -> list[int]:
    """The half-bits of packets in a row, us."""
    return [duration // 1000 for data in packets for duration in packet_durations(data)]


def text_of(packets: Iterable[bytes]) -> bytes:
    """A text capture of packets in a row; a few one-bits follow, as on any track."""
    durations = durations_of(packets) + [duration // 1000 for duration in bit_durations([1] * 4)]
    return b"# halfbit: durations us\n" + b"".join(b"%d\n" % duration for duration in durations)


def problems(errors: str) -> str:
    """What standard error says beside how the capture was read."""
    return "".join(line for line in errors.splitlines(True) if "read as: " not in line)


def run(*arguments: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """Run the command line to its end."""
    return subprocess.run(
        [*COMMAND, *arguments], input=stdin, capture_output=True, timeout=TIMEOUT, env=ENVIRONMENT
    )


def here(*arguments: str) -> subprocess.CompletedProcess[bytes]:
    """Run the command line to its end in this process: no start to wait for, and no search for limits twice."""
    out, errors = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    try:
        with redirect_stdout(out), redirect_stderr(errors):
            status = main(arguments)
    except SystemExit as ended:
        status = 2 if ended.code is None else int(ended.code)
    said, complained = (stream.buffer.getvalue() for stream in (out, errors) if isinstance(stream.buffer, io.BytesIO))
    return subprocess.CompletedProcess(arguments, status, said, complained)


class Process:
    """The command line, live: written to and read from while it runs."""

    def __init__(self, arguments: Sequence[str]) -> None:
        self._process = subprocess.Popen(
            [*COMMAND, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=ENVIRONMENT,
        )
        self.pid = self._process.pid
        self._seen = b""

    def __enter__(self) -> Process:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout, self._process.stderr):
            assert stream is not None
            try:
                stream.close()
            except BrokenPipeError:
                pass

    def write(self, data: bytes) -> None:
        """Give it more input."""
        assert self._process.stdin is not None
        self._process.stdin.write(data)
        self._process.stdin.flush()

    def taken(self) -> None:
        """Wait until it has read all it was given, and waits for more."""
        assert self._process.stdin is not None
        until = time.monotonic() + TIMEOUT
        while any(fcntl.ioctl(self._process.stdin.fileno(), termios.FIONREAD, bytes(4))):
            assert time.monotonic() < until, "it reads nothing"
            time.sleep(0.02)
        time.sleep(0.2)

    def line(self, seconds: float = TIMEOUT) -> str | None:
        """Its next line of output, if it comes in time. The input stays open."""
        assert self._process.stdout is not None
        out = self._process.stdout.fileno()
        until = time.monotonic() + seconds
        while b"\n" not in self._seen:
            ready, _, _ = select.select([out], [], [], max(until - time.monotonic(), 0))
            chunk = os.read(out, 4096) if ready else b""
            if not chunk:
                return None
            self._seen += chunk
        line, _, self._seen = self._seen.partition(b"\n")
        return line.decode()

    def signal(self, number: int) -> None:
        """Send it a signal."""
        self._process.send_signal(number)

    def close_output(self) -> None:
        """Read no more of it."""
        assert self._process.stdout is not None
        self._process.stdout.close()

    def end(self) -> tuple[int, str, str]:
        """Close its input, and give its status, the rest of its output, and its errors."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None and self._process.stderr is not None
        try:
            self._process.stdin.close()
        except BrokenPipeError:
            pass
        out = b"" if self._process.stdout.closed else self._process.stdout.read()
        errors = self._process.stderr.read()
        return self._process.wait(TIMEOUT), (self._seen + out).decode(), errors.decode()
