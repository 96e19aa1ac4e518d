"""Layer 2 in bulk: a row of durations to a row of one-byte symbols.

Four symbols, so that bytes methods can do the rest: the half of a one-bit, the half of a
zero-bit, a half-bit that is WRONG (short, between or long), and DOUBT, where durations matter
and not only kinds.

Only two rules look at more than a half-bit's kind: the halves of a one-bit may differ by
``one_difference`` at most, and those of a zero-bit add up to ``zero_total_max`` at most (S-9.1 A,
table 1). Both are about halves of one kind that are neighbours, and so is the core's way of counting
one-bits shifted by a half. So a half-bit that keeps these rules with both its neighbours is
told completely by its kind. One that does not is a DOUBT, and what it stands in is left to
the core.

Most need no look at the neighbours. Any two ones from inside a window no wider than
``one_difference`` keep the rule, and any two zeros of half of ``zero_total_max``. These are ONE
and ZERO at sight, by a table; the others are looked at. The window starts in the middle of what
a one's half may last, and moves where a signal's ones lie elsewhere.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Iterable

from . import core
from .bulk_row import Row
from .limits import Limits

__all__ = ["DOUBT", "ONE", "WRONG", "ZERO", "Symbols"]

ONE = ord("1")
ZERO = ord("0")
WRONG = ord("x")
DOUBT = ord("?")

#: Where more than one in so many half-bits needs a look at its neighbours, all are looked at in one go,
#: and another window is tried.
FEW = 32
#: How many half-bits tell where a signal's ones lie, and how many are too few for that.
SAMPLE = 1024
SAMPLE_MIN = 256
#: How many different durations are remembered with their symbols.
REMEMBERED = 1 << 16


class _Memory(dict[int, int]):
    """Durations and their symbols, as far as they have come up."""

    def __init__(self, symbols: Symbols) -> None:
        super().__init__()
        self._symbols = symbols

    def __missing__(self, count: int) -> int:
        if len(self) >= REMEMBERED:
            self.clear()
        symbol = self[count] = self._symbols.of_one(count)
        return symbol


class Symbols:
    """The symbols of durations under some limits.

    :param scale: how many ns a count of the durations is.
    """

    def __init__(self, limits: Limits, scale: int) -> None:
        bits = limits.bits_core()
        # The most and the fewest counts inside each bound. All bounds are inclusive.
        self.one_min = -(-limits.one_min // scale)
        self.one_max = limits.one_max // scale
        self.zero_min = -(-limits.zero_min // scale)
        self.zero_max = limits.zero_max // scale
        self.difference = bits.one_difference // scale
        self.total = bits.zero_total_max // scale
        self._latest: deque[int] = deque(maxlen=SAMPLE_MIN)  # of those looked at one by one
        self._looked_at = 0
        self._enough = SAMPLE_MIN
        self._look(max(self.one_min, (self.one_min + self.one_max - self.difference) // 2))

    def at_sight(self, row: Row) -> bytes:
        """The symbols of a row, with a DOUBT wherever a look at the neighbours is needed."""
        if isinstance(row, bytes):
            return row.translate(self.table)
        if isinstance(row, list):
            return bytes(map(self._memory.__getitem__, row))
        symbols = bytearray(row.low.translate(self.table))
        for index in row.large:
            symbols[index] = self._memory[row[index]]
        return bytes(symbols)

    def looked_at(self, sight: bytes, row: Row) -> bytes:
        """The symbols of a row after that look. Those at sight may be others from here on."""
        doubts = sight.count(DOUBT)
        if doubts * FEW > len(sight) >= SAMPLE_MIN and self._move(list(row[:SAMPLE])):
            sight = self.at_sight(row)
            doubts = sight.count(DOUBT)
        look = self._look_at_all if doubts * FEW > len(sight) else self._look_at_each
        return look(sight, row)

    def learned(self, count: int) -> bool:
        """Take one of many durations that had to be looked at.

        :returns: whether others are plain from here on.
        """
        self._latest.append(count)
        self._looked_at += 1
        if self._looked_at < self._enough:
            return False
        moved = self._move(self._latest)
        self._looked_at = 0
        # A signal that has no better window is asked about ever more seldom.
        self._enough = SAMPLE_MIN if moved else 2 * self._enough
        return moved

    def of_one(self, count: int) -> int:
        """The symbol at sight of one duration."""
        if self.one_min <= count <= self.one_max:
            return ONE if self._low <= count <= self._high else DOUBT
        if self.zero_min <= count <= self.zero_max:
            return ZERO if 2 * count <= self.total else DOUBT
        return WRONG

    def plain(self) -> tuple[int, int, int, int]:
        """The least and most of halves that are ONE at sight, and of those that are ZERO."""
        most = min(self.total // 2, self.zero_max)
        return self._low, min(self._high, self.one_max), self.zero_min, most

    def fault(self, count: int) -> int:
        """The core's answer to a duration that is WRONG."""
        if count < self.one_min:
            return core.SHORT
        return core.LONG if count > self.zero_max else core.BETWEEN

    def _look(self, low: int) -> None:
        """Take ones for plain that last ``low`` counts and up to ``difference`` more."""
        self._low, self._high = low, low + self.difference
        table = bytearray([WRONG]) * 256
        for least, most, symbol in (
            (self.one_min, self.one_max, DOUBT),
            (*self.plain()[:2], ONE),
            (self.zero_min, self.zero_max, DOUBT),
            (*self.plain()[2:], ZERO),
        ):
            stop = min(most, 255) + 1
            table[least:stop] = bytes([symbol]) * (stop - least)
        self.table = bytes(table)
        self._memory = _Memory(self)

    def _look_at_each(self, symbols: bytes, row: Row) -> bytes:
        """The symbols, with a look at the neighbours of each DOUBT."""
        settled = bytearray(symbols)
        last = len(symbols) - 1
        index = symbols.find(DOUBT)
        while index >= 0:
            count = row[index]
            if not (
                index > 0 and self.apart(row[index - 1], count)
                or index < last and self.apart(count, row[index + 1])
            ):  # fmt: skip
                settled[index] = ONE if count <= self.one_max else ZERO
            index = symbols.find(DOUBT, index + 1)
        return bytes(settled)

    def _look_at_all(self, symbols: bytes, row: Row) -> bytes:
        """The same where they are many."""
        counts = list(row)
        difference, one_max, total = self.difference, self.one_max, self.total
        # One comparison for most: neither far apart nor long together.
        far = [
            index
            for index, (one, other) in enumerate(zip(counts, counts[1:]))
            if not -difference <= one - other <= difference or one + other > total
        ]
        settled = bytearray(symbols)
        index = symbols.find(DOUBT)
        while index >= 0:
            settled[index] = ONE if counts[index] <= one_max else ZERO
            index = symbols.find(DOUBT, index + 1)
        for index in far:
            if self.apart(counts[index], counts[index + 1]):
                settled[index] = settled[index + 1] = DOUBT
        return bytes(settled)

    def apart(self, one: int, other: int) -> bool:
        """Whether two neighbours are of one kind and break its rule."""
        if self.one_min <= one <= self.one_max:
            return self.one_min <= other <= self.one_max and abs(one - other) > self.difference
        if self.zero_min <= one <= self.zero_max:
            return self.zero_min <= other <= self.zero_max and one + other > self.total
        return False

    def _move(self, counts: Iterable[int]) -> bool:
        """Move the window to where most ones are, if that is worth it."""
        ones = sorted(count for count in counts if self.one_min <= count <= self.one_max)
        within = [bisect_right(ones, one + self.difference) - index for index, one in enumerate(ones)]
        now = sum(self._low <= one <= self._high for one in ones)
        if not ones or max(within) * 8 <= now * 9:
            return False
        best = within.index(max(within))
        # Room on both sides of those it takes in.
        spare = self.difference - (ones[best + within[best] - 1] - ones[best])
        self._look(max(self.one_min, ones[best] - spare // 2))
        return True
