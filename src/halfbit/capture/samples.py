"""Samples of the level or the voltage at known times; finds the times at which the level changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import accumulate

import attrs

from ..batch import Batch, each_until_error, steps_between
from ..edge_samples import turns
from ..unit import Number
from .threshold import Threshold

__all__ = ["Finder", "Samples", "changes"]


@attrs.frozen(slots=True)
class Samples:
    """Consecutive samples."""

    times: Sequence[Number]  #: Raw times, in the file's unit.
    levels: bytes  #: The level at each time: 0, 1 or :data:`SAME`; empty if each time is a change.
    place: Callable[[int], str]  #: The place of ``times[i]``, in words.
    volts: Sequence[Number] = ()  #: The voltage at each time, if the file has volts and not levels.

    def singly(self) -> Iterator[Samples]:
        """One batch for each sample."""
        for index in range(len(self.times)):
            one = slice(index, index + 1)
            yield Samples(self.times[one], self.levels[one], partial(self._at, index), self.volts[one])

    def _at(self, index: int, _: int) -> str:
        return self.place(index)


def changes(samples: Iterable[Samples], finder: Finder) -> Iterator[Batch]:
    """The times at which the level changes. They do not wrap, even if the samples' times do.

    :raises CaptureError: if time goes backwards. The changes before that come out first.
    """
    return (batch for some in samples for batch in each_until_error(finder.take, some) if batch.values)


class Finder:
    """Finds the changes in samples of the level or of the voltage. The first level only shows where it starts.

    The voltage has changed once it is beyond the threshold's middle by half the hysteresis. The time of the change is
    where the straight line between the two values next to the middle crosses the middle.

    :param wrap: number of counts after which the timer overflows; ``None`` if it does not.
    :param threshold: for samples of the voltage.
    """

    def __init__(self, wrap: int | None = None, threshold: Threshold | None = None) -> None:
        self._wrap = wrap
        self._threshold = threshold
        self._raw: Number | None = None  # raw time of the sample before
        self._since: Number = 0  # counts since the first sample, if the timer overflows
        self._level: int | None = None
        self._before: tuple[Number, Number] | None = None  # time and voltage of the sample before
        self._pending: Number = 0  # time at which the voltage crossed to its present side

    def take(self, samples: Samples) -> Batch:
        """The changes among some samples. After an error it can be called again with the same samples.

        :raises CaptureError: if time goes backwards.
        """
        steps = steps_between((self._raw, *samples.times), self._wrap, samples.place)
        times = samples.times
        if self._wrap is not None:  # it may overflow between two changes; only the samples show that
            times = list(accumulate(steps, initial=self._since))[1:]
            self._since = times[-1]
        self._raw = samples.times[-1]
        levels = samples.levels if self._threshold is None else self._threshold.levels(samples.volts)
        found, first, self._level = turns(levels, self._level)
        moments = [times[at] for at in found]
        if self._threshold is not None:
            moments = self._crossings(self._threshold.middle, times, samples.volts, found, first)
        return Batch(moments, lambda index: samples.place(found[index]), first)

    def _crossings(
        self, middle: float, times: Sequence[Number], volts: Sequence[Number], found: Sequence[int], first: int | None
    ) -> list[Number]:
        """The times at which the signal crosses the middle.

        :param found: the indices of the first values that are beyond the hysteresis.
        :param first: the level from the first of them on.
        """

        def crossing(at: int, level: int) -> Number:
            """The time at which it crossed the middle away from a level, by the first value beyond the hysteresis."""
            while at >= 0 and (volts[at] < middle) == (level == 1):
                at -= 1
            if at + 1 == len(volts):
                return times[at]  # it has not crossed: this value is never used
            if at >= 0:
                time, value = times[at], volts[at]
            elif self._before is None:
                return times[0]
            elif (self._before[1] < middle) == (level == 1):
                return self._pending
            else:
                time, value = self._before
            later, next_value = times[at + 1], volts[at + 1]
            # Rounding must not give a time after the later value, because the next crossing may be there.
            return min(later, time + (later - time) * (middle - value) / (next_value - value))

        opening = 0 if first is None else 1 - first
        moments = [crossing(at, (opening + number) % 2) for number, at in enumerate(found)]
        self._pending = crossing(len(volts) - 1, (opening + len(found)) % 2)
        self._before = times[-1], volts[-1]
        return moments
