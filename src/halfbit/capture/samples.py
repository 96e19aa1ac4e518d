"""Samples at the level, or the volts, at known times; levels made into the times of their changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate

import attrs

from ..batch import Batch
from ..edge_steps import steps_between
from ..error import CaptureError
from ..unit import Number

__all__ = ["SAME", "Samples", "changes", "taken"]

#: In place of a level: the level is what it was.
SAME = 2


@attrs.frozen(slots=True)
class Samples:
    """Some samples in a row."""

    #: Raw times.
    times: Sequence[Number]
    #: The level at each, as bytes 0 and 1, or 2 where it is what it was; empty where nobody looked, as
    #: each time is a change.
    levels: bytes
    #: The place of ``times[i]``, in words.
    place: Callable[[int], str]
    #: The volts at each, where those were measured and not levels.
    volts: Sequence[Number] = ()

    def singly(self) -> Iterator[Samples]:
        """Each by itself."""
        for index, time in enumerate(self.times):
            at = self.place(index)
            levels, volts = self.levels[index : index + 1], self.volts[index : index + 1]
            yield Samples((time,), levels, lambda _, at=at: at, volts)  # type: ignore[misc]


def changes(samples: Iterable[Samples], wrap: int | None) -> Iterator[Batch]:
    """The times at which the level changes; they do not wrap, though those of the samples may.

    The first look says only what the level is.

    :param wrap: how many counts the timer has before it starts over, if it does.
    :raises CaptureError: if time goes backwards; what stands before comes out first.
    """
    return taken(samples, _Finder(wrap).take)


def taken(samples: Iterable[Samples], take: Callable[[Samples], Batch]) -> Iterator[Batch]:
    """What is found in samples, some at a time, or one by one where a wrong one is among them.

    :param take: finds it; after an error the same samples can be taken again.
    :raises CaptureError: as ``take``; what stands before the wrong look comes out first.
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
        self._before: Number | None = None  # time of the look before
        self._since: Number = 0  # counts since the first look, where the timer starts over
        self._level: int | None = None

    def take(self, samples: Samples) -> Batch:
        """The changes among some samples. After an error the same samples can be taken again."""
        steps = steps_between((self._before, *samples.times), self._wrap, samples.place)
        times = samples.times
        if self._wrap is not None:  # it may start over between two changes, which those do not show
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
