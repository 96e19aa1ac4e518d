"""Converts volts to levels with a threshold and hysteresis. They are given or found from the signal."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import islice

import attrs

from ..edge_samples import SAME
from ..error import CaptureError
from ..unit import Number

__all__ = ["Threshold", "threshold_of"]

STRETCH = 1 << 16  #: Number of values in one stretch.
STRETCHES = 4  #: Greatest number of stretches.


@attrs.frozen
class Threshold:
    """A threshold: level 1 from the middle plus half the hysteresis, level 0 below the middle minus half of it."""

    middle: float
    hysteresis: float
    found: str = ""  #: How it was found, in words; empty if it was given.

    def levels(self, values: Sequence[Number]) -> bytes:
        """The level at each value; :data:`SAME` within the hysteresis."""
        upper, lower = self.middle + self.hysteresis / 2, self.middle - self.hysteresis / 2
        return bytes([1 if value >= upper else 0 if value < lower else SAME for value in values])

    def __str__(self) -> str:
        found = f" ({self.found})" if self.found else ""
        return f"threshold {self.middle:.4g}, hysteresis {self.hysteresis:.4g}{found}"


def threshold_of(
    values: Iterable[Sequence[Number]], middle: float | None, hysteresis: float | None, *, share: float = 0.25,
    zero: bool = False,
) -> Threshold:  # fmt: skip
    """The threshold to use. Values that are not given are found from the two levels of the signal.

    The levels are searched in a few stretches at the start. The stretch with the greatest distance
    between the levels is used, because the signal may start late.

    :param values: the signal's values, from its start.
    :param middle: the threshold, in the unit of the values; ``None`` to find it.
    :param hysteresis: in the same unit; ``None`` to find it.
    :param share: the hysteresis, as a share of the distance between the levels, 0 to 1.
    :param zero: True to use 0 as the middle if 0 is well between the levels. The signal at an AC-coupled
        input drifts, but around 0.
    :raises CaptureError: if the signal does not have two levels.
    """
    if middle is not None and hysteresis is not None:
        return Threshold(middle, hysteresis)
    single = (value for some in values for value in some)
    stretches = [sorted(islice(single, STRETCH)) for _ in range(STRETCHES)]
    pairs = [levels for stretch in stretches if (levels := _levels(stretch))]
    if not pairs:
        problem = f"no two levels stand out among the first {sum(map(len, stretches))} values: is there a signal?"
        raise CaptureError(f"{problem} If so, say what parts them with threshold=VOLTS and hysteresis=VOLTS")
    low, high = max(pairs, key=lambda levels: levels[1] - levels[0])
    found = f"from the levels {low:.4g} and {high:.4g} at the start"
    if middle is None:
        middle = (low + high) / 2
        if zero and abs(middle) <= (high - low) / 4:
            middle = 0.0
    if hysteresis is None:
        hysteresis = (high - low) * share
    return Threshold(middle, hysteresis, found)


def _levels(ordered: Sequence[Number]) -> tuple[float, float] | None:
    """The two levels of some sorted values; ``None`` if two levels do not stand out."""
    if not ordered or ordered[0] == ordered[-1]:
        return None
    low, high = float(ordered[0]), float(ordered[-1])
    split = 0
    for _ in range(16):
        before, split = split, bisect_left(ordered, (low + high) / 2)
        if split == before or split in (0, len(ordered)):
            break
        low, high = _part(ordered[:split], 0.5), _part(ordered[split:], 0.5)
    below, above = ordered[:split], ordered[split:]
    if not below or not above:
        return None
    # The values of a signal are close to one level or the other. Noise spreads evenly.
    widest = max(_part(side, 0.75) - _part(side, 0.25) for side in (below, above))
    return (low, high) if widest <= (high - low) / 2 else None


def _part(ordered: Sequence[Number], share: float) -> float:
    return float(ordered[int(len(ordered) * share)])
