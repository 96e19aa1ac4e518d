"""Captures written from sentences alone: each is read right with no option, or refused so that the next try works."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfbit.cli.main import main

from .described import Described, described, packets

CASES = described()


def run(path: Path, capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, list[str], str]:
    status = main(["decode", str(path), "--csv", *options])
    out, errors = capsys.readouterr()
    return status, out.splitlines(), errors


def read(lines: list[str]) -> list[str]:
    """The bytes of the packets, from the CSV's column."""
    fields = [line.split(",") for line in lines[1:]]
    return [field[5] for field in fields if field[2] == "instruction"]


def as_sent(found: list[str]) -> bool:
    """True if the packets are some of those sent, in their order, and nearly all."""
    sent = [data.hex(" ").upper() for data in packets(40)]
    order = {data: index for index, data in enumerate(sent[:4])}
    steps = {(order[late] - order[early]) % 4 for early, late in zip(found, found[1:])}
    return len(found) >= 19 and set(found) <= set(order) and steps <= {1, 2}


def test_there_are_twenty_and_more() -> None:
    assert len(CASES) >= 20
    assert len({case.name for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_read_or_refused_with_what_makes_it_read(
    case: Described, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / case.file
    path.write_bytes(case.content)
    status, lines, errors = run(path, capsys)
    if status == 0:
        assert as_sent(read(lines))
        assert errors.startswith(f"halfbit: {path}: read as: ") and errors.count("\n") == 1
        return
    assert status == 2 and errors.count("\n") == 1
    ways = re.findall(r"--[a-z-]+ [^\s,;()]+", errors.partition("say which")[2])
    assert len(ways) > 1
    for way in ways:
        status, lines, _ = run(path, capsys, *way.split())
        assert status == 0 and as_sent(read(lines)), way
