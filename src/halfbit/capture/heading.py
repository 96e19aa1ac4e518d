"""The heading: a comment at the start of a capture that says what its numbers are.

It is one line, anywhere before the first value::

    # halfbit: durations us
    # halfbit: times ticks=1000000 wrap=4294967296

The first word is ``durations`` (from one level change to the next) or ``times`` (of the changes).
Optional words follow: the unit (``ns``, ``us``, ``ms`` or ``s``), or ``ticks=`` with the number of
ticks per second; and ``wrap=`` with the number of counts after which the counter overflows. Without
a unit, us is assumed.
"""

from __future__ import annotations

from contextlib import closing
from fractions import Fraction
from itertools import chain
from typing import Any

import attrs

from ..error import CaptureError, HalfbitError
from ..unit import Scale, Unit
from .lines import HEADING, lines_of, quoted
from .source import Source

__all__ = ["HOLDS", "Heading", "first_rows"]

#: Possible meanings of a capture's numbers.
HOLDS = ("durations", "times")


@attrs.frozen(slots=True)
class Heading:
    """The meaning, unit and wrap of a capture's numbers; ``None`` if not known."""

    #: ``"durations"`` or ``"times"``.
    holds: str | None = None
    unit: Unit | None = None
    wrap: int | None = None

    def over(self, other: Heading) -> Heading:
        """This heading, with missing values taken from another heading."""
        pairs = zip(attrs.astuple(self, recurse=False), attrs.astuple(other, recurse=False))
        return Heading(*(mine if mine is not None else theirs for mine, theirs in pairs))


def first_rows(source: Source, take_last: bool, count: int) -> tuple[list[tuple[int, str]], Heading]:
    """The first rows of a text file with their line numbers, and the heading in the comments above them.

    :param count: most rows. There is at least one.
    :raises CaptureError: if there is no row, or if the heading is not valid.
    """
    rows: list[tuple[int, str]] = []
    found: Heading | None = None
    empty = True
    with closing(source.look()) as chunks:
        lines = chain.from_iterable(some.singly() for some in lines_of(chunks, take_last))
        while len(rows) < count and (line := next(lines, None)) is not None:
            empty = False
            comment = HEADING.match(line.text)
            if comment and found is not None:
                raise CaptureError("a second heading: one is enough", f"line {line.number}")
            if comment:
                found = _heading(comment[1], f"line {line.number}")
            elif line.text.partition(b"#")[0].strip():
                rows.append((line.number, line.decoded()[0].rstrip("\r")))
    if not rows:
        raise CaptureError("is empty" if empty else "holds no values, only comments and blank lines")
    return rows, found or Heading()


def _heading(text: bytes, place: str) -> Heading:
    holds, *words = text.decode("ascii", "backslashreplace").split() or [""]
    if holds not in HOLDS:
        raise CaptureError(f"heading says {quoted(text)}: its first word is 'durations' or 'times'", place)
    said: dict[str, Any] = {}
    for word in words:
        name, _, value = word.partition("=")
        key = "wrap" if name == "wrap" else "unit"
        try:
            if key in said:
                raise HalfbitError(f"its {key} is given twice")
            said[key] = int(value) if name == "wrap" else Fraction(value) if name == "ticks" else word
            if key == "unit":
                Scale.of(said[key])
            elif said[key] < 2:
                raise HalfbitError("a counter has 2 counts or more")
        except HalfbitError as error:
            raise CaptureError(f"heading says {word!r}: {error}", place) from None
        except (ValueError, ZeroDivisionError):
            raise CaptureError(f"heading says {word!r}: {value!r} is no number", place) from None
    return Heading(holds, **said)
