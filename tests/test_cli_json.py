"""``halfbit decode --json`` and ``--csv``: the events as the library gives them, and the summary's keys."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from halfbit.capture import open_capture
from halfbit.cli.main import main
from halfbit.event import FaultKind
from halfbit.inspect.diagnosis import Cause
from halfbit.instruction import Instruction
from halfbit.stream import decode

from .support_cli import durations_of, packet, problems

STEP = packet("37 74")  # address 55, forward, step 6 of 28: 37 74 43 (S-9.2 B)
TWO = packet("37 90 B0")  # function group one and two behind one address (S-9.2.1)

SUMMARY = [
    "type", "length", "half_bits", "packets", "distinct_packets", "share_decoded", "packet_time", "fault_time",
    "cutout_time", "cutouts", "faults", "wrong", "causes", "recovered", "decision", "remarks", "removed",
]  # fmt: skip


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """A packet, a cutout, a packet of two instructions, a torn one, and one more."""
    halves = durations_of([STEP])
    # The cutout as one rail shows it (S-9.3.2, RCN-217, from memory), in place of four one-bits.
    halves += [29, 430] + durations_of([TWO])[8:]
    halves += durations_of([STEP])
    halves[-20] = 77
    halves += durations_of([STEP])
    path = tmp_path / "capture.txt"
    path.write_text("# halfbit: durations us\n" + "".join(f"{half}\n" for half in halves))
    return path


@pytest.fixture
def objects(capture: Path, capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    assert main(["decode", "--json", str(capture)]) == 0
    out, errors = capsys.readouterr()
    assert problems(errors) == ""
    return [json.loads(line) for line in out.splitlines()]


def test_lines_are_what_the_library_gives(objects: list[dict[str, Any]], capture: Path) -> None:
    expected = [json.loads(json.dumps(event.as_dict())) for event in decode(open_capture(capture))]
    assert [value for value in objects if value.get("type") not in ("diagnosis", "summary")] == expected
    assert [value.get("type") for value in objects].count("diagnosis") == 1


def test_summary_adds_up(objects: list[dict[str, Any]], capture: Path) -> None:
    summary = objects[-1]
    assert list(summary) == SUMMARY
    halves = [int(line) for line in capture.read_text().splitlines()[1:]]
    assert summary["length"] == 1000 * sum(halves)
    assert summary["half_bits"] == len(halves)
    assert (summary["packets"], summary["distinct_packets"], summary["cutouts"]) == (3, 2, 1)
    assert list(summary["faults"]) == [kind.name for kind in FaultKind]
    assert list(summary["causes"]) == [cause.name for cause in Cause]
    assert {kind: count for kind, count in summary["faults"].items() if count} == {"GAP": 1}
    packets = {event.packet for event in decode(open_capture(capture)) if isinstance(event, Instruction)}
    assert summary["packet_time"] == sum(each.end - each.start for each in packets if each is not None)
    for event in ("fault", "cutout"):
        times = sum(value["end"] - value["start"] for value in objects if value.get("type") == event)
        assert summary[f"{event}_time"] == times
    times = sum(summary[f"{event}_time"] for event in ("packet", "fault", "cutout"))
    assert times == summary["length"]  # nothing is idle here: every ns is accounted for
    assert summary["share_decoded"] == pytest.approx(summary["packet_time"] / summary["length"], abs=1e-6)


def test_no_summary_where_the_input_could_not_be_read_to_its_end(
    capture: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open(capture, "a") as file:
        file.write("x\n")
    assert main(["decode", "--json", str(capture)]) == 2
    out, errors = capsys.readouterr()
    assert len(out.splitlines()) == 7
    assert '"summary"' not in out
    assert "'x' is not a number" in errors


def test_csv_has_a_row_for_each_event(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Read back by csv of the standard library.
    assert main(["decode", "--csv", str(capture)]) == 0
    rows = list(csv.DictReader(capsys.readouterr().out.splitlines()))
    events = list(decode(open_capture(capture)))
    assert [row["what"] for row in rows] == [
        {"Fault": "lost", "Cutout": "cutout"}.get(type(event).__name__, "instruction") for event in events
    ]
    assert rows[0]["bytes"] == "37 74 43" and rows[0]["address"] == "short 55" and rows[0]["preamble"] == "14"
    (lost,) = [row for row in rows if row["what"] == "lost"]
    assert lost["cause"] == Cause.SHORTENED_HALF.value


def test_filters_hold_for_json_too(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["decode", "--json", "--lost", str(capture)]) == 0
    kinds = [json.loads(line).get("type") for line in capsys.readouterr().out.splitlines()]
    assert kinds == ["fault", "diagnosis", "summary"]
