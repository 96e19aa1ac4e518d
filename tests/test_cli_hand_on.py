"""What is handed on: clip, compare, report, completion and the manual page."""

from __future__ import annotations

import random
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from halfbit.capture import open_capture
from halfbit.cli.main import COMMANDS, main
from halfbit.inspect.compare import Differs, compare, side_of
from halfbit.inspect.diagnosis import Cause
from halfbit.limits import RECEIVE
from halfbit.simulate.distort import jittered, lost_edge
from halfbit.simulate.signal import packet_durations

from .support_cli import packet, problems

Captured = pytest.CaptureFixture[str]

#: Three addresses in turn; the speed of one rises.
SENT = [data for step in range(40) for data in (packet(f"03 3F {0x82 + step:02X}"), packet("37 74"), packet("FF 00"))]
LOST = 61


def halves_of(sent: list[bytes]) -> list[int]:
    return [half for data in sent for half in packet_durations(data, 16)] + packet_durations(b"", 16)


def written(path: Path, durations: list[int]) -> str:
    path.write_text("# halfbit: durations ns\n" + "".join(f"{duration}\n" for duration in durations))
    return str(path)


@pytest.fixture
def both(tmp_path: Path) -> tuple[str, str]:
    """An analyser's capture, and a board's that starts later, runs 80 millionths fast, jitters and misses a change."""
    halves = halves_of(SENT)
    later = halves_of(SENT[5:])
    at = len(halves_of(SENT[5:LOST])) - 34 + 60
    board = [round(duration * 1.00008) for duration in jittered(lost_edge(later, at), 1500, random.Random(4))]
    return written(tmp_path / "analyser.txt", halves), written(tmp_path / "board.txt", board)


def test_clip_can_be_decoded_and_says_where_it_is_from(tmp_path: Path, capsys: Captured) -> None:
    path = written(tmp_path / "long.txt", halves_of(SENT))
    out = tmp_path / "clip.txt"
    assert main(["clip", path, "--from", "100", "--to", "0.16s", "--out", str(out)]) == 0
    head = out.read_text().splitlines()[:3]
    assert head[0].startswith(f"# a stretch of {path}, from 100.0") and head[1].startswith("# read as: durations in ns")
    capsys.readouterr()
    assert main(["decode", str(out)]) == 0
    shown = capsys.readouterr().out
    assert "packets  8" in shown
    assert main(["clip", path, "--from", "100", "--to", "160"]) == 0
    assert capsys.readouterr().out == out.read_text()
    assert main(["clip", path, "--from", "100s"]) == 2
    assert f"the capture ends at {sum(halves_of(SENT)) / 1e6:.3f} ms: give an earlier --from" in capsys.readouterr().err
    assert main(["clip", path, "--from", "100ms", "--to", "100.1ms"]) == 2
    assert "the level does not change twice after 100.000 ms" in capsys.readouterr().err


def test_compare_finds_what_the_board_lost_and_why(both: tuple[str, str], capsys: Captured) -> None:
    first, second = (side_of(open_capture(path), RECEIVE) for path in both)
    found = compare(first, second)
    (lost,) = found.differences
    assert (lost.side, lost.differs, lost.packet.data) == ("B", Differs.LOST, SENT[LOST])
    assert lost.cause is not None and lost.cause.cause is Cause.MISSED_CHANGE
    assert found.same == len(SENT) - 5 - 1
    start = len(SENT[:5])
    skipped = sum(halves_of(SENT[:start])) - sum(packet_durations(b"", 16))
    assert abs(found.offset + skipped) < 100_000
    assert main(["compare", *both]) == 1
    out, errors = capsys.readouterr()
    assert problems(errors) == ""
    assert f"lost in B         {SENT[LOST].hex(' ').upper()}: a change was missed near" in out
    assert "114 packets are in both, 1 only in A, 0 only in B" in out
    assert main(["compare", both[0], both[0]]) == 0


def test_report_is_one_file_without_a_network(both: tuple[str, str], tmp_path: Path, capsys: Captured) -> None:
    out = tmp_path / "report.html"
    assert main(["report", both[1], "--out", str(out)]) == 0
    page = out.read_text("utf-8")
    parser = Parsed()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    for heading in ("Survey", "Traffic", "Losses", "Audit of the station"):
        assert heading in parser.headings
    assert page.count("<svg") == 3  # the survey, the traffic, the one loss
    links = [value for name, value in parser.links if not value.startswith("#")]
    assert links == []
    assert "a change was missed near" in page and SENT[LOST].hex(" ").upper() in page
    assert main(["report", "-", "--out", str(out)]) == 2
    assert "needs a file" in capsys.readouterr().err


class Parsed(HTMLParser):
    """What a browser would see of a page: its headings, what it loads, and elements that are not closed."""

    EMPTY = {"meta", "br", "path", "use", "rect", "image"}

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[str] = []
        self.links: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [(name, value or "") for name, value in attrs if name in ("src", "href", "xlink:href")]
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [(name, value or "") for name, value in attrs if name in ("src", "href", "xlink:href")]

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.EMPTY:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open[-1:] == ["h2"]:
            self.headings.append(data)


@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_completion_knows_commands_and_options(shell: str, capsys: Captured) -> None:
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    for word in (*COMMANDS, "--zero-total-max", "--around"):
        assert word in script.replace("\\", "")


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_completion_in_bash(capsys: Captured) -> None:
    assert main(["completion", "bash"]) == 0
    script = capsys.readouterr().out + (
        '\nCOMP_WORDS=(halfbit dec); COMP_CWORD=1; COMP_LINE="halfbit dec"; COMP_POINT=11; _shtab_halfbit; echo "${COMPREPLY[@]}"'
    )
    done = subprocess.run(["bash"], input=script, capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == ["decode"]


def test_manual_page_has_every_command_and_option(capsys: Captured) -> None:
    assert main(["manual"]) == 0
    page = capsys.readouterr().out
    assert page.startswith(".TH HALFBIT 1")
    plain = page.replace("\\-", "-")
    for name in COMMANDS:
        assert f"\n.SH {name.upper()}\n" in plain
    for option in ("--json", "--zero-total-max", "--around", "--out"):
        assert f"\n.B {option}" in plain
    known = {"TH", "SH", "B", "TP", "PP", "nf", "fi"}
    assert {line[1:].split()[0] for line in plain.splitlines() if line.startswith(".")} <= known


def test_compare_of_two_tracks_is_refused(tmp_path: Path, both: tuple[str, str], capsys: Captured) -> None:
    other = written(tmp_path / "other.txt", halves_of([packet("05 71"), packet("06 72")] * 9))
    assert main(["compare", both[0], other]) == 2
    assert "no packet in common" in capsys.readouterr().err
