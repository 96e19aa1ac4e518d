"""The pictures are what the library says, the same each time, and can be read: no words over words or over a line."""

from __future__ import annotations

import re
import sys
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from halfbit import FaultKind, core

DOCS = Path(__file__).parent.parent.parent / "docs"
sys.path.insert(0, str(DOCS))

from pictures import PICTURES  # noqa: E402
from pictures.__main__ import FILES  # noqa: E402
from pictures.state_diagram import INPUTS, STATES, moves, states  # noqa: E402
from pictures.svg import Box, Drawing  # noqa: E402


def overlap(one: Box, other: Box) -> bool:
    """True if two boxes share more than an edge."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_a_picture_is_sound_svg_and_the_same_each_time(name: str) -> None:
    first, second = (PICTURES[name]().render("what it <shows>") for _ in range(2))
    assert first == second
    root = ElementTree.fromstring(first)
    assert root.attrib["aria-label"] == "what it <shows>" and root.attrib["role"] == "img"
    assert len(root) > 10


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_no_words_cover_others_or_leave_the_picture(name: str) -> None:
    drawing = PICTURES[name]()
    assert drawing.words
    for (text, box), (other_text, other_box) in combinations(drawing.words, 2):
        assert not overlap(box, other_box), f"{text!r} and {other_text!r}"
    for text, (left, top, right, bottom) in drawing.words:
        assert left >= 0 and top >= 0 and right <= drawing.width + 1 and bottom <= drawing.height, text


def test_no_line_of_the_states_crosses_words_or_another_line() -> None:
    svg = ElementTree.fromstring(states().render("states"))
    lines = []
    for drawn in svg.iter("{http://www.w3.org/2000/svg}polyline"):
        points = [(float(x), float(y)) for x, y in (point.split(",") for point in drawn.attrib["points"].split())]
        lines.append([(min(a, b), max(a, b)) for a, b in zip(points, points[1:])])
    assert len(lines) == 8
    for line in lines:
        for (x1, y1), (x2, y2) in line:
            for text, (left, top, right, bottom) in states().words:
                assert not (x1 < right and x2 > left and y1 < bottom and y2 > top), text
    for one, other in combinations(lines, 2):
        for (a1, b1), (a2, b2) in one:
            for (c1, d1), (c2, d2) in other:
                assert not (a1 <= c2 and c1 <= a2 and min(b1, b2) <= max(d1, d2) and min(d1, d2) <= max(b1, b2))


def test_every_step_of_the_table_is_drawn() -> None:
    drawn = {(state, step) for state, _, step, _ in moves()}
    names = {getattr(core, name): name for name in ("FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY")}
    for number, state in enumerate(STATES):
        row = core.STEPS[len(INPUTS) * number :][: len(INPUTS)]
        assert {names[step] for step in row if step != core.STAY} == {step for one, step in drawn if one == state}


def test_there_is_a_picture_for_each_kind_of_fault() -> None:
    drawn = {name.removeprefix("fault_").upper() for name in PICTURES if name.startswith("fault_")}
    assert {kind.name for kind in FaultKind} == drawn


@pytest.mark.parametrize("name", sorted(FILES))
def test_a_picture_in_a_file_is_what_the_library_gives(name: str) -> None:
    assert (DOCS / name).read_text("utf-8") == FILES[name], "python -m pictures, in docs/"
    assert "prefers-color-scheme:dark" in FILES[name]


def test_every_picture_of_the_pages_says_in_words_what_it_shows() -> None:
    shown: set[str] = set()
    for page in DOCS.rglob("*.rst"):
        text = page.read_text("utf-8")
        found = re.findall(r"^\.\. picture:: (\w+)\n   :alt: (.+)$", text, re.MULTILINE)
        assert len(found) == text.count(".. picture::"), page
        for name, words in found:
            shown.add(name)
            assert len(words) > 30, page
    assert shown == set(PICTURES)


def test_what_overlaps_is_found() -> None:
    drawing = Drawing(100, 100)
    drawing.text(10, 50, "words")
    drawing.text(12, 52, "more")
    (_, one), (_, other) = drawing.words
    assert overlap(one, other)
    assert not overlap((0, 0, 1, 1), (1, 0, 2, 1))
