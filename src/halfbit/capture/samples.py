"""Samples of the level or the voltage at known times; finds the times at which the level changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate

import attrs

from ..batch import Batch
from ..edge import steps_between
from ..edge_samples import turns
from ..error import CaptureError
from ..unit import Number

__all__ = ["Finder", "Samples", "changes"]


@attrs.frozen(slots=True)
class Samples:
    """Consecutive samples."""

    #: Raw times, in the file's unit.
    times: Sequence[Number]
    #: The level at each time, as bytes 0 and 1, or 2 (:data:`halfbit.edge_samples.SAME`) if it has not changed. Empty
    #: if the file has no levels, because then each time is a change.
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


def changes(samples: Iterable[Samples], finder: Finder) -> Iterator[Batch]:
    """The times at which the level changes. They do not wrap, even if the samples' times do.

    :raises CaptureError: if time goes backwards. The changes before that come out first.
    """
    for some in samples:
        try:
            found = [finder.take(some)]
        except CaptureError:  # one by one
            found = map(finder.take, some.singly())  # type: ignore[assignment]
        for batch in found:
            if batch.values:
                yield batch


class Finder:
    """Finds the changes in samples of the level. The first sample only gives the level.

    :param wrap: number of counts after which the timer overflows; ``None`` if it does not.
    """

    def __init__(self, wrap: int | None) -> None:
        self._wrap = wrap
        self._raw: Number | None = None  # raw time of the sample before
        self._since: Number = 0  # counts since the first sample, if the timer overflows
        self._level: int | None = None

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
        found, first, self._level = turns(self._levels(samples), self._level)
        moments = self._moments(times, samples.volts, found, 0 if first is None else 1 - first)
        return Batch(moments, lambda index: samples.place(found[index]), first)

    def _levels(self, samples: Samples) -> bytes:
        return samples.levels

    def _moments(
        self, times: Sequence[Number], volts: Sequence[Number], found: Sequence[int], level: int
    ) -> Sequence[Number]:
        """The times of the changes.

        :param found: the indices of the samples at which they show.
        :param level: the level before the first of them.
        """
        return [times[at] for at in found]
