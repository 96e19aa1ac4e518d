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
from .head import Head
from .samples import Finder, Samples, changes
from .options import Options
from .source import Source
from .table_rows import rows_of
from .threshold import crossings, threshold_of

__all__ = ["read_table", "read_volts"]


def read_table(source: Source, options: Options, head: Head) -> CaptureEdges:
    """The edges of a table of times, durations, or times and levels.

    :raises CaptureError: if there are no values, if a column does not exist, or if the meaning of the values is
        unknown.
    """
    layout, rows = _layout(head, options, volts=False)
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


def read_volts(source: Source, options: Options, head: Head) -> CaptureEdges:
    """The edges of a table of times and volts, for one rail or both.

    :raises CaptureError: if there are no values, if a column does not exist, or if no threshold can be found.
    """
    layout, rows = _layout(head, options, volts=True)
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
    head: Head, options: Options, volts: bool
) -> tuple[Layout, Callable[[Iterable[bytes]], Iterator[Samples]]]:
    """The table's layout, and the function that reads its rows."""
    try:
        layout = layout_of(head, options, volts)
    except CaptureError as error:
        raise error.at(f"line {head.names_line or head.first}") from None
    return layout, lambda chunks: rows_of(chunks, layout, options.take_last)
