"""Converts text to numbers: many at once, or one at a time to find the one that is wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Union

from ..error import CaptureError
from ..unit import Number
from .lines import complaint, quoted

__all__ = ["fields_are_plain", "looks_like_number", "number_in", "numbers_in"]

#: Numbers from this one up are refused. No capture needs them.
LARGEST = 1 << 63

_INTEGER = re.compile(rb"[+-]?[0-9]+")
_FLOAT = re.compile(rb"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_NOT_FINITE = re.compile(rb"[+-]?(nan|inf|infinity)", re.IGNORECASE)


def fields_are_plain(text: bytes) -> bool:
    """True if ``int()`` and ``float()`` accept only what we accept.

    They would also accept ``1_000`` and digits of other scripts.
    """
    return text.isascii() and b"_" not in text


def numbers_in(fields: Sequence[Union[bytes, str]]) -> list[Number]:
    """Convert all fields to numbers, fast.

    :param fields: from a text for which :func:`fields_are_plain` is true.
    :raises ValueError: if a field is not a number; :func:`number_in` gives the reason.
    """
    values: list[Number]
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
            values = [_whole(field, value) if value.is_integer() else value for field, value in zip(fields, fractions)]
    if values and max(max(values), -min(values)) >= LARGEST:
        raise ValueError
    return values


def looks_like_number(field: bytes) -> bool:
    """True if a field is written as a number, even one that is too large or not finite."""
    text = field.strip()
    return any(form.fullmatch(text) for form in (_INTEGER, _FLOAT, _NOT_FINITE))


def number_in(field: bytes, place: str = "") -> Number:
    """Convert one field to a number.

    :param place: where the field is, for the error.
    :raises CaptureError: if it is not a number, not finite, or too large.
    """
    text = field.strip()
    number: Number
    if _INTEGER.fullmatch(text) and len(text) <= 40:
        number = int(text)
    elif _FLOAT.fullmatch(text):
        number = float(text)
    elif _NOT_FINITE.fullmatch(text):
        raise CaptureError(f"{quoted(text)} is not a finite number", place)
    else:
        raise CaptureError(complaint(field) or f"{quoted(text)} is not a number", place)
    if abs(number) >= LARGEST:
        raise CaptureError(f"{quoted(text)} is too large for a capture", place)
    return number


def _whole(field: Union[bytes, str], value: float) -> Number:
    try:
        return int(field)
    except ValueError:  # 58.0, 1e3
        return value
