"""From speed steps to the motor: drive level and momentum (S-9.2.2), from CVs alone."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from .effect import Speed

__all__ = ["drive_level", "momentum"]

#: Gives the value of a CV.
Cvs = Callable[[int], int]

_TABLE = 0b00010000  # CV 29 bit 4: the speed table, not CV 2, 5 and 6
_SUBTRACT = 0b10000000  # CV 23 and 24, bit 7
_UNIT = 896_000_000  # ns: CV 3 * 0.896 s / number of steps (S-9.2.2)


def momentum(cvs: Cvs, steps: int, *, rising: bool) -> int:
    """How long a step lasts while the speed rises or falls, ns, to the nearest.

    CV 3 adjusted by CV 23, or CV 4 by CV 24: the sum is held from 0 to 255 (S-9.2.2).
    The adjustment also acts on a CV 3 or 4 of 0, of which the text says nothing.
    """
    value, adjustment = (cvs(3), cvs(23)) if rising else (cvs(4), cvs(24))
    amount = adjustment & ~_SUBTRACT
    value = max(0, value - amount) if adjustment & _SUBTRACT else min(255, value + amount)
    return (2 * value * _UNIT + steps) // (2 * steps)


def drive_level(cvs: Cvs, speed: Speed, *, forward: bool) -> int:
    """The share of the supply for a speed, 0 to 255, to the nearest.

    Step 1 has CV 2, or the table's first value; the top step has CV 5, or the table's last (S-9.2.2). The text leaves
    open what lies between. Here: straight lines; CV 6 is reached halfway between step 1 and the top step; without CV 5
    the top is 255, without CV 6 the line is straight; 14 and 126 steps are spread over the table from end to end. The
    trims (CV 66 and 95) act with the table only, for S-9.2.2 names them with it.
    """
    if not speed.step:
        return 0
    place = Fraction(speed.step - 1, speed.steps - 1)
    if cvs(29) & _TABLE:
        level = _between([cvs(number) for number in range(67, 95)], place)
        level *= Fraction(cvs(66 if forward else 95) or 128, 128)
    else:
        low, middle, high = cvs(2), cvs(6), cvs(5)
        high = high if high > 1 else 255
        level = _between([low, middle, high] if middle > 1 else [low, high], place)
    return min(255, int(level + Fraction(1, 2)))


def _between(points: list[int], place: Fraction) -> Fraction:
    """The height of straight lines through equally spaced points, at a place from 0 to 1."""
    at = place * (len(points) - 1)
    index = min(int(at), len(points) - 2)
    return points[index] + (at - index) * (points[index + 1] - points[index])
