"""``halfbit registry``."""

from __future__ import annotations

import csv
import io
import json

import pytest

from halfbit.cli.main import main
from halfbit.instruction import STANDARD
from halfbit.instruction import listing


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["registry", *arguments]) == 0
    out, errors = capsys.readouterr()
    assert errors == ""
    return out


def test_table_has_a_line_for_each_entry(capsys: pytest.CaptureFixture[str]) -> None:
    lines = printed(capsys).splitlines()
    assert lines[0].split() == ["pattern", "name", "addresses", "source"]
    assert len(lines) == 1 + len(STANDARD.entries())
    # 128 step speed control (S-9.2.1 C).
    assert any(line.startswith("00111111 DSSSSSSS") and "S-9.2.1 C" in line for line in lines)


def test_csv_and_json_hold_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    table = list(csv.DictReader(io.StringIO(printed(capsys, "--csv"))))
    objects = [json.loads(line) for line in printed(capsys, "--json").splitlines()]
    rows = listing()
    assert len(table) == len(objects) == len(rows)
    for row, cells, value in zip(rows, table, objects):
        assert (cells["pattern"], cells["name"], cells["source"]) == (row.pattern, row.name, row.source)
        assert (value["pattern"], value["name"], value["source"]) == (row.pattern, row.name, row.source)
        assert value["addresses"] == list(row.addresses)


def test_one_form_at_a_time(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["registry", "--csv", "--json"])
    assert left.value.code == 2
