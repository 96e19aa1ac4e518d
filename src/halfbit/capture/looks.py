"""Looks at the level, or the volts, at known times; levels made into the times of their changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate

import attrs

from ..block import Block
from ..edge_steps import steps_between
from ..error import CaptureError
from ..unit import Number

__all__ = ["SAME", "Looks", "changes", "taken"]

#: In place of a level: the level is what it was.
SAME = 2


@attrs.frozen(slots=True)
class Looks:
    """Some looks in a row."""

    #: Raw times.
    times: Sequence[Number]
    #: The level at each, as bytes 0 and 1, or 2 where it is what it was; empty where nobody looked, as
    #: each time is a change.
    levels: bytes
    #: The place of ``times[i]``, in words.
    place: Callable[[int], str]
    #: The volts at each, where those were measured and not levels.
    volts: Sequence[Number] = ()

    def singly(self) -> Iterator[Looks]:
        """Each by itself."""
        for index, time in enumerate(self.times):
            at = self.place(index)
            levels, volts = self.levels[index : index + 1], self.volts[index : index + 1]
            yield Looks((time,), levels, lambda _, at=at: at, volts)  # type: ignore[misc]


def changes(looks: Iterable[Looks], wrap: int | None) -> Iterator[Block]:
    """The times at which the level changes; they do not wrap, though those of the looks may.

    The first look says only what the level is.

    :param wrap: how many counts the timer has before it starts over, if it does.
    :raises CaptureError: where time goes backwards; what stands before comes out first.
    """
    return taken(looks, _Finder(wrap).take)


def taken(looks: Iterable[Looks], take: Callable[[Looks], Block]) -> Iterator[Block]:
    """What is found in looks, some at a time, or one by one where a wrong one is among them.

    :param take: finds it; after an error the same looks can be taken again.
    :raises CaptureError: as ``take``; what stands before the wrong look comes out first.
    """
    for some in looks:
        try:
            block = take(some)
        except CaptureError:
            for single in some.singly():
                block = take(single)
                if block.values:
                    yield block
        else:
            if block.values:
                yield block


class _Finder:
    def __init__(self, wrap: int | None) -> None:
        self._wrap = wrap
        self._before: Number | None = None  # time of the look before
        self._since: Number = 0  # counts since the first look, where the timer starts over
        self._level: int | None = None

    def take(self, looks: Looks) -> Block:
        """The changes among some looks. After an error the same looks can be taken again."""
        steps = steps_between((self._before, *looks.times), self._wrap, looks.place)
        times = looks.times
        if self._wrap is not None:  # it may start over between two changes, which those do not show
            totals = list(accumulate(steps, initial=self._since))
            self._since = totals[-1]
            times = totals[1:]
        self._before = looks.times[-1]
        levels = looks.levels
        level = self._level
        if level is None:
            level = next((seen for seen in levels if seen != SAME), None)
            if level is None:
                return Block((), looks.place)
        first = 1 - level
        found = []
        at = levels.find(first)
        while at >= 0:
            found.append(at)
            level = 1 - level
            at = levels.find(1 - level, at)
        self._level = level
        return Block([times[at] for at in found], lambda index: looks.place(found[index]), first)
