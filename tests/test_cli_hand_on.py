"""What is handed on: clip, compare, report, completion and the manual page."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from halfbit.capture import open_capture
from halfbit.cli.main import main
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
    assert "no level changes twice" in capsys.readouterr().err


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


def test_compare_of_two_tracks_is_refused(tmp_path: Path, both: tuple[str, str], capsys: Captured) -> None:
    other = written(tmp_path / "other.txt", halves_of([packet("05 71"), packet("06 72")] * 9))
    assert main(["compare", both[0], other]) == 2
    assert "no packet in common" in capsys.readouterr().err
