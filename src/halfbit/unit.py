"""Units of time, and the conversion of raw counts to whole nanoseconds."""

from __future__ import annotations

import math
import operator
from fractions import Fraction
from typing import Union

import attrs

from .error import HalfbitError

__all__ = ["Number", "Scale", "Unit", "whole"]

#: A raw time, duration or voltage.
Number = Union[int, float]

#: ``"ns"``, ``"us"``, ``"ms"`` or ``"s"``; or a number: ticks per second.
Unit = Union[str, int, float, Fraction]

_NAMED = {"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 1_000_000_000}


def whole(value: object, name: str) -> int:
    """A time or duration in ns as Python's own integer.

    :param name: of the value, for the text of an error.
    :raises HalfbitError: if it is not an integer.
    """
    try:
        if isinstance(value, bool):
            raise TypeError
        return operator.index(value)  # type: ignore[arg-type]
    except TypeError:
        raise HalfbitError(f"{name}: {value!r} is not an integer of ns") from None


@attrs.frozen(slots=True)
class Scale:
    """How many nanoseconds one count lasts: ``numerator / denominator``."""

    numerator: int
    denominator: int

    @classmethod
    def of(cls, unit: Unit) -> Scale:
        """The scale of a unit.

        :param unit: a name of a unit, or ticks per second.
        :raises HalfbitError: if it is neither.
        """
        if isinstance(unit, str):
            if unit in _NAMED:
                return cls(_NAMED[unit], 1)
        elif isinstance(unit, (int, float, Fraction)) and not isinstance(unit, bool):
            if unit > 0 and unit != math.inf:
                exact = Fraction(1_000_000_000) / Fraction(unit)
                return cls(exact.numerator, exact.denominator)
        raise HalfbitError(
            f"unit: {unit!r} is not one of {', '.join(_NAMED)}, and not a number of ticks per second above 0"
        )

    def nanoseconds(self, count: Number) -> int:
        """A count in whole nanoseconds, to the nearest."""
        if isinstance(count, int):
            return (2 * count * self.numerator + self.denominator) // (2 * self.denominator)
        return round(count * self.numerator / self.denominator)
