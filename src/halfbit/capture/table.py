"""Captures as tables (CSV): a column with times and one with levels or volts; or only one column, with
the times of the changes or the durations between them. With both rails, their difference is used.

Rows that repeat a level are samples, not changes. The first row with a level only gives the level.
Lines that start with ``#`` are comments, and one may be a heading. Blank lines are allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import closing

from ..batch import Batch
from ..error import CaptureError
from .capture_edges import CaptureEdges
from .columns import Layout, layout_of
from .heading import Heading, heading_in
from .lines import Lines, complaint, lines_of
from .samples import Finder, Samples, changes
from .options import Options
from .source import Source
from .table_rows import is_comment, rows_of
from .threshold import crossings, threshold_of

__all__ = ["read_table", "read_volts"]


def read_table(source: Source, options: Options) -> CaptureEdges:
    """The edges of a table of times, durations, or times and levels.

    :raises CaptureError: if there are no values, if a column does not exist, or if the meaning of the values is
        unknown.
    """
    layout, rows = _layout(source, options, volts=False)
    said = layout.heading
    are_durations = said.holds == "durations"
    if are_durations and said.wrap is not None:
        raise CaptureError("wrap: durations do not start over, times do")
    if not layout.rails:
        return CaptureEdges(
            source.name,
            lambda: (Batch(some.times, some.place) for some in rows(source.chunks())),
            words="durations" if are_durations else "times of changes",
            are_durations=are_durations,
            unit=said.unit,
            wrap=said.wrap,
        )
    return CaptureEdges(
        source.name,
        lambda: changes(rows(source.chunks()), Finder(said.wrap)),
        words=f"times and levels{layout.column}",
        unit=said.unit,
    )


def read_volts(source: Source, options: Options) -> CaptureEdges:
    """The edges of a table of times and volts, for one rail or both.

    :raises CaptureError: if there are no values, if a column does not exist, or if no threshold can be found.
    """
    layout, rows = _layout(source, options, volts=True)
    said = layout.heading
    with closing(source.look()) as chunks:
        some = (samples.volts for samples in rows(chunks))
        threshold = threshold_of(some, options.threshold, options.hysteresis)
    return CaptureEdges(
        source.name,
        lambda: crossings(rows(source.chunks()), threshold, said.wrap),
        words=f"times and volts{layout.column}",
        unit=said.unit,
        remarks=lambda: (str(threshold),),
    )


def _layout(
    source: Source, options: Options, volts: bool
) -> tuple[Layout, Callable[[Iterable[bytes]], Iterator[Samples]]]:
    """The table's layout, and the function that reads its rows."""
    first, heading, number = _head(source, options.take_last)
    try:
        layout = layout_of(first, options, options.heading.over(heading), volts)
    except CaptureError as error:
        raise error.at(f"line {number}") from None
    if len(first) == layout.names:
        raise CaptureError("holds no values, only names of columns")
    return layout, lambda chunks: rows_of(chunks, layout, options.take_last)


def _head(source: Source, take_last: bool) -> tuple[list[str], Heading, int]:
    """The first two rows (or the only one), the heading, and the first row's line number."""
    comments: list[bytes] = []  # one entry per line, empty if it is not a comment
    rows: list[str] = []
    at = 0
    with closing(source.look()) as chunks:
        for lines in lines_of(chunks, take_last):
            for number, text in enumerate(lines.texts, lines.number):
                if is_comment(text):
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
