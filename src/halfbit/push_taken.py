"""What was taken for durations before it was looked at: which are some, and what else there is."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable, Sequence
from operator import index
from typing import Any

from .error import HalfbitError

__all__ = ["STOP", "are_durations", "no_duration", "sorted_out", "whole"]

#: Sent in place of a duration: give the receiver what is kept. Within a row it is taken like any number, so it is sent
#: again until something other than a tuple comes back: None, or the error that the next duration will raise.
STOP: Any = object()


def whole(duration: Any) -> int:
    """A duration as an integer.

    :raises HalfbitError: where it is none.
    """
    found, _, wrong = sorted_out((duration,))
    if wrong:
        raise no_duration(wrong)
    return found[0]


def no_duration(wrong: str) -> HalfbitError:
    """The error that tells of numbers that are none."""
    return HalfbitError(f"no whole number of ns from 0 up: {wrong}")


def are_durations(taken: Sequence[int]) -> bool:
    """Whether all are integers from 0 up, of no other class."""
    return set(map(type, taken)) <= {int} and min(taken, default=0) >= 0


def sorted_out(taken: Iterable[Any]) -> tuple[list[int], bool, str]:
    """The durations of what was taken, whether STOP is there, and all else, told in words."""
    halves: list[int] = []
    stop = False
    wrong: list[tuple[object, int]] = []
    for one in taken:
        try:
            duration = index(one)
        except Exception:  # whatever it is, it is none
            duration = -1
        if one is STOP:
            stop = True
        elif duration < 0:
            wrong.append((one, len(halves)))
        else:
            halves.append(duration)
    places = [(_shown(one), len(halves) - before) for one, before in wrong]
    return halves, stop, ", ".join(f"{one} ({late} before the last)" if late else one for one, late in places)


def _shown(one: object) -> str:
    try:
        return reprlib.repr(one)
    except Exception:  # an integer of too many digits, or what cannot show itself
        return f"<{type(one).__name__}>"
