"""Counts durations in classes of 2 us, for each of the two levels: what the board's own pin sees of the signal.

Print the counters to see how your isolator does. One-bits make one peak near 58 us, zero-bits one near 100 us. If an
isolator delays one direction of change by 4 us more than the other, each peak is in two places, 8 us apart: in one for
each level. Broad peaks are jitter. Counts between the peaks are noise or missed changes.
"""

from array import array

CLASS_US = 2
CLASSES = 64


class Counters:
    """For a timer with ``ticks`` ticks in ``us`` us. Only making it and show() allocate memory."""

    def __init__(self, ticks=1, us=1):
        # counts[level][i]: durations from 2 * i us to less than 2 * i + 2 us; the last class has all longer ones too.
        # Which level is 0 is not known, and after a lost half-bit it can be the other one.
        self.counts = (array("H", bytes(2 * CLASSES)), array("H", bytes(2 * CLASSES)))
        self.level = 0
        self.full = False  # a counter is at its end, and nothing is counted any more
        self.us = us
        self.ticks = CLASS_US * ticks
        self.longest = (CLASSES - 1) * CLASS_US * ticks // us

    def add(self, duration):
        """Count a duration, in ticks. Call it for each one that the receiver gets."""
        counts = self.counts[self.level]
        self.level ^= 1
        if self.full:
            return
        i = duration * self.us // self.ticks if duration < self.longest else CLASSES - 1
        counts[i] += 1
        if counts[i] == 0xFFFF:
            self.full = True

    def show(self):
        """Print a line for each class that is not empty: its first us, and the counts for both levels."""
        for i in range(CLASSES):
            if self.counts[0][i] or self.counts[1][i]:
                print("%3d us %5d %5d" % (CLASS_US * i, self.counts[0][i], self.counts[1][i]))
