"""What a caller can say about a capture, for all formats at once."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import Any, Union

import attrs

from ..error import HalfbitError
from ..unit import Scale, Unit
from .heading import HOLDS, Heading

__all__ = ["LAST_LINE", "Column", "Options"]

#: A column of a table: its name, or its number from 1.
Column = Union[str, int]

#: What to do with a last line that has no line end.
LAST_LINE = ("leave", "take", "refuse")


def _one_of(words: Collection[str]) -> Any:
    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if value not in words:
            names = " or ".join(repr(word) for word in words)
            raise HalfbitError(f"{attribute.name}: {value!r} is not {names}")

    return attrs.validators.optional(check)


def _column(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if isinstance(value, str) or (isinstance(value, int) and not isinstance(value, bool) and value >= 1):
        return
    raise HalfbitError(f"{attribute.name}: {value!r} is neither a column's name nor its number, from 1")


def _unit(instance: Any, attribute: attrs.Attribute[Any], value: Any) -> None:
    Scale.of(value)


def _name(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if not isinstance(value, str) or not value.strip():
        raise HalfbitError(f"{attribute.name}: {value!r} is no name")


def _channel(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise HalfbitError(f"{attribute.name}: {value!r} is not the number of a channel, from 1")


def _finite(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise HalfbitError(f"{attribute.name}: {value!r} is not a finite number")


def _not_negative(instance: Any, attribute: attrs.Attribute[Any], value: Any) -> None:
    _finite(instance, attribute, value)
    if value < 0:
        raise HalfbitError(f"{attribute.name}: {value!r} is negative")


def _character(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if not isinstance(value, str) or len(value) != 1 or value in '\r\n"':
        raise HalfbitError(f"{attribute.name}: {value!r} is not a single character that can part fields")


@attrs.frozen(kw_only=True)
class Options:
    """``None`` (or the default) where the caller says nothing.

    A new format adds its own here, to :func:`halfbit.capture.open_capture`, and to its entry in the table of formats.

    :raises HalfbitError: for values that are none of the field's.
    """

    #: What the numbers are: ``"durations"`` between level changes, or ``"times"``.
    holds: str | None = attrs.field(default=None, validator=_one_of(HOLDS))
    unit: Unit | None = attrs.field(default=None, validator=attrs.validators.optional(_unit))
    #: How many counts a counter has before it starts over.
    wrap: int | None = None
    #: The column with the times, or the durations.
    time_column: Column | None = attrs.field(default=None, validator=attrs.validators.optional(_column))
    level_column: Column | None = attrs.field(default=None, validator=attrs.validators.optional(_column))
    #: What parts a table's fields, or several numbers of a line.
    delimiter: str | None = attrs.field(default=None, validator=attrs.validators.optional(_character))
    #: What commas inside numbers are: ``"comma"`` if they are decimal, ``"point"`` if they part thousands.
    decimal: str | None = attrs.field(default=None, validator=_one_of(("point", "comma")))
    last_line: str | None = attrs.field(default=None, validator=_one_of(LAST_LINE))
    #: The signal among those of a file: its name.
    signal: str | None = attrs.field(default=None, validator=attrs.validators.optional(_name))
    #: The channel of a recording, from 1.
    channel: int | None = attrs.field(default=None, validator=attrs.validators.optional(_channel))
    #: The other rail: a column, a signal or a channel.
    other_rail: Column | None = attrs.field(default=None, validator=attrs.validators.optional(_column))
    #: The middle between the levels of a signal measured in volts.
    threshold: float | None = attrs.field(default=None, validator=attrs.validators.optional(_finite))
    #: How far the signal must go across the threshold, half of it to either side.
    hysteresis: float | None = attrs.field(default=None, validator=attrs.validators.optional(_not_negative))

    @property
    def heading(self) -> Heading:
        """What the caller says of what a heading could say."""
        return Heading(self.holds, self.unit, self.wrap)

    @property
    def take_last(self) -> bool:
        """True if a last line without line end is taken."""
        return self.last_line == "take"

    def refuse_all_but(self, names: Sequence[str], format: str) -> None:
        """:raises HalfbitError: if something is said that means nothing to the format."""
        for field in attrs.fields(Options):
            if field.name not in names and getattr(self, field.name) is not None:
                raise HalfbitError(f"{field.name}: means nothing in the format {format!r}")
