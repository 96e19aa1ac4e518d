"""A histogram of durations in constant memory: 1 us bins for possible half-bits, one bin for longer durations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from ..error import HalfbitError
from ..limits import US, Limits

__all__ = ["FINE", "Histogram", "Shares"]

#: Number of 1 us bins. Longer durations are counted together; they are only stretched zeros and silence.
FINE = 320


@attrs.frozen(slots=True)
class Shares:
    """Shares of the durations by window, 0 to 1. Their sum is 1 if there are any durations."""

    #: Shorter than the window of ones.
    below: float
    #: In the window of ones.
    ones: float
    #: Between the windows of ones and zeros.
    between: float
    #: In the window of zeros.
    zeros: float
    #: Longer than the window of zeros.
    above: float


class Histogram:
    """Counts durations by length.

    :param limits: the windows for :attr:`shares`.
    """

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        #: ``bins[i]``: number of durations from ``i`` us to less than ``i + 1`` us.
        self.bins: list[int] = [0] * FINE
        #: Number of durations of :data:`FINE` us or more.
        self.longer: int = 0
        #: Total number of durations.
        self.count: int = 0
        #: Total length of the durations, ns.
        self.length: int = 0
        self._windows = [0] * 5

    def add(self, durations: Sequence[int], scale: int = 1) -> None:
        """Add durations, in counts of ``scale`` ns each."""
        limits = self._limits
        bounds = (limits.one_min, limits.one_max + 1, limits.zero_min, limits.zero_max + 1)
        bins, windows = self.bins, self._windows
        self.count += len(durations)
        self.length += sum(durations) * scale
        # A capture has few different durations, usually integers of a coarse unit.
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
        """Shares of the durations inside and outside the windows."""
        total = self.count or 1
        return Shares(*(number / total for number in self._windows))

    def quantile(self, share: float) -> int:
        """The quantile of the durations for a share from 0 to 1, ns, precise to 1 us. ``FINE`` us means that or more.

        :raises HalfbitError: if ``share`` is not from 0 to 1.
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
        """Coarser bins of ``width`` us, up to ``end`` us: start of each bin, us, and number of durations in it."""
        for start in range(0, end, width):
            yield start, sum(self.bins[start : min(start + width, end)])
