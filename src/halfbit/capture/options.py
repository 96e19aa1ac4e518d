"""The options for opening a capture, for all formats."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Union

import attrs

from ..error import HalfbitError
from ..unit import Scale, Unit
from .heading import HOLDS

__all__ = ["NUMBERED", "Column", "Options"]

#: What helps if a line's number and a duration were taken for a time and volts.
NUMBERED = "if lines hold an index and a duration, say format=csv time_column=2 holds=durations"

Column = Union[str, int]  #: A column of a table: its name, or its number from 1.


def _optional(is_valid: Callable[[Any], object], words: str) -> Any:
    """A field that may be ``None``. The error for another value says that it is not ``words``."""

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if not is_valid(value):
            raise HalfbitError(f"{attribute.name}: {value!r} is not {words}")

    return attrs.field(default=None, validator=attrs.validators.optional(check))


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 1


def _is_finite(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _column() -> Any:
    words = "the name of a column, or its number from 1"
    return _optional(lambda value: isinstance(value, str) or _is_number(value), words)


@attrs.frozen(kw_only=True)
class Options:
    """The options for opening a capture, as :func:`halfbit.open_capture` takes them; ``None`` if one is not given.

    For a new option, add it here, in :func:`halfbit.capture.open_capture`, and in the table of formats.

    :raises HalfbitError: if a value is not valid for its field.
    """

    holds: str | None = _optional(HOLDS.__contains__, "'durations' or 'times'")
    unit: Unit | None = _optional(Scale.of, "a unit")
    wrap: int | None = None
    time_column: Column | None = _column()
    level_column: Column | None = _column()
    delimiter: str | None = _optional(
        lambda value: isinstance(value, str) and len(value) == 1 and value not in '\r\n"',
        "a single character that can separate fields",
    )
    decimal: str | None = _optional(("point", "comma").__contains__, "'point' or 'comma'")
    last_line: str | None = _optional(("leave", "take", "refuse").__contains__, "'leave' or 'take' or 'refuse'")
    signal: str | None = _optional(lambda value: isinstance(value, str) and value.strip(), "a name")
    channel: int | None = _optional(_is_number, "the number of a channel, from 1")
    other_rail: Column | None = _column()
    threshold: float | None = _optional(_is_finite, "a finite number")
    hysteresis: float | None = _optional(lambda value: _is_finite(value) and value >= 0, "a finite number from 0 up")

    @property
    def take_last(self) -> bool:
        """True if a last line without a line end is read."""
        return self.last_line == "take"

    def refuse_all_but(self, names: Sequence[str], format: str) -> None:
        """Check that only options of a format are set.

        :raises HalfbitError: if an option is set that the format does not use.
        """
        for field in attrs.fields(Options):
            if field.name not in names and getattr(self, field.name) is not None:
                more = f" ({NUMBERED})" if (field.name, format) == ("holds", "volts") else ""
                raise HalfbitError(f"{field.name}: means nothing in the format {format!r}{more}")
