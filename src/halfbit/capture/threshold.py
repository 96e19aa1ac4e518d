"""Converts volts to levels with a threshold and hysteresis. They are given or found from the signal."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

import attrs

from ..batch import Batch
from ..edge_samples import SAME
from ..error import CaptureError
from ..unit import Number
from .samples import Finder, Samples, changes

__all__ = ["Comparator", "Threshold", "crossings", "threshold_of"]

#: Number of values in one stretch, and greatest number of stretches.
STRETCH = 1 << 16
STRETCHES = 4


@attrs.frozen
class Threshold:
    """A threshold: level 1 from the middle plus half the hysteresis, level 0 below the middle minus half of it."""

    middle: float
    hysteresis: float
    #: How it was found, in words; empty if it was given.
    found: str = ""

    def levels(self, values: Sequence[Number]) -> bytes:
        """The level at each value; :data:`SAME` within the hysteresis."""
        upper, lower = self.middle + self.hysteresis / 2, self.middle - self.hysteresis / 2
        return bytes([1 if value >= upper else 0 if value < lower else SAME for value in values])

    def __str__(self) -> str:
        return f"threshold {self.middle:.4g}, hysteresis {self.hysteresis:.4g}" + (
            f" ({self.found})" if self.found else ""
        )


def threshold_of(
    values: Iterable[Sequence[Number]],
    middle: float | None,
    hysteresis: float | None,
    *,
    share: float = 0.25,
    zero: bool = False,
) -> Threshold:
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
    best: tuple[float, float] | None = None
    seen = 0
    for _ in range(STRETCHES):
        stretch = sorted(islice(single, STRETCH))
        seen += len(stretch)
        levels = _levels(stretch)
        if levels and (best is None or levels[1] - levels[0] > best[1] - best[0]):
            best = levels
    if best is None:
        raise CaptureError(
            f"no two levels stand out among the first {seen} values: is there a signal? "
            "If so, say what parts them with threshold=VOLTS and hysteresis=VOLTS"
        )
    low, high = best
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


class Comparator(Finder):
    """Takes values at known times and gives the times at which the signal crosses the middle.

    A crossing counts once the value is beyond the middle by half the hysteresis. Its time is where the
    straight line between the two values next to the middle crosses the middle. The first value beyond
    the hysteresis only gives the level.

    :param wrap: number of counts after which the timer overflows; ``None`` if it does not.
    """

    def __init__(self, threshold: Threshold, wrap: int | None = None) -> None:
        super().__init__(wrap)
        self._threshold = threshold
        self._before: tuple[Number, Number] | None = None  # time and value of the sample before
        self._pending: Number = 0  # time at which it crossed to its present side

    def _levels(self, samples: Samples) -> bytes:
        return self._threshold.levels(samples.volts)

    def _moments(
        self, times: Sequence[Number], volts: Sequence[Number], found: Sequence[int], level: int
    ) -> Sequence[Number]:
        moments = []
        for at in found:
            moments.append(self._crossing(times, volts, at, level))
            level = 1 - level
        self._pending = self._crossing(times, volts, len(volts) - 1, level)
        self._before = times[-1], volts[-1]
        return moments

    def _crossing(self, times: Sequence[Number], values: Sequence[Number], at: int, level: int) -> Number:
        """The time at which the signal crossed the middle, away from a level.

        :param at: index of the first value that is beyond the hysteresis.
        """
        middle = self._threshold.middle
        while at >= 0 and (values[at] < middle) == (level == 1):
            at -= 1
        if at + 1 == len(values):
            return times[at]  # it has not crossed: this value is never used
        if at >= 0:
            time, value = times[at], values[at]
        elif self._before is None:
            return times[0]
        elif (self._before[1] < middle) == (level == 1):
            return self._pending
        else:
            time, value = self._before
        later, next_value = times[at + 1], values[at + 1]
        # Rounding must not give a time after the later value, because the next crossing may be there.
        return min(later, time + (later - time) * (middle - value) / (next_value - value))


def crossings(samples: Iterable[Samples], threshold: Threshold, wrap: int | None = None) -> Iterator[Batch]:
    """The times at which a signal crosses a threshold, found by :class:`Comparator`.

    :raises CaptureError: if time goes backwards. The crossings before that come out first.
    """
    return changes(samples, Comparator(threshold, wrap))
