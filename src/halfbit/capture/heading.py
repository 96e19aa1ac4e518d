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

import re
from fractions import Fraction
from typing import Any

import attrs

from ..error import CaptureError, HalfbitError
from ..unit import Scale, Unit
from .lines import Lines, quoted

__all__ = ["HEADING", "HOLDS", "LATE_HEADING", "Heading", "heading_in"]

#: Possible meanings of a capture's numbers.
HOLDS = ("durations", "times")

#: Pattern of a heading.
HEADING = re.compile(rb"^[ \t]*#[ \t]*halfbit:(.*)$", re.MULTILINE)

#: Error text for a heading that comes after values.
LATE_HEADING = "a heading after values: another capture starts here, split the file"


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


def heading_in(lines: Lines, found: Heading | None = None) -> Heading | None:
    """Find the heading in some comment lines.

    :param found: the heading in the lines before, if there was one.
    :raises CaptureError: if the heading has an unknown word, or if there are two headings.
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
