"""Live input, interrupted input and closed output, through real pipes and signals."""

from __future__ import annotations

import json
import signal
from pathlib import Path

import pytest

from .support_cli import Process, durations_of, packet, text_of

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
            assert json.loads(first)["bytes"] == "377443"
        else:
            assert first.split() == ["time", "ms", "count", "address", "bytes", "instruction"]
            row = process.line()
            assert row is not None and "37 74 43" in row
        status, _, errors = process.end()
    assert status == 0
    assert errors == ""


def test_repeats_are_told_when_they_are_over() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])))
        process.line()
        row = process.line()
        assert row is not None and row.split()[1:8] == ["1", "short", "55", "37", "74", "43", "speed"]
        process.write(lines(durations_of([STEP] * 3)))
        process.taken()
        assert process.line(seconds=0.2) is None
        process.write(lines(durations_of([IDLE])))
        repeats, idle = process.line(), process.line()
        assert repeats is not None and repeats.split()[1:4] == ["+3", "short", "55"]
        # The last of the four starts after three, each of 3 bytes and 14 one-bits (S-9.1 A, nominal).
        assert repeats.split()[0] == f"{3 * sum(durations_of([STEP])) / 1000:.3f}"
        assert idle is not None and "FF 00 FF" in idle
        status, rest, errors = process.end()
    assert (status, errors) == (0, "")
    assert "packets  5, 2 of them distinct" in rest


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
    assert errors == ""
    if form:
        assert json.loads(rest.splitlines()[-1])["packets"] == 2
    else:
        assert "+1  short 55" in rest
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
    assert errors == ""
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
    assert errors == ""


def test_output_closed_while_live() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])))
        assert process.line() is not None
        process.close_output()
        process.write(lines(durations_of([IDLE])))
        status, _, errors = process.end()
    assert status == 128 + signal.SIGPIPE
    assert errors == ""


def test_input_that_ends_inside_a_line() -> None:
    with Process(["decode", "-", "--holds", "durations"]) as process:
        process.write(lines(durations_of([STEP])) + b"58")
        status, out, errors = process.end()
    assert status == 2
    assert "37 74 43" in out
    assert "standard input: line 85: the file ends inside the line" in errors
