"""The comment at a capture's head that says what its numbers are.

One line of words, anywhere before the first value::

    # halfbit: durations us
    # halfbit: times ticks=1000000 wrap=4294967296

First ``durations`` (between one level change and the next) or ``times`` (of the changes). Then, as
needed, the unit, ``ns``, ``us``, ``ms`` or ``s``, or how many ``ticks=`` there are in a second; and
``wrap=``, how many counts a counter has before it starts over. Without a unit it is us.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import attrs

from ..error import CaptureError, HalfbitError
from ..unit import Scale, Unit
from .lines import Lines, quoted

__all__ = ["HEADING", "HOLDS", "LATE_HEADING", "Heading", "heading_in"]

#: What a capture's numbers can be.
HOLDS = ("durations", "times")

#: A comment that is a heading.
HEADING = re.compile(rb"^[ \t]*#[ \t]*halfbit:(.*)$", re.MULTILINE)

#: What is wrong with one that comes after values.
LATE_HEADING = "a heading after values: another capture starts here, part the file"


@attrs.frozen(slots=True)
class Heading:
    """What is known about a capture's numbers; ``None`` where nothing is."""

    #: ``"durations"`` or ``"times"``.
    holds: str | None = None
    unit: Unit | None = None
    wrap: int | None = None

    def over(self, other: Heading) -> Heading:
        """This one, with what it does not say taken from another."""
        pairs = zip(attrs.astuple(self, recurse=False), attrs.astuple(other, recurse=False))
        return Heading(*(mine if mine is not None else theirs for mine, theirs in pairs))


def heading_in(lines: Lines, found: Heading | None = None) -> Heading | None:
    """The heading among some lines of comment.

    :param found: the one in the lines before, if there was one.
    :raises CaptureError: if a word of it is none of a heading's, or there are two headings.
    """
    for number, text in enumerate(lines.texts, lines.number):
        match = HEADING.match(text)
        if match is None:
            continue
        try:
            if found is not None:
                raise HalfbitError("a second heading: one is enough")
            found = _heading(match[1])
        except HalfbitError as error:
            raise CaptureError(str(error), f"line {number}") from None
    return found


def _heading(text: bytes) -> Heading:
    words = text.decode("ascii", "backslashreplace").split()
    if not words or words[0] not in HOLDS:
        raise HalfbitError(f"heading says {quoted(text)}: its first word is 'durations' or 'times'")
    said: dict[str, Any] = {}
    for word in words[1:]:
        name, _, value = word.partition("=")
        if name in ("ticks", "wrap") and value:
            number = _count(name, value)
            key = "unit" if name == "ticks" else "wrap"
        elif not value:
            Scale.of(word)
            number, key = word, "unit"
        else:
            raise HalfbitError(f"heading says {word!r}, which is no unit, ticks= or wrap=")
        if key in said:
            raise HalfbitError(f"heading says its {key} twice")
        said[key] = number
    return Heading(words[0], **said)


def _count(name: str, value: str) -> Any:
    try:
        if name == "wrap":
            counts = int(value)
            if counts < 2:
                raise HalfbitError(f"heading says wrap={value}: a counter has 2 counts or more")
            return counts
        ticks = Fraction(value)
    except HalfbitError:
        raise
    except (ValueError, ZeroDivisionError):
        raise HalfbitError(f"heading says {name}={value}, which is no number") from None
    Scale.of(ticks)
    return ticks
