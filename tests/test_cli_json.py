"""``halfbit decode --json``: the keys are an interface, so a change of them is seen here."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from halfbit.capture import open_capture
from halfbit.cli.main import main
from halfbit.event import Cutout, Fault, FaultKind
from halfbit.instruction import Instruction
from halfbit.stream import decode

from .support_cli import durations_of, packet

STEP = packet("37 74")  # address 55, forward, step 6 of 28: 37 74 43 (S-9.2 B)
TWO = packet("37 90 B0")  # function group one and two behind one address (S-9.2.1)

KEYS = {
    "instruction": ["event", "start", "end", "preamble", "bytes", "part", "instruction"],
    "fault": ["event", "start", "end", "at", "kind", "layer", "detail", "count", "bytes", "words"],
    "cutout": ["event", "start", "end"],
    "summary": [
        "event",
        "length",
        "half_bits",
        "packets",
        "distinct_packets",
        "share_decoded",
        "packet_time",
        "fault_time",
        "cutout_time",
        "cutouts",
        "faults",
        "remarks",
        "removed",
    ],
}


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
    assert errors == ""
    return [json.loads(line) for line in out.splitlines()]


def test_keys_are_stable_and_in_order(objects: list[dict[str, Any]]) -> None:
    assert {value["event"] for value in objects} == set(KEYS)
    for value in objects:
        assert list(value) == KEYS[value["event"]]
    for value in objects:
        if value["event"] == "instruction":
            keys = list(value["instruction"])
            assert keys[:6] == ["schema", "type", "name", "address", "bytes", "fields"]
            assert keys[-2:] == ["long_preamble", "packet"]
    assert list(objects[-1]["faults"]) == [kind.name.lower() for kind in FaultKind]


def test_help_lists_the_keys(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["decode", "--help"])
    words = capsys.readouterr().out
    for event, keys in KEYS.items():
        start = words.index(f"\n  {event} ") + 3
        line = words[start : words.index("\n", start)]
        described = re.sub(r"\{\}|\[\]|\{", " ", line).split()
        assert described[: len(keys)] == [event, *(key for key in keys[1:])]


def test_objects_say_what_the_library_gives(objects: list[dict[str, Any]], capture: Path) -> None:
    events = list(decode(open_capture(capture)))
    assert len(events) == len(objects) - 1
    for event, value in zip(events, objects):
        if isinstance(event, Instruction):
            assert event.packet is not None
            assert value["instruction"] == json.loads(json.dumps(event.as_dict()))
            assert (value["start"], value["end"]) == (event.packet.start, event.packet.end)
            assert bytes.fromhex(value["bytes"]) == event.packet.data
            assert value["preamble"] == event.packet.preamble
        elif isinstance(event, Fault):
            assert (value["start"], value["end"], value["at"]) == (event.start, event.end, event.at)
            assert FaultKind[value["kind"].upper()] is event.kind
            assert (value["detail"], value["count"]) == (event.detail, event.count)
            assert value["words"] == str(event)
        else:
            assert isinstance(event, Cutout)
            assert (value["start"], value["end"]) == (event.start, event.end)


def test_worked_value_of_the_standard(objects: list[dict[str, Any]]) -> None:
    first = objects[0]
    assert first["bytes"] == "377443"
    assert first["start"] == 0
    assert first["end"] == 1000 * sum(durations_of([STEP]))
    assert first["preamble"] == 14
    assert first["instruction"]["address"] == {"kind": "short", "number": 55}


def test_instructions_of_one_packet_are_parts_of_it(objects: list[dict[str, Any]]) -> None:
    parts = [(value["part"], value["bytes"]) for value in objects if value["event"] == "instruction"]
    assert parts == [(0, "377443"), (0, "3790b017"), (1, "3790b017"), (0, "377443")]


def test_summary_adds_up(objects: list[dict[str, Any]], capture: Path) -> None:
    summary = objects[-1]
    halves = [int(line) for line in capture.read_text().splitlines()[1:]]
    assert summary["length"] == 1000 * sum(halves)
    assert summary["half_bits"] == len(halves)
    assert (summary["packets"], summary["distinct_packets"], summary["cutouts"]) == (3, 2, 1)
    assert {kind: count for kind, count in summary["faults"].items() if count} == {"gap": 1}
    packets = {(v["start"], v["end"]) for v in objects if v["event"] == "instruction"}
    assert summary["packet_time"] == sum(end - start for start, end in packets)
    for event in ("fault", "cutout"):
        assert summary[f"{event}_time"] == sum(v["end"] - v["start"] for v in objects if v["event"] == event)
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
    events = [json.loads(line)["event"] for line in out.splitlines()]
    assert events == ["instruction", "cutout", "instruction", "instruction", "fault", "instruction"]
    assert "'x' is not a number" in errors
