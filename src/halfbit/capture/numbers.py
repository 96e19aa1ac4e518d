"""Converts text to numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence

from ..error import CaptureError
from ..unit import Number
from .lines import complaint, quoted

__all__ = ["looks_like_number", "numbers_in", "why_no_number"]

LARGEST = 1 << 63  #: Numbers from this one up are refused. No capture needs them.

_NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_NUMBER = re.compile(rf"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)(e[+-]?[0-9]+)?|{_NOT_FINITE.pattern}", re.IGNORECASE)


def numbers_in(fields: Sequence[str], place: Callable[[int], str]) -> list[Number]:
    """Convert fields to numbers.

    :param place: gives the place of a field, for the error.
    :raises CaptureError: if a field is not a number, not finite, or too large.
    """
    try:
        return _converted(fields)
    except ValueError:
        for index, field in enumerate(fields):
            try:
                _converted([field])
            except ValueError:
                raise CaptureError(why_no_number(field), place(index)) from None
        raise


def _converted(fields: Sequence[str]) -> list[Number]:
    """The numbers, found fast.

    :raises ValueError: if one is not a number, not finite, or too large.
    """
    joined = "".join(fields)
    # int() and float() would also accept 1_000 and digits of other scripts.
    if not joined.isascii() or "_" in joined:
        raise ValueError
    values: list[Number]
    try:
        values = list(map(int, fields))
    except ValueError:
        fractions = list(map(float, fields))
        if not all(map(math.isfinite, fractions)):
            raise ValueError from None
        # Whole numbers stay exact, also beside fractions: how the lines are split into batches must not matter.
        whole = [field.strip().lstrip("+-").isdigit() for field in fields]
        values = [int(field) if is_whole else value for field, value, is_whole in zip(fields, fractions, whole)]
    if values and max(max(values), -min(values)) >= LARGEST:
        raise ValueError
    return values


def looks_like_number(field: str) -> bool:
    """True if a field is written as a number, even one that is too large or not finite."""
    return _NUMBER.fullmatch(field.strip()) is not None


def why_no_number(field: str) -> str:
    """Why a field is not a number that can be used."""
    data = field.encode("utf-8", "surrogateescape")
    if _NOT_FINITE.fullmatch(field.strip()):
        return f"{quoted(data)} is not a finite number"
    if looks_like_number(field):
        return f"{quoted(data)} is too large for a capture"
    return complaint(data) or f"{quoted(data)} is not a number"
