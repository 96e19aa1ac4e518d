"""Where the bulk way stands in a row: what its three states have in common (:mod:`halfbit.bulk`)."""

from __future__ import annotations

from .account import CUTOUT_HALVES
from .bulk_exact import Exact
from .bulk_row import Row, total
from .bulk_symbols import Symbols
from .limits import Limits

__all__ = ["EXACT", "LOST", "OPEN", "Place"]

OPEN = 0
LOST = 1
EXACT = 2


class Place:
    """A row, the place up to which all in it is done, and the state there.

    :param exact: the exact way, whose account is shared; at its beginning.
    """

    def __init__(self, limits: Limits, exact: Exact) -> None:
        self._limits = limits
        self._exact = exact
        self._account = exact.account
        self._run = b"1" * (2 * limits.preamble_min)
        self._state = LOST
        self._row: Row = b""  # what is kept, then with the new row behind it
        self._symbols = b""
        self._doubtful = False  # there is a DOUBT among them
        self._sound = False  # none of them is WRONG or a DOUBT
        self._of = self._to_the_ns = Symbols(limits, 1)
        self._scale = 1
        self._at = 0  # up to here all is done, and this is the time there
        self._time = exact.now
        self._past: list[int] = []  # durations before the row, ns
        # OPEN: what counts for the preamble so far, if even many halves of the run follow, and if odd many: then a
        # half-bit before counts as the last part of a bit one half-bit later. That half-bit, ns; 0 if it counts not.
        self._even = 0
        self._odd = 0
        self._before = 0

    def _be_open(self, now: int, even: int, odd: int, before: int) -> None:
        self._state, self._time = OPEN, now
        self._even, self._odd, self._before = even, odd, before

    def _ones_with(self, halves: int) -> int:
        """OPEN: one-bits before a zero, where so many half-bits of the run stand before it."""
        return (halves >> 1) + (self._odd if halves & 1 else self._even)

    def _be_lost(self, again: int) -> None:
        self._state = LOST
        self._time = self._exact.now - (self._exact.last() if again else 0)

    def _to_exact(self, at: int) -> bool:
        """Let the exact way go on from a place."""
        now = self._time_at(at)
        self._at = at
        if self._state == OPEN:
            self._exact.set_idle(now, self._even, self._odd, self._before)
        else:
            self._exact.set_lost(now, self._before_here())
        self._state = EXACT
        return True

    def _time_at(self, place: int) -> int:
        return self._time + total(self._row, self._at, place) * self._scale

    def _before_here(self) -> list[int]:
        """The durations up to here, ns, as many as a cutout shows."""
        near = self._row[max(0, self._at - CUTOUT_HALVES) : self._at]
        return [*self._past, *(count * self._scale for count in near)][-CUTOUT_HALVES:]
