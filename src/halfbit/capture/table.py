"""Captures as tables of fields (CSV): a column with times and one with levels; or one with the times
of the changes, or the durations between them.

Rows that repeat a level are looks at it, no changes. The first row with a level says only what the
level is. Lines that start with ``#`` are comments, and one may be a heading; blank lines are allowed.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from contextlib import closing
from operator import itemgetter

from ..block import Block
from ..edge import Edges
from ..error import CaptureError
from ..unit import Number
from .capture_edges import CaptureEdges
from .columns import LEVELS, Layout, layout_of, split
from .heading import HEADING, LATE_HEADING, Heading, heading_in
from .lines import Lines, complaint, lines_of, quoted
from .looks import Looks, changes
from .numbers import fields_are_plain, number_in, numbers_in
from .options import Options
from .source import Source

__all__ = ["read_table"]


def read_table(source: Source, options: Options) -> Edges:
    """The edges of a table.

    :raises CaptureError: where there are no values, no such column, or nothing says what they are.
    """
    rows, heading, number = _head(source, options.take_last)
    try:
        layout = layout_of(rows, options, options.heading.over(heading))
    except CaptureError as error:
        raise CaptureError(error.problem, f"line {number}") from None
    if len(rows) == layout.names:
        raise CaptureError("holds no values, only names of columns")
    said = layout.heading
    unit = "us" if said.unit is None else said.unit
    are_durations = said.holds == "durations"
    if are_durations and said.wrap is not None:
        raise CaptureError("wrap: durations do not start over, times do")
    if layout.level is None:
        return CaptureEdges(
            source.name,
            lambda: (Block(rows.times, rows.place) for rows in _rows(source, layout, options.take_last)),
            are_durations=are_durations,
            unit=unit,
            wrap=said.wrap,
        )
    fields = split(rows[layout.names], layout.delimiter)
    first = LEVELS.get(fields[layout.level].lower(), 0)  # a wrong one will be met again, with its place
    return CaptureEdges(
        source.name,
        lambda: changes(_rows(source, layout, options.take_last), said.wrap),
        are_durations=False,
        unit=unit,
        level=1 - first,
    )


def _head(source: Source, take_last: bool) -> tuple[list[str], Heading, int]:
    """The first two rows (one where there is but one), the heading, and the first row's line number."""
    comments: list[bytes] = []  # every line, empty where it is none
    rows: list[str] = []
    at = 0
    with closing(source.look()) as chunks:
        for lines in lines_of(chunks, take_last):
            for number, text in enumerate(lines.texts, lines.number):
                if _is_comment(text):
                    comments.append(text)
                    continue
                comments.append(b"")
                if wrong := complaint(text):
                    raise CaptureError(wrong, f"line {number}")
                at = at or number
                rows.append(text.decode().rstrip("\r"))
                if len(rows) == 2:
                    return rows, heading_in(Lines(1, b"\n".join(comments))) or Heading(), at
    if not rows:
        raise CaptureError("holds no rows, only comments and blank lines" if comments else "is empty")
    return rows, heading_in(Lines(1, b"\n".join(comments))) or Heading(), at


def _is_comment(text: bytes) -> bool:
    text = text.strip()
    return not text or text.startswith(b"#")


def _rows(source: Source, layout: Layout, take_last: bool) -> Iterator[Looks]:
    names = layout.names
    opening = True
    for lines in lines_of(source.chunks(), take_last):
        if names:
            texts = lines.texts
            row = next((i for i, text in enumerate(texts) if not _is_comment(text)), None)
            if row is None:
                continue
            names = 0
            lines = Lines(lines.number + row + 1, b"\n".join(texts[row + 1 :]))
            opening = False
            if row + 1 == len(texts):
                continue
        try:
            rows = _at_once(lines, layout)
        except (ValueError, LookupError, csv.Error):
            for rows in _one_by_one(lines, layout, opening):
                yield rows
                opening = False
        else:
            if rows.times:
                yield rows
                opening = False


def _at_once(lines: Lines, layout: Layout) -> Looks:
    """Rows of which each is right.

    :raises ValueError: and others, where one may be wrong.
    """
    text = lines.text.decode()
    if "\0" in text or HEADING.search(lines.text):
        raise ValueError
    if layout.decimal_comma and "," in text:
        text = text.replace(",", ".")
    texts = text.split("\n")
    first = lines.number
    numbers: Sequence[int] = range(first, first + len(texts))
    rows = _parted(texts, layout)
    if set(map(len, rows)) != {layout.width}:
        kept = [index for index, text in enumerate(texts) if text.strip() and not text.lstrip().startswith("#")]
        numbers = [first + index for index in kept]
        rows = _parted([texts[index] for index in kept], layout)
        if rows and set(map(len, rows)) != {layout.width}:
            raise ValueError
    if len(rows) != len(numbers):  # a quoted field over several lines
        raise ValueError
    fields = list(map(itemgetter(layout.time), rows))
    if not fields_are_plain(lines.text) and not fields_are_plain("".join(fields).encode()):
        raise ValueError
    levels = b""
    if layout.level is not None:
        seen = list(map(itemgetter(layout.level), rows))
        try:
            levels = bytes(map(LEVELS.__getitem__, seen))
        except KeyError:
            levels = bytes([LEVELS[level.strip().lower()] for level in seen])
    return Looks(numbers_in(fields), levels, lambda index: f"line {numbers[index]}")


def _parted(texts: list[str], layout: Layout) -> list[list[str]]:
    return list(csv.reader(texts, delimiter=layout.delimiter, skipinitialspace=True, strict=True))


def _one_by_one(lines: Lines, layout: Layout, opening: bool) -> Iterator[Looks]:
    """Rows of which one is wrong: those before it, then the error with its place."""
    times: list[Number] = []
    levels: list[int] = []
    places: list[str] = []
    wrong: CaptureError | None = None
    for number, text in enumerate(lines.texts, lines.number):
        if HEADING.match(text) and (times or not opening):
            wrong = CaptureError(LATE_HEADING, f"line {number}")
            break
        if _is_comment(text):
            continue
        try:
            time, level = _row(text, layout)
        except CaptureError as error:
            wrong = CaptureError(error.problem, f"line {number}")
            break
        times.append(time)
        levels.append(level)
        places.append(f"line {number}")
    if times:
        yield Looks(times, b"" if layout.level is None else bytes(levels), places.__getitem__)
    if wrong is not None:
        raise wrong


def _row(text: bytes, layout: Layout) -> tuple[Number, int]:
    if wrong := complaint(text):
        raise CaptureError(wrong)
    fields = split(text.decode().rstrip("\r"), layout.delimiter)
    if len(fields) != layout.width:
        raise CaptureError(f"{quoted(text)}: number of fields is {len(fields)}, in the first row it is {layout.width}")
    field = fields[layout.time]
    if layout.decimal_comma:
        field = field.replace(",", ".")
    time = number_in(field.encode())
    if layout.level is None:
        return time, 0
    level = fields[layout.level]
    if level.lower() not in LEVELS:
        raise CaptureError(f"level {quoted(level.encode())} is neither 0 nor 1")
    return time, LEVELS[level.lower()]
