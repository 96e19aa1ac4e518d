"""Reads the rows of a table."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from operator import sub

from ..edge_samples import SAME
from ..error import CaptureError
from .columns import Layout
from .head import LEVELS
from .lines import Lines, quoted, read_lines
from .numbers import looks_like_number, numbers_in
from .samples import Samples

__all__ = ["rows_of"]


def rows_of(chunks: Iterable[bytes], layout: Layout, take_last: bool) -> Iterator[Samples]:
    """The rows of a table, in batches as they arrive.

    :raises CaptureError: if a row is invalid, with the line. The rows before it come out first.
    """
    return read_lines(chunks, take_last, lambda lines: _samples(lines, layout), layout.above)


def _samples(lines: Lines, layout: Layout) -> Samples | None:
    texts = lines.decoded()
    numbers: Sequence[int] = range(lines.number, lines.number + len(texts))
    if layout.decimal_comma and b"," in lines.text:
        texts = [text.replace(",", ".") for text in texts]
    rows = _parted(texts, layout, numbers)
    if set(map(len, rows)) != {layout.width}:
        kept = [index for index, text in enumerate(texts) if text.strip() and not text.lstrip().startswith("#")]
        numbers = [lines.number + index for index in kept]
        rows = _parted([texts[index] for index in kept], layout, numbers)
    if not rows:
        return None

    def place(index: int) -> str:
        return f"line {numbers[index]}"

    for index, row in enumerate(rows if set(map(len, rows)) != {layout.width} else ()):
        if len(row) != layout.width:
            problem = f"number of fields is {len(row)}, in the first row it is {layout.width}"
            raise CaptureError(f"{quoted(lines.texts[numbers[index] - lines.number])}: {problem}", place(index))
    times = numbers_in([row[layout.time] for row in rows], place)
    rails = [[row[rail] for row in rows] for rail in layout.rails]
    if layout.volts:
        volts = [numbers_in(rail, place) for rail in rails]
        return Samples(times, b"", place, volts[0] if len(volts) == 1 else list(map(sub, *volts)))
    levels = [_levels_in(rail, place) for rail in rails]
    if len(levels) < 2:
        return Samples(times, levels[0] if levels else b"", place)
    # The first rail's level if they differ, else unchanged.
    return Samples(times, bytes([one if one != other else SAME for one, other in zip(*levels)]), place)


def _parted(texts: Sequence[str], layout: Layout, numbers: Sequence[int]) -> list[list[str]]:
    try:
        rows = list(csv.reader(texts, delimiter=layout.delimiter, skipinitialspace=True, strict=True))
        if len(rows) == len(texts):  # else a quoted field spans several lines
            return rows
    except (csv.Error, ValueError):
        pass
    problem = f"{quoted(texts[0].encode())} is not a row of fields: a quote is not closed, or out of place"
    raise CaptureError(problem, f"line {numbers[0]}")


def _levels_in(fields: Sequence[str], place: Callable[[int], str]) -> bytes:
    try:
        return bytes(map(LEVELS.__getitem__, fields))
    except KeyError:  # with spaces, or in capitals
        levels = [LEVELS.get(field.strip().lower()) for field in fields]
    for index, level in enumerate(levels):
        if level is None:
            hint = " (if these are volts, read them with format=volts)" if looks_like_number(fields[index]) else ""
            problem = f"level {quoted(fields[index].encode())} is neither 0 nor 1{hint}"
            raise CaptureError(problem, place(index))
    return bytes([level for level in levels if level is not None])
