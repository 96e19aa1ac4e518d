"""The registry as a table: text, CSV and JSON lines, each holding every row."""

from __future__ import annotations

import csv
import doctest
import io
import json
import runpy
from pathlib import Path

import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import FORMATS, STANDARD, render
from halfbit.instruction import listing

ROWS = listing()

ROOT = Path(__file__).parent.parent.parent


def test_a_row_for_each_entry() -> None:
    assert len(ROWS) == len(STANDARD.entries())
    for row, entry in zip(ROWS, STANDARD.entries()):
        assert row.pattern.startswith(entry.pattern)
        assert row.name == entry.name
        assert row.source == entry.source
        assert row.addresses == tuple(kind.kind for kind in entry.addresses)


def test_text() -> None:
    lines = render(ROWS).splitlines()
    assert lines[0].split() == ["pattern", "name", "addresses", "source"]
    assert len(lines) == len(ROWS) + 1
    columns = [lines[0].index(word) for word in ("name", "addresses", "source")]
    for line, row in zip(lines[1:], ROWS):
        edges = [0, *columns, len(line)]
        cells = [line[first:last].rstrip() for first, last in zip(edges, edges[1:])]
        assert tuple(cells) == row.cells()


def test_csv() -> None:
    heading, *rows = csv.reader(io.StringIO(render(ROWS, "csv")))
    assert heading == ["pattern", "name", "addresses", "source"]
    assert [tuple(row) for row in rows] == [row.cells() for row in ROWS]


def test_json() -> None:
    lines = render(ROWS, "json").splitlines()
    assert len(lines) == len(ROWS)
    for line, row in zip(lines, ROWS):
        assert json.loads(line) == {
            "pattern": row.pattern,
            "name": row.name,
            "addresses": list(row.addresses),
            "source": row.source,
        }


def test_other_forms_are_refused() -> None:
    assert FORMATS == ("text", "csv", "json")
    with pytest.raises(HalfbitError, match="'xml' is not one of text, csv, json"):
        render(ROWS, "xml")


def test_names_tell_rows_apart() -> None:
    names = [(row.name, row.pattern, row.addresses) for row in ROWS]
    assert len(set(names)) == len(names)


def test_sources_name_a_document() -> None:
    """What was not read in a document says that it is from memory."""
    for row in ROWS:
        assert row.source.startswith(("S-9.2", "RCN-"))
        assert ("RCN-" not in row.source) or row.source.endswith("from memory")


def test_the_example_of_own_instructions(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(ROOT / "examples" / "own_instructions.py"), run_name="__main__")
    # 2604 = 10 * 256 + 44: CA 2C; 11001010; 0011 1 101 11011100: lamp 3, eased, 1500.
    assert capsys.readouterr().out.splitlines() == [
        "CA 2C CA 3D DC CD",
        "with the row:    lamp brightness: lamp 3 to 1500 slowly",
        "without the row: reserved: CA 3D DC",
        "pattern,name,addresses,source",
        '11001010 NNNNEBBB BBBBBBBB,Lamp Brightness,"short, long","Larkmoor Works, invented"',
    ]


def test_the_page_of_the_documentation() -> None:
    page = ROOT / "docs" / "registry.rst"
    failed, tried = doctest.testfile(str(page), module_relative=False)
    assert (failed, tried) == (0, 5)
