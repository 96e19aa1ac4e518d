"""Converts text to numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence

from ..error import CaptureError
from ..unit import Number
from .lines import complaint, quoted

__all__ = ["looks_like_number", "numbers_in"]

#: Numbers from this one up are refused. No capture needs them.
LARGEST = 1 << 63

_INTEGER = re.compile(r"[+-]?[0-9]+")
_FLOAT = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)


def numbers_in(fields: Sequence[str], place: Callable[[int], str]) -> list[Number]:
    """Convert fields to numbers.

    :param place: gives the place of a field, for the error.
    :raises CaptureError: if a field is not a number, not finite, or too large.
    """
    joined = "".join(fields)
    values: list[Number]
    try:
        # int() and float() would also accept 1_000 and digits of other scripts.
        if not joined.isascii() or "_" in joined:
            raise ValueError
        try:
            values = list(map(int, fields))
        except ValueError:
            fractions = list(map(float, fields))
            if not all(map(math.isfinite, fractions)):
                raise ValueError from None
            values = list(fractions)
            if any(map(float.is_integer, fractions)):
                # Whole numbers stay ints even among fractions. So they are exact, and the result does not
                # depend on how the lines are split into batches.
                pairs = zip(fields, fractions)
                values = [_whole(field, value) if value.is_integer() else value for field, value in pairs]
        if not values or max(max(values), -min(values)) < LARGEST:
            return values
    except ValueError:
        pass
    return [_number(field, place(index)) for index, field in enumerate(fields)]


def looks_like_number(field: str) -> bool:
    """True if a field is written as a number, even one that is too large or not finite."""
    text = field.strip()
    return any(form.fullmatch(text) for form in (_INTEGER, _FLOAT, _NOT_FINITE))


def _number(field: str, place: str) -> Number:
    text = field.strip()
    shown = quoted(text.encode("utf-8", "surrogateescape"))
    number: Number
    if _INTEGER.fullmatch(text) and len(text) <= 40:
        number = int(text)
    elif _FLOAT.fullmatch(text):
        number = float(text)
    elif _NOT_FINITE.fullmatch(text):
        raise CaptureError(f"{shown} is not a finite number", place)
    else:
        raise CaptureError(complaint(field.encode("utf-8", "surrogateescape")) or f"{shown} is not a number", place)
    if abs(number) >= LARGEST:
        raise CaptureError(f"{shown} is too large for a capture", place)
    return number


def _whole(field: str, value: float) -> Number:
    try:
        return int(field)
    except ValueError:  # 58.0, 1e3
        return value
