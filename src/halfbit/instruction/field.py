"""Fields of instructions and addresses: attrs fields that check their value. Errors say which values are valid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import attrs

from ..error import HalfbitError

__all__ = ["accepted", "choice", "flag", "has_only_own_check", "instance", "integer", "octets", "tuple_of"]


def _checked(accepts: Any, words: str) -> Any:
    """A validator that refuses a value if ``accepts(value)`` is false.

    The validator raises :class:`HalfbitError` with the class, the field, the value and ``words``.
    """

    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if not accepts(value):
            raise HalfbitError(f"{type(instance).__name__}.{attribute.name}: {value!r} is not {words}")

    return check


def _field(accepts: Any, words: str, metadata: dict[str, Any], **more: Any) -> Any:
    check = _checked(accepts, words)
    return attrs.field(validator=check, metadata={**metadata, "check": check}, **more)


def has_only_own_check(field: attrs.Attribute[Any]) -> bool:
    """True if the field has only the range check made here: no other validator was added."""
    return field.validator is not None and field.validator is field.metadata.get("check")


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
    return _field(accepts, f"an integer from {low} to {high}", {"range": (low, high), "bool": False}, **more)


def choice(*values: int) -> Any:
    """An attrs field for one of a few integers. The pattern fixes which: see ``Entry.constants``.

    :raises HalfbitError: if ``values`` is empty or has something other than integers.
    """
    if not values or not all(type(value) is int for value in values):
        raise HalfbitError(f"choice{values!r}: give one or more integers")

    def accepts(value: object) -> bool:
        return type(value) is int and value in values

    words = f"one of {', '.join(map(str, values))}"
    return _field(accepts, words, {"range": (min(values), max(values)), "bool": False, "choices": values})


def flag() -> Any:
    """An attrs field for one bit, as ``bool``."""
    return _field(lambda value: isinstance(value, bool), "False or True (0 to 1)", {"range": (0, 1), "bool": True})


def octets(low: int, high: int | None) -> Any:
    """An attrs field for ``low`` to ``high`` bytes (``None``: no limit).

    :raises HalfbitError: if the bounds are not integers, or ``low`` is greater than ``high``.
    """
    _check_bounds(low, low if high is None else high)
    words = f"{low} or more bytes" if high is None else f"{low} to {high} bytes"

    def accepts(value: object) -> bool:
        return isinstance(value, bytes) and low <= len(value) and (high is None or len(value) <= high)

    return _field(accepts, words, {"octets": (low, high)})


def _check_bounds(low: object, high: object) -> None:
    if type(low) is not int or type(high) is not int or low > high:
        raise HalfbitError(f"{low!r} to {high!r} is no range: give the lowest and the highest integer")


def accepted(accepts: Any, words: str, **more: Any) -> Any:
    """An attrs field for values for which ``accepts(value)`` is true. Other values raise HalfbitError."""
    return attrs.field(validator=_checked(accepts, words), **more)


def instance(kind: type, words: str, **more: Any) -> Any:
    """An attrs field for an instance of ``kind``, or the default. Other values raise HalfbitError."""
    default = more.get("default", attrs.NOTHING)
    return accepted(lambda value: value is default or isinstance(value, kind), words, **more)


def tuple_of(accepts: Callable[[Any], bool]) -> Callable[[object], bool]:
    """A check for :func:`accepted`: a tuple, and ``accepts(item)`` is true for each item."""
    return lambda value: isinstance(value, tuple) and all(map(accepts, value))
