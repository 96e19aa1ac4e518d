"""Text captures: one number per line, durations or times.

``#`` starts a comment, on its own line or after a number. Blank lines are allowed. The caller or a
heading (:mod:`halfbit.capture.heading`) says what the numbers are.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing

from ..batch import Batch
from ..error import CaptureError
from ..unit import Number
from .capture_edges import CaptureEdges
from .heading import HEADING, HOLDS, LATE_HEADING, Heading, heading_in
from .lines import Lines, complaint, lines_of
from .numbers import fields_are_plain, number_in, numbers_in
from .options import Options
from .source import Source
from .unsaid import UnsaidError

__all__ = ["read_text", "say_what"]

_COMMENT = re.compile(rb"#[^\n]*")


def read_text(source: Source, options: Options) -> CaptureEdges:
    """The edges of a text capture.

    :raises CaptureError: if the file has no values, or if the meaning of the values is unknown.
    """
    heading = options.heading.over(_heading_of(source, options.take_last))
    if heading.holds is None:
        raise UnsaidError(say_what(), "holds", HOLDS)
    are_durations = heading.holds == "durations"
    if are_durations and heading.wrap is not None:
        raise CaptureError("wrap: durations do not start over, times do")
    return CaptureEdges(
        source.name,
        lambda: _blocks(source, options),
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


def _heading_of(source: Source, take_last: bool) -> Heading:
    """Read up to the first value."""
    heading: Heading | None = None
    empty = True
    with closing(source.look()) as chunks:
        for lines in lines_of(chunks, take_last):
            empty = False
            texts = lines.texts
            ends = (index for index, text in enumerate(texts) if _COMMENT.sub(b"", text).strip())
            value = next(ends, None)
            heading = heading_in(Lines(lines.number, b"\n".join(texts[:value])), heading)
            if value is not None:
                if wrong := complaint(texts[value]):
                    raise CaptureError(wrong, f"line {lines.number + value}")
                return heading or Heading()
    raise CaptureError("is empty" if empty else "holds no number, only comments and blank lines")


def _blocks(source: Source, options: Options) -> Iterator[Batch]:
    opening = True
    several = options.delimiter is not None
    for lines in lines_of(source.chunks(), options.take_last):
        try:
            batch = _clean(lines) or _commented(lines, several)
        except ValueError:  # CaptureError is a ValueError too
            for batch in _one_by_one(lines, opening, several):
                yield batch
                opening = False
        else:
            if batch.values:
                yield batch
                opening = False


def _clean(lines: Lines) -> Batch | None:
    """Read lines that each hold exactly one number; ``None`` if they do not."""
    if not fields_are_plain(lines.text) or b"#" in lines.text:
        return None
    try:
        number = lines.number
        return Batch(numbers_in(lines.texts), lambda index: f"line {number + index}")
    except ValueError:
        return None


def _commented(lines: Lines, several: bool) -> Batch:
    """Read lines with comments, blank lines, or several numbers per line."""
    text = _COMMENT.sub(b"", lines.text)
    if not fields_are_plain(text) or HEADING.search(lines.text):
        raise ValueError
    fields = text.split() if several else list(filter(None, map(bytes.strip, text.split(b"\n"))))
    return Batch(numbers_in(fields), _Places(text, lines.number, several))


class _Places:
    """The line numbers of values among comments and blank lines. Computed only when needed."""

    def __init__(self, text: bytes, number: int, several: bool) -> None:
        self._text = text
        self._number = number
        self._several = several
        self._lines: list[int] = []

    def __call__(self, index: int) -> str:
        if not self._lines:
            texts = enumerate(self._text.split(b"\n"), self._number)
            self._lines = [
                number for number, text in texts for _ in range(len(text.split()) if self._several else bool(text.strip()))
            ]
        return f"line {self._lines[index]}"


def _one_by_one(lines: Lines, opening: bool, several: bool) -> Iterator[Batch]:
    """Read lines of which one is invalid: the values before it, then the error with its place."""
    values: list[Number] = []
    places: list[str] = []
    wrong: CaptureError | None = None
    for number, text in enumerate(lines.texts, lines.number):
        place = f"line {number}"
        if HEADING.match(text) and (values or not opening):
            wrong = CaptureError(LATE_HEADING, place)
            break
        field = _COMMENT.sub(b"", text)
        if not field.strip():
            continue
        try:
            for part in field.split() if several else [field]:
                values.append(number_in(part, place))
                places.append(place)
        except CaptureError as error:
            wrong = error
            break
    if values:
        yield Batch(values, places.__getitem__)
    if wrong is not None:
        raise wrong
