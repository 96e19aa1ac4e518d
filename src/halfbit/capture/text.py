"""Captures as text: one number per line, or several; or a table (CSV) of times and levels, or times and volts.

A table may also have only one column, with the times of the changes or the durations between them. With both rails,
their difference is used. Rows that repeat a level are samples, not changes. The first row with a level only gives the
level.

``#`` starts a comment: on its own line, and behind a number without a table. One comment may be a heading
(:mod:`halfbit.capture.heading`). Blank lines are allowed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from operator import sub

from ..batch import Batch
from ..edge_samples import SAME
from ..error import CaptureError
from .capture_edges import CaptureEdges
from .columns import Layout, layout_of
from .head import LEVELS, Head, fields_in
from .heading import Heading, unknown_meaning
from .lines import Lines, quoted, read_lines
from .numbers import looks_like_number, numbers_in
from .options import NUMBERED, Options
from .samples import Finder, Samples, changes
from .source import Source
from .threshold import threshold_of

__all__ = ["read_table", "read_text"]

_COMMENT = re.compile(rb"#[^\n]*")


def read_text(source: Source, options: Options, head: Head) -> CaptureEdges:
    """The edges of durations or times without a table.

    :raises CaptureError: if the meaning of the values is unknown.
    """
    heading = head.said(options)
    if heading.holds is None:
        raise unknown_meaning()

    def numbers(lines: Lines) -> Batch | None:
        return _numbers(lines, several=bool(head.delimiter))

    return _of_changes(source, heading, lambda: read_lines(source.chunks(), options.take_last, numbers, head.first - 1))


def read_table(source: Source, options: Options, head: Head, *, volts: bool = False) -> CaptureEdges:
    """The edges of a table of times, durations, or times and the level of one rail or both.

    :param volts: True if the table has volts, not levels.
    :raises CaptureError: if there are no values, if a column does not exist, if the meaning of the values is unknown,
        or if no threshold can be found.
    """
    try:
        layout = layout_of(head, options, volts)
    except CaptureError as error:
        raise error.at(f"line {head.names_line or head.first}") from None
    heading = layout.heading

    def rows(chunks: Iterable[bytes]) -> Iterator[Samples]:
        return read_lines(chunks, options.take_last, lambda lines: _samples(lines, layout), head.first - 1)

    if not layout.rails:
        return _of_changes(source, heading, lambda: (Batch(some.times, some.place) for some in rows(source.chunks())))
    threshold = None
    if volts:
        with closing(source.look()) as chunks:
            values = (samples.volts for samples in rows(chunks))
            try:
                threshold = threshold_of(values, options.threshold, options.hysteresis)
            except CaptureError as error:
                raise error if error.place else CaptureError(f"{error.problem}; {NUMBERED}") from None
    return CaptureEdges(
        source.name, lambda: changes(rows(source.chunks()), Finder(heading.wrap, threshold)),
        words=f"times and {'volts' if volts else 'levels'}{layout.column}", unit=heading.unit,
        remarks=lambda: () if threshold is None else (str(threshold),),
    )  # fmt: skip


def _of_changes(source: Source, heading: Heading, batches: Callable[[], Iterable[Batch]]) -> CaptureEdges:
    """The edges of numbers of which each is about one change."""
    are_durations = heading.holds == "durations"
    if are_durations and heading.wrap is not None:
        raise CaptureError("wrap: durations do not start over, times do")
    words = "durations" if are_durations else "times of changes"
    return CaptureEdges(
        source.name, batches, words=words, are_durations=are_durations, unit=heading.unit, wrap=heading.wrap
    )


def _numbers(lines: Lines, several: bool) -> Batch | None:
    """Read lines with a number each, or with several. There may be comments and blank lines among them."""
    fields = _COMMENT.sub(b"", lines.text).decode("utf-8", "surrogateescape").split("\n")
    numbers = lines.numbers
    if several or not all(map(str.strip, fields)):
        rows = zip(numbers, (field.split() if several else [field.strip()] for field in fields))
        parted = [(number, part) for number, parts in rows for part in parts if part]
        numbers, fields = [number for number, _ in parted], [part for _, part in parted]
    place = _places(numbers)
    return Batch(numbers_in(fields, place), place) if fields else None


def _samples(lines: Lines, layout: Layout) -> Samples | None:
    """Read rows of a table. There may be comments and blank lines among them."""
    texts = lines.decoded()
    numbers = lines.numbers
    if b"#" in lines.text or not all(map(str.strip, texts)):
        kept = [index for index, text in enumerate(texts) if text.strip() and not text.lstrip().startswith("#")]
        numbers, texts = [numbers[index] for index in kept], [texts[index] for index in kept]
    if not texts:
        return None
    if layout.delimiter != ",":  # decimal commas
        texts = [text.replace(",", ".") for text in texts]
    place = _places(numbers)
    try:
        rows = fields_in(texts, layout.delimiter)
    except CaptureError as error:
        raise error.at(place(0)) from None
    for index, row in enumerate(rows):
        if len(row) != layout.width:
            text = lines.texts[numbers[index] - lines.number]
            problem = f"number of fields is {len(row)}, in the first row it is {layout.width}"
            raise CaptureError(f"{quoted(text)}: {problem}", place(index))
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


def _places(numbers: Sequence[int]) -> Callable[[int], str]:
    return lambda index: f"line {numbers[index]}"


def _levels_in(fields: Sequence[str], place: Callable[[int], str]) -> bytes:
    levels = bytearray()
    for index, field in enumerate(fields):
        level = LEVELS.get(field.strip().lower())
        if level is None:
            numbered = f"; {NUMBERED}" if field.strip().isdigit() else ""
            hint = f" (if these are volts, read them with format=volts{numbered})" if looks_like_number(field) else ""
            raise CaptureError(f"level {quoted(field.encode())} is neither 0 nor 1{hint}", place(index))
        levels.append(level)
    return bytes(levels)
