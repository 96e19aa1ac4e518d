"""The JSON Schema of the documentation against what the library and the command line really give."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from halfbit import (
    RECEIVE,
    TRANSMIT,
    Cutout,
    Event,
    Fault,
    FaultKind,
    Instruction,
    Limits,
    Packet,
    Recovery,
    decode,
    edges_from_durations,
    instructions,
    open_capture,
)
from halfbit.cli.main import main
from halfbit.vectors import cases

ROOT = Path(__file__).parent.parent.parent
CAPTURES = ROOT / "examples" / "captures"
SCHEMA: dict[str, Any] = json.loads((ROOT / "docs" / "events.schema.json").read_text("utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def wrong(value: object) -> str | None:
    """The schema's error for a value; ``None`` if the value is valid."""
    through_json = json.loads(json.dumps(value))
    kind = through_json.get("type")
    if kind in SCHEMA["$defs"]:  # the message of the right branch says more than that of all
        branch = {**SCHEMA["$defs"][kind], "$defs": SCHEMA["$defs"]}
        for error in jsonschema.Draft202012Validator(branch).iter_errors(through_json):
            return f"{error.json_path}: {error.message}"
    return None if VALIDATOR.is_valid(through_json) else f"not one of the forms: {through_json}"


def all_events() -> Iterator[Event]:
    """Every instruction, fault and cutout of the vectors and the example captures."""
    for name, limits in (("receive", RECEIVE), ("transmit", TRANSMIT)):
        for case in cases(name):
            yield from decode(edges_from_durations(case.durations, "us"), limits)
    for capture in ("shunting_turn.txt", "programming_track.txt"):
        yield from decode(open_capture(CAPTURES / capture))
    yield from decode(open_capture(CAPTURES / "shunting_turn_polled.txt"), Limits.for_sampling_period(36))


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_every_event_of_the_vectors_and_captures_is_as_the_schema_says() -> None:
    seen: set[str] = set()
    for event in all_events():
        assert (problem := wrong(event.as_dict())) is None, (event, problem)
        seen.add(event.kind.name if isinstance(event, Fault) else type(event).__name__)
    assert {kind.name for kind in FaultKind} - seen <= {"UNCLEAR"}
    assert len(seen) > 40


@pytest.mark.parametrize("kind", FaultKind)
def test_a_fault_of_each_kind(kind: FaultKind) -> None:
    assert wrong(Fault(kind, 0, 100, 50, 7, b"\x07").as_dict()) is None


@pytest.mark.parametrize("recovered", [None, *Recovery])
def test_a_packet_however_it_was_found(recovered: Recovery | None) -> None:
    assert wrong(Packet(bytes.fromhex("377443"), 14, 0, 6_132_000, recovered).as_dict()) is None


def test_an_instruction_without_a_packet() -> None:
    (one,) = instructions([Packet(bytes.fromhex("377443"))])
    assert isinstance(one, Instruction)
    assert wrong(one.as_dict()) is None


@pytest.mark.parametrize("capture", ["shunting_turn.txt", "programming_track.txt", "shunting_turn_polled.txt", "shunting_turn.csv"])
def test_every_line_of_the_command_is_as_the_schema_says(capture: str) -> None:
    said = io.StringIO()
    with redirect_stdout(said), redirect_stderr(io.StringIO()):
        assert main(["decode", "--json", str(CAPTURES / capture)]) == 0
    lines = [json.loads(line) for line in said.getvalue().splitlines()]
    assert len(lines) > 80
    assert [problem for line in lines if (problem := wrong(line)) is not None] == []
    assert lines[-1]["type"] == "summary"


@pytest.mark.parametrize(
    "value",
    [
        {},
        {"type": "packet"},
        {**Cutout(0, 1).as_dict(), "schema": 2},
        {**Cutout(0, 1).as_dict(), "more": 1},
        {**Fault(FaultKind.CUT, 0, 1, 0).as_dict(), "kind": "cut"},
        {**Packet(b"\x07").as_dict(), "data": "7"},
        {**Packet(b"\x07").as_dict(), "start": 0.5},
    ],
)
def test_what_is_no_event_is_refused(value: dict[str, Any]) -> None:
    assert wrong(value) is not None


@pytest.mark.parametrize(
    ("words", "within"),
    [
        ("survey", ("fit", "shares", "trials")),
        ("traffic", ("addresses",)),
        ("follow --address 7", ()),
        ("audit", ("rules",)),
        ("inspect", ("bits",)),
    ],
)
def test_every_key_of_the_other_commands_is_on_the_page(words: str, within: tuple[str, ...]) -> None:
    said = io.StringIO()
    command, *options = words.split()
    with redirect_stdout(said), redirect_stderr(io.StringIO()):
        assert main([command, "--json", str(CAPTURES / "shunting_turn.txt"), *options]) == 0
    page = (ROOT / "docs" / "reference" / "json.rst").read_text("utf-8")
    about = "\n".join(re.findall(rf"^``{command}``: .*\n\n\.\. list-table::\n(?:   .*\n|\n)*", page, re.MULTILINE))
    keys: set[str] = set()
    for line in said.getvalue().splitlines():
        item = json.loads(line)
        if item.get("type") == "diagnosis":  # in the schema
            continue
        keys |= set(item)
        for name in within:
            part = item.get(name) or {}
            for one in part if isinstance(part, list) else [part]:
                keys |= set(one)
    assert len(keys) >= 5
    assert sorted(key for key in keys if f"``{key}``" not in about) == []
