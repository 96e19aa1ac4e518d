"""Live input, interrupted input and closed output, through real pipes and signals."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path

import pytest

from .support_cli import Process, durations_of, packet, problems, text_of

STEP = packet("37 74")  # address 55, forward, step 6 of 28: 37 74 43 (S-9.2 B)
IDLE = packet("FF 00")


def lines(durations: list[int]) -> bytes:
    return b"".join(b"%d\n" % duration for duration in durations)


@pytest.mark.parametrize("form", [[], ["--every"], ["--json"]])
def test_a_packets_line_comes_with_its_last_half_bit(form: list[str]) -> None:
    halves = lines(durations_of([STEP]))
    with Process(["decode", "-", "--holds", "durations", *form]) as process:
        process.write(halves[:-4])
        process.taken()
        assert process.line(seconds=0.2) is None
        process.write(halves[-4:-1])  # the last number is there, but its line is not complete
        assert process.line(seconds=0.2) is None
        process.write(halves[-1:])
        first = process.line()
        assert first is not None
        if form == ["--json"]:
            assert "55" in first
        else:
            assert first.split() == ["time", "ms", "address", "instruction"]
            row = process.line()
            assert row is not None and "short 55" in row
        status, _, errors = process.end()
    assert status == 0
    assert problems(errors) == ""


def test_what_is_known_is_not_said_again() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])))
        process.line()
        row = process.line()
        assert row is not None and row.split()[1:3] == ["short", "55"]
        process.write(lines(durations_of([STEP] * 3)))
        process.taken()
        assert process.line(seconds=0.2) is None
        process.write(lines(durations_of([IDLE])))
        idle = process.line()
        assert idle is not None and "idle" in idle
        status, rest, errors = process.end()
    assert (status, problems(errors)) == (0, "")
    assert "packets  5, 2 of them distinct" in rest
    assert "again    3 more instructions" in rest


def test_a_quiet_stream_says_so() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])))
        process.line()
        assert process.line() is not None
        time.sleep(5.5)
        _, _, errors = process.end()
    assert errors.endswith("halfbit: standard input: no change for 5 s\n")


@pytest.mark.parametrize("form", [[], ["--json"]])
def test_ctrl_c_ends_a_live_capture_as_if_it_had_closed(form: list[str]) -> None:
    with Process(["decode", "-", "--holds", "durations", *form]) as process:
        process.write(lines(durations_of([STEP, STEP])) + b"5")  # inside a line
        assert process.line() is not None
        assert process.line() is not None
        process.taken()
        process.signal(signal.SIGINT)
        status, rest, errors = process.end()
    assert status == 128 + signal.SIGINT
    assert problems(errors) == ""
    if form:
        assert json.loads(rest.splitlines()[-1])["packets"] == 2
    else:
        assert "packets  2, 1 of them distinct" in rest


def test_ctrl_c_before_anything_came() -> None:
    with Process(["decode", "-"]) as process:
        process.write(b"# halfbit: durations us\n")
        process.taken()
        process.signal(signal.SIGINT)
        assert process.end() == (128 + signal.SIGINT, "", "")


def test_ctrl_c_amid_a_file(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of([STEP] * 2000))
    with Process(["decode", str(path), "--json"]) as process:
        # It writes more than a pipe holds, so it waits for us and cannot have ended.
        assert process.line() is not None
        process.signal(signal.SIGINT)
        status, rest, errors = process.end()
    assert status == 128 + signal.SIGINT
    assert problems(errors) == ""
    assert "summary" not in rest


@pytest.mark.parametrize("form", [["--every"], ["--json"]])
def test_output_that_nobody_reads_on(form: list[str], tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of([STEP] * 3000))
    with Process(["decode", str(path), *form]) as process:
        assert process.line() is not None
        process.close_output()
        status, _, errors = process.end()
    assert status == 128 + signal.SIGPIPE
    assert problems(errors) == ""


def test_output_closed_while_live() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])))
        assert process.line() is not None
        process.close_output()
        process.write(lines(durations_of([IDLE])))
        status, _, errors = process.end()
    assert status == 128 + signal.SIGPIPE
    assert problems(errors) == ""


def test_input_that_ends_inside_a_line() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])) + b"58")
        status, out, errors = process.end()
    assert (status, problems(errors)) == (0, "")
    assert "short 55" in out
    assert "capture  line 85 was left out: the file ends inside the line: after '58'" in out
