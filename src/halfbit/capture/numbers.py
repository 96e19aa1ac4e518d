"""Numbers in a text: many at a time, and one at a time where it must be said which one is wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Union

from ..error import CaptureError
from ..unit import Number
from .lines import complaint, quoted

__all__ = ["fields_are_plain", "looks_like_number", "number_in", "numbers_in"]

#: No capture needs larger numbers, and the layers above need not fear them.
LARGEST = 1 << 63

_INTEGER = re.compile(rb"[+-]?[0-9]+")
_FLOAT = re.compile(rb"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_NOT_FINITE = re.compile(rb"[+-]?(nan|inf|infinity)", re.IGNORECASE)


def fields_are_plain(text: bytes) -> bool:
    """True if Python's own conversions, taken on this text, find no numbers that are none here.

    They would read ``1_000``, and digits of other scripts.
    """
    return text.isascii() and b"_" not in text


def numbers_in(fields: Sequence[Union[bytes, str]]) -> list[Number]:
    """All fields as numbers, fast.

    :param fields: from a text of which :func:`fields_are_plain` holds.
    :raises ValueError: if one of them is none; :func:`number_in` can say more.
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
            # Whole numbers among fractions stay whole: exact, and the same however lines come in.
            values = [_whole(field, value) if value.is_integer() else value for field, value in zip(fields, fractions)]
    if values and max(max(values), -min(values)) >= LARGEST:
        raise ValueError
    return values


def looks_like_number(field: bytes) -> bool:
    """True if a field is written as a number, be it one that no capture can have."""
    text = field.strip()
    return any(form.fullmatch(text) for form in (_INTEGER, _FLOAT, _NOT_FINITE))


def number_in(field: bytes, place: str = "") -> Number:
    """One field as a number.

    :raises CaptureError: if it is none, or none a capture can have.
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
