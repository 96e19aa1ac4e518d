"""The options for opening a capture, for all formats."""

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

#: Ways to treat a last line without a line end.
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
    """The options for opening a capture. ``None`` or the default if the caller does not give one.

    For a new option, add it here, in :func:`halfbit.capture.open_capture`, and in the table of formats.

    :raises HalfbitError: if a value is not valid for its field.
    """

    #: Meaning of the numbers: ``"durations"`` between level changes, or ``"times"``.
    holds: str | None = attrs.field(default=None, validator=_one_of(HOLDS))
    unit: Unit | None = attrs.field(default=None, validator=attrs.validators.optional(_unit))
    #: Number of counts after which a counter overflows.
    wrap: int | None = None
    #: The column with the times, or the durations.
    time_column: Column | None = attrs.field(default=None, validator=attrs.validators.optional(_column))
    level_column: Column | None = attrs.field(default=None, validator=attrs.validators.optional(_column))
    #: Delimiter between a table's fields, or between several numbers on a line.
    delimiter: str | None = attrs.field(default=None, validator=attrs.validators.optional(_character))
    #: Meaning of commas inside numbers: ``"comma"`` for decimal commas, ``"point"`` for commas between thousands.
    decimal: str | None = attrs.field(default=None, validator=_one_of(("point", "comma")))
    last_line: str | None = attrs.field(default=None, validator=_one_of(LAST_LINE))
    #: The name of the signal to read.
    signal: str | None = attrs.field(default=None, validator=attrs.validators.optional(_name))
    #: The channel of a recording to read, from 1.
    channel: int | None = attrs.field(default=None, validator=attrs.validators.optional(_channel))
    #: The other rail: a column, a signal or a channel.
    other_rail: Column | None = attrs.field(default=None, validator=attrs.validators.optional(_column))
    #: The middle between the two levels, in volts or the file's own unit.
    threshold: float | None = attrs.field(default=None, validator=attrs.validators.optional(_finite))
    #: How far the signal must cross the threshold, half to each side; same unit.
    hysteresis: float | None = attrs.field(default=None, validator=attrs.validators.optional(_not_negative))

    @property
    def heading(self) -> Heading:
        """The options that a heading can also give: ``holds``, ``unit`` and ``wrap``."""
        return Heading(self.holds, self.unit, self.wrap)

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
                raise HalfbitError(f"{field.name}: means nothing in the format {format!r}")
