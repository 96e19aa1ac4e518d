"""Durations counted, in constant memory: one bin for each microsecond that can be half a bit, coarse ones beyond."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from ..error import HalfbitError
from ..limits import US, Limits

__all__ = ["FINE", "Histogram", "Shares"]

#: So many bins of 1 us; all that is longer is counted together. Above it are only stretched zeros and silence.
FINE = 320


@attrs.frozen(slots=True)
class Shares:
    """Which shares of the durations lie where, 0 to 1. Together they are 1, where there are any."""

    #: Shorter than a one's half.
    below: float
    #: In the window of ones.
    ones: float
    #: Longer than a one's half, shorter than a zero's.
    between: float
    #: In the window of zeros.
    zeros: float
    #: Longer than a zero's half.
    above: float


class Histogram:
    """How many durations there are of each length.

    :param limits: whose windows :attr:`shares` are of.
    """

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        #: How many durations there are from ``i`` us up to less than ``i + 1``.
        self.bins = [0] * FINE
        #: How many there are of :data:`FINE` us and more.
        self.longer = 0
        #: How many there are in all.
        self.count = 0
        #: What they last together, ns.
        self.length = 0
        self._windows = [0] * 5

    def add(self, durations: Sequence[int], scale: int = 1) -> None:
        """Count durations of so many counts of ``scale`` ns each."""
        limits = self._limits
        bounds = (limits.one_min, limits.one_max + 1, limits.zero_min, limits.zero_max + 1)
        bins, windows = self.bins, self._windows
        self.count += len(durations)
        self.length += sum(durations) * scale
        # A capture's durations are few different numbers, most of them integers of a coarse unit.
        counts: dict[int, int] = {}
        for duration in durations:
            counts[duration] = counts.get(duration, 0) + 1
        for value, times in counts.items():
            duration = value * scale
            if duration < FINE * US:
                bins[duration // US] += times
            else:
                self.longer += times
            windows[sum(duration >= bound for bound in bounds)] += times

    @property
    def shares(self) -> Shares:
        """Where the durations lie among the windows."""
        total = self.count or 1
        return Shares(*(number / total for number in self._windows))

    def quantile(self, share: float) -> int:
        """The duration, to the us and in ns, up to which that share of the durations lies; ``FINE`` us stands for more.

        :raises HalfbitError: if the share is not from 0 to 1.
        """
        if not 0 <= share <= 1:
            raise HalfbitError(f"share: {share!r} is not from 0 to 1")
        wanted = share * self.count
        passed = 0
        for us, number in enumerate(self.bins):
            passed += number
            if passed >= wanted and number:
                return us * US
        return FINE * US

    def grouped(self, width: int, end: int = FINE) -> Iterator[tuple[int, int]]:
        """Coarser bins: where each begins, us, and how many it holds, up to ``end`` us."""
        for start in range(0, end, width):
            yield start, sum(self.bins[start : min(start + width, end)])
