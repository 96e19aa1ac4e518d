"""What a terminal changes: lines fit its width, and a long file's progress is shown."""

from __future__ import annotations

import fcntl
import io
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest

from halfbit.cli import input as cli_input
from halfbit.cli.main import main
from halfbit.cli.output import Table
from halfbit.instruction import instructions
from halfbit.packet import Packet

from .support_cli import COMMAND, ENVIRONMENT, TIMEOUT, packet, problems, text_of

PACKETS = [
    packet("37 74"),  # address 55, forward, step 6 of 28 (S-9.2 B)
    packet("37 90 B0"),  # function groups (S-9.2.1)
    packet("83 F9"),  # an accessory (S-9.2.1 D)
    bytes(range(1, 16)),
    packet("FF 00"),
]


def table(width: int | None) -> list[str]:
    lines: list[str] = []
    view = Table(lines.append, width=width)
    for event in instructions(Packet(data) for data in PACKETS):
        view.event(event)
    return lines


@pytest.mark.parametrize("width", [60, 72, 80, 100, 132, 200])
def test_lines_fit_the_width_one_for_each_change(width: int) -> None:
    wide, fitted = table(None), table(width)
    assert len(fitted) == len(wide)
    assert max(map(len, fitted)) <= width
    for whole, line in zip(wide, fitted):
        assert line.rstrip(".…")[:50].strip() in whole or line.split()[0] in whole
    start = fitted[0].index("instruction")
    for line in fitted[1:]:
        # A longer address takes room from the words behind it.
        assert line[start - 1 : start] in ("", " ") or "accessory" in line


def test_width_of_a_real_terminal(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of(PACKETS))
    ours, its = pty.openpty()
    fcntl.ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", 25, 72, 0, 0))
    environment = {name: value for name, value in ENVIRONMENT.items() if name not in ("COLUMNS", "LINES")}
    process = subprocess.Popen(
        [*COMMAND, "decode", str(path)], stdout=its, stderr=subprocess.PIPE, env=environment
    )
    os.close(its)
    written = b""
    while True:
        try:
            chunk = os.read(ours, 4096)
        except OSError:  # how Linux says that the other end is closed
            break
        if not chunk:
            break
        written += chunk
    os.close(ours)
    _, errors = process.communicate(timeout=TIMEOUT)
    assert (process.returncode, problems(errors.decode())) == (0, "")
    lines = re.sub(r"\x1b\[\d*m", "", written.decode()).splitlines()
    table = lines[: lines.index("")]
    assert 60 < max(map(len, table)) <= 72
    assert b"\x1b[1m" in written


class Terminal(io.StringIO):
    """Standard error as a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def long_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file of several chunks, of which each is as if much time had passed."""
    monkeypatch.setattr(cli_input, "PATIENCE", 0.0)
    monkeypatch.setattr(cli_input, "INTERVAL", 0.0)
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of(PACKETS[:1] * 1200))
    return path


def test_progress_of_a_long_file(
    long_file: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    assert main(["decode", str(long_file)]) == 0
    shown = terminal.getvalue()
    size = long_file.stat().st_size
    shares = [int(part.split("%")[0].split()[-1]) for part in shown.split(str(long_file)) if "%" in part]
    assert len(shares) > 3
    assert shares[-5:] == sorted(shares[-5:])
    assert shares[-1] == 100
    assert f"of {size / 1e6:.1f} MB" in shown
    # It is taken away in the end: what is left of the line is blank.
    last = shown.rsplit("\r", 2)
    assert last[1].strip() == "" and last[2] == ""
    assert "%" not in capsys.readouterr().out.split("decoded")[0]


@pytest.mark.parametrize("why", ["no terminal", "no file"])
def test_no_progress(why: str, long_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    errors = io.StringIO() if why == "no terminal" else Terminal()
    monkeypatch.setattr(sys, "stderr", errors)
    location = str(long_file)
    if why == "no file":
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(long_file.read_bytes())))
        location = "-"
    assert main(["decode", location]) == 0
    assert problems(errors.getvalue()) == ""


def test_progress_is_not_shown_for_what_is_soon_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of(PACKETS))
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    assert main(["decode", str(path)]) == 0
    assert problems(terminal.getvalue()) == ""
