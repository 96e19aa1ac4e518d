"""Text captures: one number per line, durations or times.

``#`` starts a comment, on its own line or after a number. Blank lines are allowed. The caller or a
heading (:mod:`halfbit.capture.heading`) says what the numbers are.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..batch import Batch
from ..error import CaptureError
from .capture_edges import CaptureEdges
from .head import Head
from .heading import HOLDS
from .lines import Lines, read_lines
from .numbers import numbers_in
from .options import Options
from .source import Source
from .unsaid import UnsaidError

__all__ = ["read_text", "say_what"]

_COMMENT = re.compile(rb"#[^\n]*")


def read_text(source: Source, options: Options, head: Head) -> CaptureEdges:
    """The edges of a text capture.

    :raises CaptureError: if the meaning of the values is unknown.
    """
    heading = head.said(options)
    if heading.holds is None:
        raise UnsaidError(say_what(), "holds", HOLDS)
    are_durations = heading.holds == "durations"
    several = bool(head.delimiter)
    if are_durations and heading.wrap is not None:
        raise CaptureError("wrap: durations do not start over, times do")
    return CaptureEdges(
        source.name,
        lambda: read_lines(source.chunks(), options.take_last, lambda lines: _numbers(lines, several), head.first - 1),
        words="durations" if are_durations else "times of changes",
        are_durations=are_durations,
        unit=heading.unit,
        wrap=heading.wrap,
    )


def say_what() -> str:
    """Error text: how to give the meaning of a capture's numbers."""
    return (
        "nothing says what the numbers are: say holds=durations (from one level change to the next) or "
        "holds=times (of the changes), or put a line like '# halfbit: durations us' at the head"
    )


def _numbers(lines: Lines, several: bool) -> Batch | None:
    """Read lines with a number each, or with several. There may be comments and blank lines among them."""
    fields = _COMMENT.sub(b"", lines.text).decode("utf-8", "surrogateescape").split("\n")
    numbers: Sequence[int] = range(lines.number, lines.number + len(fields))
    if several or not all(map(str.strip, fields)):
        rows = zip(numbers, (field.split() if several else [field.strip()] for field in fields))
        parted = [(number, part) for number, parts in rows for part in parts if part]
        numbers, fields = [number for number, _ in parted], [part for _, part in parted]

    def place(index: int) -> str:
        return f"line {numbers[index]}"

    return Batch(numbers_in(fields, place), place) if fields else None
