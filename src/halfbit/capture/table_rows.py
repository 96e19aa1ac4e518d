"""Reads the rows of a table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from operator import sub

from ..edge_samples import SAME
from ..error import CaptureError
from .columns import Layout
from .head import LEVELS, fields_in
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
    if b"#" in lines.text or not all(map(str.strip, texts)):  # comments or blank lines
        kept = [index for index, text in enumerate(texts) if text.strip() and not text.lstrip().startswith("#")]
        numbers, texts = [numbers[index] for index in kept], [texts[index] for index in kept]
    if not texts:
        return None
    if layout.decimal_comma and b"," in lines.text:
        texts = [text.replace(",", ".") for text in texts]

    def place(index: int) -> str:
        return f"line {numbers[index]}"

    rows = _parted(texts, layout, place)
    if set(map(len, rows)) != {layout.width}:
        index = next(index for index, row in enumerate(rows) if len(row) != layout.width)
        problem = f"number of fields is {len(rows[index])}, in the first row it is {layout.width}"
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


def _parted(texts: Sequence[str], layout: Layout, place: Callable[[int], str]) -> list[list[str]]:
    try:
        return fields_in(texts, layout.delimiter)
    except CaptureError as error:
        raise error.at(place(0)) from None


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
