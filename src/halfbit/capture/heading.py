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

from fractions import Fraction
from typing import Any

import attrs

from ..error import AmbiguousError, CaptureError, HalfbitError
from ..unit import Scale, Unit
from .lines import quoted

__all__ = ["HOLDS", "Heading", "heading_of", "unknown_meaning"]

HOLDS = ("durations", "times")  #: Possible meanings of a capture's numbers.


@attrs.frozen(slots=True)
class Heading:
    """The meaning, unit and wrap of a capture's numbers; ``None`` if not known."""

    holds: str | None = None  #: ``"durations"`` or ``"times"``.
    unit: Unit | None = None
    wrap: int | None = None

    def over(self, other: Heading) -> Heading:
        """This heading, with missing values taken from another heading."""
        pairs = zip(attrs.astuple(self, recurse=False), attrs.astuple(other, recurse=False))
        return Heading(*(mine if mine is not None else theirs for mine, theirs in pairs))


def heading_of(text: bytes, place: str) -> Heading:
    """Read what follows ``halfbit:`` in a heading.

    :raises CaptureError: if it has an unknown word or a wrong number.
    """
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


def unknown_meaning() -> AmbiguousError:
    """The error if nothing gives the meaning of a capture's numbers."""
    say = "say holds=durations (from one level change to the next) or holds=times (of the changes)"
    line = "put a line like '# halfbit: durations us' at the head"
    return AmbiguousError(f"nothing says what the numbers are: {say}, or {line}", "holds", HOLDS)
