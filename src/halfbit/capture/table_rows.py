"""Reads the rows of a table: many at once if all are valid, one by one to find an invalid one."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from operator import itemgetter, sub

from ..edge_samples import SAME
from ..error import CaptureError
from ..unit import Number
from .columns import Layout, split
from .head import LEVELS
from .heading import HEADING, LATE_HEADING
from .lines import NO_TEXT, Lines, complaint, lines_of, quoted
from .samples import Samples
from .numbers import fields_are_plain, looks_like_number, number_in, numbers_in

__all__ = ["is_comment", "rows_of"]


def is_comment(text: bytes) -> bool:
    """True if a line is a comment or blank, so not a row."""
    text = text.strip()
    return not text or text.startswith(b"#")


def rows_of(chunks: Iterable[bytes], layout: Layout, take_last: bool) -> Iterator[Samples]:
    """The rows of a table, in batches as they arrive.

    :raises CaptureError: if a row is invalid, with the line. The rows before it come out first.
    """
    names = layout.names
    opening = True
    for lines in lines_of(chunks, take_last):
        if names:
            texts = lines.texts
            row = next((i for i, text in enumerate(texts) if not is_comment(text)), None)
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


def _at_once(lines: Lines, layout: Layout) -> Samples:
    """Read many rows, all of which must be valid.

    :raises ValueError: (or another error) if a row may be invalid.
    """
    text = lines.text.decode()
    if NO_TEXT.search(lines.text) or HEADING.search(lines.text):
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
    if len(rows) != len(numbers):  # a quoted field spans several lines
        raise ValueError
    fields = list(map(itemgetter(layout.time), rows))
    if not fields_are_plain(lines.text) and not fields_are_plain("".join(fields).encode()):
        raise ValueError
    columns = [list(map(itemgetter(rail), rows)) for rail in layout.rails]
    times, place = numbers_in(fields), lambda index: f"line {numbers[index]}"
    if not layout.volts:
        return Samples(times, _difference(list(map(_levels_in, columns))), place)
    if not fields_are_plain(lines.text) and not all(fields_are_plain("".join(some).encode()) for some in columns):
        raise ValueError
    volts = list(map(numbers_in, columns))
    return Samples(times, b"", place, volts[0] if len(volts) == 1 else list(map(sub, *volts)))


def _levels_in(fields: Sequence[str]) -> bytes:
    try:
        return bytes(map(LEVELS.__getitem__, fields))
    except KeyError:
        return bytes([LEVELS[field.strip().lower()] for field in fields])


def _difference(levels: Sequence[bytes]) -> bytes:
    """The level from one rail or two. With two: the first rail's level if they differ, else unchanged."""
    if len(levels) < 2:
        return levels[0] if levels else b""
    return bytes([one if one != other else SAME for one, other in zip(*levels)])


def _parted(texts: list[str], layout: Layout) -> list[list[str]]:
    return list(csv.reader(texts, delimiter=layout.delimiter, skipinitialspace=True, strict=True))


def _one_by_one(lines: Lines, layout: Layout, opening: bool) -> Iterator[Samples]:
    """Read rows of which one is invalid: the rows before it, then the error with its place."""
    times: list[Number] = []
    levels: list[bytes] = []
    volts: list[Number] = []
    places: list[str] = []
    wrong: CaptureError | None = None
    for number, text in enumerate(lines.texts, lines.number):
        if HEADING.match(text) and (times or not opening):
            wrong = CaptureError(LATE_HEADING, f"line {number}")
            break
        if is_comment(text):
            continue
        try:
            time, level, value = _row(text, layout)
        except CaptureError as error:
            wrong = CaptureError(error.problem, f"line {number}")
            break
        times.append(time)
        levels.append(level)
        volts.append(value)
        places.append(f"line {number}")
    if times:
        yield Samples(times, b"".join(levels), places.__getitem__, volts if layout.volts else ())
    if wrong is not None:
        raise wrong


def _row(text: bytes, layout: Layout) -> tuple[Number, bytes, Number]:
    """A row's time, level (empty if the table has no levels) and volts."""
    if wrong := complaint(text):
        raise CaptureError(wrong)
    fields = split(text.decode().rstrip("\r"), layout.delimiter)
    if len(fields) != layout.width:
        raise CaptureError(f"{quoted(text)}: number of fields is {len(fields)}, in the first row it is {layout.width}")
    time = _number(fields[layout.time], layout)
    rails = [fields[rail] for rail in layout.rails]
    if layout.volts:
        volts = [_number(rail, layout) for rail in rails]
        return time, b"", volts[0] if len(volts) == 1 else volts[0] - volts[1]
    for rail in rails:
        if rail.lower() not in LEVELS:
            hint = " (if these are volts, read them with format=volts)" if looks_like_number(rail.encode()) else ""
            raise CaptureError(f"level {quoted(rail.encode())} is neither 0 nor 1{hint}")
    return time, _difference([_levels_in([rail]) for rail in rails]), 0


def _number(field: str, layout: Layout) -> Number:
    return number_in((field.replace(",", ".") if layout.decimal_comma else field).encode())
