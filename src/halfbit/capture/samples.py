"""Samples of the level or the voltage at known times; finds the times at which the level changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate

import attrs

from ..batch import Batch
from ..edge_steps import steps_between
from ..error import CaptureError
from ..unit import Number

__all__ = ["SAME", "Samples", "changes", "taken"]

#: Used instead of a level: the level has not changed.
SAME = 2


@attrs.frozen(slots=True)
class Samples:
    """Consecutive samples."""

    #: Raw times, in the file's unit.
    times: Sequence[Number]
    #: The level at each time, as bytes 0 and 1, or 2 (:data:`SAME`) if it has not changed. Empty if the
    #: file has no levels, because then each time is a change.
    levels: bytes
    #: The place of ``times[i]``, in words.
    place: Callable[[int], str]
    #: The voltage at each time, if the file has volts and not levels.
    volts: Sequence[Number] = ()

    def singly(self) -> Iterator[Samples]:
        """One batch for each sample."""
        for index, time in enumerate(self.times):
            at = self.place(index)
            levels, volts = self.levels[index : index + 1], self.volts[index : index + 1]
            yield Samples((time,), levels, lambda _, at=at: at, volts)  # type: ignore[misc]


def changes(samples: Iterable[Samples], wrap: int | None) -> Iterator[Batch]:
    """The times at which the level changes. They do not wrap, even if the samples' times do.

    The first sample only gives the level.

    :param wrap: number of counts after which the timer overflows; ``None`` if it does not.
    :raises CaptureError: if time goes backwards. The changes before that come out first.
    """
    return taken(samples, _Finder(wrap).take)


def taken(samples: Iterable[Samples], take: Callable[[Samples], Batch]) -> Iterator[Batch]:
    """Run ``take`` on batches of samples, or on single samples if a batch has a wrong one.

    :param take: finds the changes in samples. After an error it can be called again with the same samples.
    :raises CaptureError: as ``take``. The changes before the wrong sample come out first.
    """
    for some in samples:
        try:
            batch = take(some)
        except CaptureError:
            for single in some.singly():
                batch = take(single)
                if batch.values:
                    yield batch
        else:
            if batch.values:
                yield batch


class _Finder:
    def __init__(self, wrap: int | None) -> None:
        self._wrap = wrap
        self._before: Number | None = None  # time of the sample before
        self._since: Number = 0  # counts since the first sample, if the timer overflows
        self._level: int | None = None

    def take(self, samples: Samples) -> Batch:
        """The changes among some samples. After an error it can be called again with the same samples."""
        steps = steps_between((self._before, *samples.times), self._wrap, samples.place)
        times = samples.times
        if self._wrap is not None:  # it may overflow between two changes; only the samples show that
            totals = list(accumulate(steps, initial=self._since))
            self._since = totals[-1]
            times = totals[1:]
        self._before = samples.times[-1]
        levels = samples.levels
        level = self._level
        if level is None:
            level = next((seen for seen in levels if seen != SAME), None)
            if level is None:
                return Batch((), samples.place)
        first = 1 - level
        found = []
        at = levels.find(first)
        while at >= 0:
            found.append(at)
            level = 1 - level
            at = levels.find(1 - level, at)
        self._level = level
        return Batch([times[at] for at in found], lambda index: samples.place(found[index]), first)
