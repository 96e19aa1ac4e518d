"""Drive level and momentum of the motor for a speed step, from the CVs (S-9.2.2)."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from .effect import Speed

#: A function that takes a CV number and returns its value.
Cvs = Callable[[int], int]

_TABLE = 0b00010000  # CV 29 bit 4: use the speed table, not CV 2, 5 and 6
_SUBTRACT = 0b10000000  # CV 23 and 24, bit 7
_UNIT = 896_000_000  # ns: CV 3 * 0.896 s / number of steps (S-9.2.2)


def momentum(cvs: Cvs, steps: int, *, rising: bool) -> int:
    """The duration of one speed step while the speed rises or falls, in ns, rounded to the nearest.

    CV 3 is adjusted by CV 23, CV 4 by CV 24; the sum is limited to 0 to 255 (S-9.2.2). The adjustment also acts if CV 3
    or CV 4 is 0; the standard says nothing about this case.
    """
    value, adjustment = (cvs(3), cvs(23)) if rising else (cvs(4), cvs(24))
    amount = adjustment & ~_SUBTRACT
    value = max(0, value - amount) if adjustment & _SUBTRACT else min(255, value + amount)
    return (2 * value * _UNIT + steps) // (2 * steps)


def drive_level(cvs: Cvs, speed: Speed, *, forward: bool) -> int:
    """The drive level for a speed: 0 (off) to 255 (full supply), rounded to the nearest.

    Step 1 has CV 2, or the first value of the table. The top step has CV 5, or the last value of the table (S-9.2.2).
    The standard leaves the steps in between open. Here they are on straight lines, and CV 6 is the level halfway
    between step 1 and the top step. Without CV 5 the top is 255; without CV 6 there is one straight line. 14 and 126
    steps are spread evenly over the whole table. The trims (CV 66 and 95) act only with the table, because S-9.2.2
    describes them with it.
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
    """Linear interpolation between equally spaced points, at a place from 0 to 1."""
    at = place * (len(points) - 1)
    index = min(int(at), len(points) - 2)
    return points[index] + (at - index) * (points[index + 1] - points[index])
