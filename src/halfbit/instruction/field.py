"""Fields of instructions and addresses: attrs fields that check their value. Errors say which values are valid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import attrs

from ..error import HalfbitError


def checked(accepts: Any, words: str) -> Any:
    """A validator that refuses a value if ``accepts(value)`` is false.

    It raises :class:`HalfbitError` with the class, the field, the value and ``words``.
    """

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if not accepts(value):
            raise HalfbitError(f"{type(instance).__name__}.{attribute.name}: {value!r} is not {words}")

    return check


def accepted(accepts: Any, words: str, **more: Any) -> Any:
    """An attrs field for values for which ``accepts(value)`` is true. Other values raise HalfbitError."""
    return attrs.field(validator=checked(accepts, words), **more)


def integer(low: int, high: int, *, optional: bool = False, **more: Any) -> Any:
    """An attrs field for an integer from ``low`` to ``high``, both included. Other values raise HalfbitError.

    A registry entry checks that its pattern cannot hold other values.

    :param optional: if true, ``None`` is accepted too and is the default.
    :param more: passed to :func:`attrs.field`.
    :raises HalfbitError: if the bounds are not integers, or ``low`` is greater than ``high``.
    """
    _check_bounds(low, high)

    def accepts(value: object) -> bool:
        return type(value) is int and low <= value <= high or optional and value is None

    if optional:
        more = {"default": None, **more}
    return accepted(accepts, f"an integer from {low} to {high}", metadata={"range": (low, high), "bool": False}, **more)


def choice(*values: int) -> Any:
    """An attrs field for one of a few integers. The pattern fixes which: see ``Entry.constants``.

    :raises HalfbitError: if ``values`` is empty or has something other than integers.
    """
    if not values or not all(type(value) is int for value in values):
        raise HalfbitError(f"choice{values!r}: give one or more integers")

    def accepts(value: object) -> bool:
        return type(value) is int and value in values

    metadata = {"range": (min(values), max(values)), "bool": False, "choices": values}
    return accepted(accepts, f"one of {', '.join(map(str, values))}", metadata=metadata)


def flag() -> Any:
    """An attrs field for one bit, as ``bool``."""
    return instance(bool, "False or True (0 to 1)", metadata={"range": (0, 1), "bool": True})


def octets(low: int, high: int | None) -> Any:
    """An attrs field for ``low`` to ``high`` bytes (``None``: no limit).

    :raises HalfbitError: if the bounds are not integers, or ``low`` is greater than ``high``.
    """
    _check_bounds(low, low if high is None else high)

    def accepts(value: object) -> bool:
        return isinstance(value, bytes) and low <= len(value) and (high is None or len(value) <= high)

    words = f"{low} or more bytes" if high is None else f"{low} to {high} bytes"
    return accepted(accepts, words, metadata={"octets": (low, high)})


def _check_bounds(low: object, high: object) -> None:
    if type(low) is not int or type(high) is not int or low > high:
        raise HalfbitError(f"{low!r} to {high!r} is no range: give the lowest and the highest integer")


def instance(kind: type, words: str, **more: Any) -> Any:
    """An attrs field for an instance of ``kind``, or the default. Other values raise HalfbitError."""
    default = more.get("default", attrs.NOTHING)
    return accepted(lambda value: value is default or isinstance(value, kind), words, **more)


def tuple_of(accepts: Callable[[Any], bool]) -> Callable[[object], bool]:
    """A check for :func:`accepted`: a tuple, and ``accepts(item)`` is true for each item."""
    return lambda value: isinstance(value, tuple) and all(map(accepts, value))
