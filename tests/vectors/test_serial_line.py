"""A port on a board: over a pseudo-terminal, with a board's loop at the other end."""

from __future__ import annotations

import os
import pty
import sys
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import attrs
import pytest

from halfbit import HalfbitError
from halfbit.cli import main
from halfbit.limits import RECEIVE
from halfbit.vectors import cases, check_serial, fed

SOME = cases()[::20]


@contextmanager
def board(*, late: float = 0.0, chatter: bytes = b"", deaf_after: int = 10**9, ending: bytes = b"\n") -> Iterator[str]:
    """A board at the end of a line: it starts late, says something at first, and falls silent after some lines."""
    inner, outer = pty.openpty()
    tty.setraw(outer)

    def answer() -> None:
        time.sleep(late)
        os.write(inner, chatter)
        receiver, taken, read, held = RECEIVE.receiver_core(), 0, 0, b""
        while True:
            try:
                held += os.read(inner, 64)
            except OSError:
                return
            *lines, held = held.split(b"\n")
            for line in lines:
                read += 1
                if read > deaf_after:
                    continue
                if not line:
                    receiver, taken = RECEIVE.receiver_core(), 0
                    os.write(inner, ending)
                    continue
                taken += 1
                answer = receiver.feed(1000 * int(line))
                packets = receiver.packets
                if answer == 3:
                    text = f"{taken} 3 {packets.preamble} {bytes(packets.data[: packets.length]).hex()}"
                    os.write(inner, text.encode() + ending)
                elif answer:
                    os.write(inner, f"{taken} {answer}".encode() + ending)

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    try:
        yield os.ttyname(outer)
    finally:
        os.close(outer)  # ends the board's loop, before the number of its end is used again
        thread.join(10)
        os.close(inner)


@pytest.mark.parametrize("ending", [b"\n", b"\r\n"])
def test_a_board_that_is_right(ending: bytes) -> None:
    with board(ending=ending) as port:
        report = check_serial(port, SOME)
    assert report.differences == () and len(report.cases) == len(SOME) > 20


def test_a_board_that_starts_when_the_line_is_opened() -> None:
    with board(late=0.5, chatter=b"a boot loader's words\nready\n") as port:
        assert check_serial(port, SOME[:3]).differences == ()


def test_a_board_that_falls_silent() -> None:
    """Behind the greeting, the first case and half of the second."""
    lines = fed(SOME[:1]).count("\n") + 21
    with board(deaf_after=lines) as port:
        report = check_serial(port, SOME[:3], timeout=3)
    assert [difference.text for difference in report.differences] == ["no answer to this case: the board was silent for 3 s"] * 2


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    with board() as port:
        assert main(["vectors", "check", "--serial", "--rule", "bytes", port]) == 0
    assert capsys.readouterr().out == "15 cases, 0 differ; 1 of 1 rules kept\n"


def test_without_pyserial(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "serial", None)
    with pytest.raises(HalfbitError, match=r"pip install 'halfbit\[serial\]'"):
        check_serial("/dev/null", SOME)


def test_a_board_that_takes_nothing() -> None:
    inner, outer = pty.openpty()  # at the other end nobody reads
    tty.setraw(outer)
    long = [attrs.evolve(SOME[0], durations=(58,) * 40_000)]
    try:
        threading.Timer(0.3, os.write, (inner, b"\n")).start()  # the greeting is answered
        with pytest.raises(HalfbitError, match="cannot be read or written: Write timeout"):
            check_serial(os.ttyname(outer), long, timeout=2)
    finally:
        os.close(outer)
        os.close(inner)


def test_lines_that_cannot_be_used(tmp_path: Path) -> None:
    with pytest.raises(HalfbitError, match="cannot be opened"):
        check_serial(f"{tmp_path}/nothing", SOME)
    with pytest.raises(HalfbitError, match="is no serial line"):
        check_serial("/dev/null", SOME)
    with board() as port, pytest.raises(HalfbitError, match="baud: -1 is no speed"):
        check_serial(port, SOME, baud=-1)
    with board(deaf_after=0) as port, pytest.raises(HalfbitError, match="does not answer an empty line"):
        check_serial(port, SOME, timeout=1)

