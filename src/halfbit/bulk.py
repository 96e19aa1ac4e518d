"""Layers 3 and 4 in bulk: rows of symbols to packets and faults.

The core (:mod:`halfbit.core`) takes one half-bit after the other. Python's bytes methods take
thousands at once, and find, count and compare in C. What follows says the same as the core in
their terms, for stretches where kinds alone decide (:mod:`halfbit.bulk_symbols`). A stretch with a
DOUBT in it goes through the core itself (:mod:`halfbit.bulk_exact`).

Pairs. The core pairs a half-bit with the one before if that one waits and is of the same kind. So
a run of one kind is paired from its first half-bit on, whatever was before. A half-bit left over at
the end of a run is a lone one if the other kind follows, and dropped with a WRONG one if that
follows.

Counts. All pairs of a run of ones count for the preamble, a packet's end bit before it too. A run with
a half-bit left over counts as many pairs, one half-bit later (``skew``): with the end bit's last
half in front, the halves pair up the other way.

Three states are told in a few words, and the work goes from one to the next
(:mod:`halfbit.bulk_open`, :mod:`halfbit.bulk_torn`, :mod:`halfbit.bulk_lost`, and here):

OPEN    At the beginning of a run of ones, behind a packet or a preamble found after a loss, or
        between two pairs of such a run, and nothing is wrong. A packet follows if these hold: all
        half-bits up to the next zero are ones, enough of them; then come bytes, each behind a
        zero-bit, every bit a pair; then a one-bit; and the exclusive or is 0. These 18 half-bits of
        a byte are looked up in a table of 256. Else the first thing that breaks one of the
        conditions is the fault: ``_lose`` looks for it in the order in which the core meets them.
        If the row has the next preamble too, it is OPEN there at once; else LOST.
LOST    At the beginning of a run, or between two pairs of one. The core waits for a run of
        ones, 2 * preamble_min of them, and its only answers before that are a fault for every WRONG
        half-bit and for every lone zero. Lone ones are passed over. Find the run, count
        those, and it is OPEN.
EXACT   Anything. The core is fed past the doubt, until it stands behind a one-bit with nothing wrong, or
        is LOST where a run begins.

What a row ends with, before it is known what it is, is kept, and put before the next row. The
exact way is given it when single half-bits are fed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from . import core
from .account import CUTOUT_HALVES, Event
from .bulk_exact import Exact
from .bulk_open import OpenPlace
from .bulk_place import EXACT, LOST, OPEN
from .bulk_row import PlaneRow, Row, joined, row_of, total
from .bulk_symbols import DOUBT, ONE, WRONG, Symbols
from .limits import Limits

__all__ = ["Bulk"]

#: How many durations are taken out of a row for the exact way at a time.
PIECE = 128


class Bulk(OpenPlace):
    """Rows of durations in; the events complete with each row out.

    :param exact: the exact way, whose account is shared; at its beginning.
    """

    def __init__(self, limits: Limits, exact: Exact) -> None:
        super().__init__(limits, exact)
        self._all_symbols: dict[int, Symbols] = {}

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[Event]:
        """Take many durations, each of so many counts of ``scale`` ns.

        Machine integers are fastest, and bytes; then lists of integers.
        """
        events: list[Event] = [] if scale == self._scale else self._rescale(scale)
        # Most pieces of a signal are lists of few counts. How few steps they take decides what they cost.
        new: Row | bytearray
        try:
            new = bytearray(durations) if isinstance(durations, list) else row_of(durations)
        except ValueError:
            new = row_of(durations)
        of, before = self._of, self._row
        if not before and self._before and new and self._state == OPEN:
            if self._to_the_ns.apart(self._before, new[0] * scale):
                # Too different to be of one bit, one half-bit later.
                self._odd = self._before = 0
        row: Row
        try:
            row = before + new  # type: ignore[operator]
        except TypeError:
            row = joined(before, bytes(new) if isinstance(new, bytearray) else new)
        if isinstance(row, bytes):
            symbols = row.translate(of.table)
            self._low = row
        else:
            symbols = of.at_sight(row)
            self._low = row.low if isinstance(row, PlaneRow) else b""
        doubtful = DOUBT in symbols
        if doubtful:
            symbols = of.looked_at(symbols, row)
            doubtful = DOUBT in symbols
        self._doubtful, self._sound = doubtful, not doubtful and WRONG not in symbols
        self._row, self._symbols, self._at = row, symbols, 0
        if self._state == EXACT:
            self._past = self._exact.recent(CUTOUT_HALVES)
        if self._state != OPEN or self._open(events):
            self._go_on(events)
        if self._state == LOST:
            self._past = self._before_here()
        elif self._past:
            self._past = []
        self._row = row[self._at :]
        return events

    def _go_on(self, events: list[Event]) -> None:
        """From state to state, until more is needed."""
        going = True
        while going:
            if self._state == OPEN:
                going = self._open(events)
            elif self._state == LOST:
                going = self._lost(events)
            else:
                going = self._exactly(events)

    def _rescale(self, scale: int) -> list[Event]:
        events = self.give_back() if self._row else []
        self._scale = scale
        if scale not in self._all_symbols:
            self._all_symbols[scale] = Symbols(self._limits, scale)
        self._of = self._all_symbols[scale]
        return events

    @property
    def now(self) -> int:
        """The time of the last change, ns."""
        if self._state == EXACT:
            return self._exact.now
        return self._time + total(self._row, 0, len(self._row)) * self._scale

    def settled(self) -> int:
        """Up to here everything is accounted for, ns."""
        return self._account.settled

    def lost(self) -> bool:
        """Whether only a run of ones that ends with the half-bits to come can make an event complete."""
        return self._state == LOST

    def kept(self) -> list[int]:
        """The half-bits that are not done with, ns."""
        return [count * self._scale for count in self._row]

    def opened(self, least: int, most: int) -> tuple[int, int, int] | None:
        """Whether nothing is wrong and all that is kept are pairs of ones; None if not.

        :param least: ns that ones must last here, and ``most`` ns; any two of them keep the rules for neighbours.
        :returns: what counts for the preamble by now, if the run has even many halves more, and if odd many; and
            the half-bit before, 0 if it was none of a one-bit.
        """
        if self._state == OPEN:
            even, odd, before = self._even, self._odd, self._before
        else:
            counts = self._exact.between_bits() if self._state == EXACT else None
            if counts is None or self._exact.layer_4.state != core.IDLE:
                return None
            even, odd, before = counts
        kept = self.kept()
        near = kept or ([before] if before else [])
        if len(kept) & 1 or not all(least <= half <= most for half in near):
            return None
        pairs = len(kept) >> 1
        return even + pairs, odd + pairs, near[-1] if near else 0

    def set_open(self, ended: int | None, now: int, even: int, odd: int, before: int) -> None:
        """Go on between two pairs of ones of a preamble, nothing wrong. What is kept was before it.

        :param ended: where the last packet ended, if one was found elsewhere.
        :param even: as :meth:`opened` returns it, with ``odd`` and ``before``.
        """
        if ended is not None:
            self._account.settle(ended)
        self._be_open(now, min(even, core.COUNT_MAX), min(odd, core.COUNT_MAX + (before > 0)), before)
        self._row = b""

    def give_back(self) -> list[Event]:
        """Let the exact way go on from here."""
        if self._state == EXACT:
            return []  # and nothing is kept
        events: list[Event] = []
        row, scale = self._row, self._scale
        self._at = 0
        self._to_exact(0)
        for count in row:
            events += self._exact.feed(count * scale)
        self._row = b""
        return events

    def _exactly(self, events: list[Event]) -> bool:
        exact, row, scale, symbols = self._exact, self._row, self._scale, self._symbols
        at, feed, layer_4 = self._at, exact.feed, exact.layer_4
        doubt = symbols.find(DOUBT, at)
        for count in _in_pieces(row, at):
            at += 1
            complete = feed(count * scale)
            if complete:
                events += complete
            if at <= doubt:
                continue
            state = layer_4.state
            if state == core.LOST:
                again = exact.lost_from()
                if again is not None:
                    self._be_lost(again)
                    at -= again
                    break
            elif state == core.IDLE and symbols[at - 1] == ONE and symbols[at : at + 1] != b"?":
                counts = exact.between_bits()
                if counts is not None:
                    self._be_open(exact.now, *counts)
                    break
        self._at = at
        return self._state != EXACT


def _in_pieces(row: Row, start: int) -> Iterator[int]:
    """The counts from a place on, taken out some at a time."""
    for place in range(start, len(row), PIECE):
        yield from row[place : place + PIECE]
