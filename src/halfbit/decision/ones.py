"""Counts the one-halves in a row, to find preambles independently of all readings."""

from __future__ import annotations

from collections import deque
from itertools import islice

__all__ = ["Ones"]

#: Number of changes kept: more than a preamble has.
KEPT = 48


class Ones:
    """The run of one-halves that ends with the last change.

    :param each: half-bits in each duration.
    :param late: longest time from a change until it is seen, minus the shortest, ns.
    :param unit: length of ``each`` one-halves, ns.
    :param slack: how far a duration may be from that length, ns.
    :param start: time of the first change, ns.
    """

    def __init__(self, each: int, late: int, unit: int, slack: int, start: int) -> None:
        self._each = each
        self._late = late
        self._slack = slack
        #: Length of the one-halves in a duration, ns.
        self.unit = unit
        #: Number of one-halves.
        self.count: int = 0
        #: Start of the run, ns.
        self.start: int = start
        # Earliest and latest true time of the last change, ns.
        self._low, self._high = start - late, start
        self._times = deque((start,), KEPT)

    def feed(self, now: int, early: int) -> None:
        """Take a change that is seen at ``now`` and happened from ``early`` on, ns."""
        low, high = self._low + self.unit - self._slack, self._high + self.unit + self._slack
        self._times.append(now)
        if low <= now and high >= early:
            self._low = low if low > early else early
            self._high = high if high < now else now
            self.count += self._each
            return
        # What seemed to be its first halves was something else. The longest run that ends now counts instead.
        if abs(now - self._times[-2] - self.unit) > self._late + self._slack:
            self.count, self._low, self._high, self.start = 0, now - self._late, now, now
            return
        self.count, self._low, self._high, self.start = self.back(KEPT)

    def back(self, most: int) -> tuple[int, int, int, int]:
        """The run that ends now: its count, earliest and latest true time of the last change, and its start.

        :param most: number of durations to go back at most.
        """
        unit, slack = self.unit, self._slack
        now = start = self._times[-1]
        low, high, count = now - self._late, now, 0
        least, latest = -self._late, 0
        for time in islice(reversed(self._times), 1, most + 1):
            least, latest = least + unit - slack, latest + unit + slack
            if time + least > high or time + latest < low:
                break
            low, high, count, start = max(low, time + least), min(high, time + latest), count + self._each, time
        return count, low, high, start
