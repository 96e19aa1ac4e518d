"""After a fault: the next preamble, and how much more is wrong before it."""

from __future__ import annotations

from . import core
from .account import Event
from .bulk_place import OPEN, Place
from .bulk_row import total
from .bulk_symbols import DOUBT, WRONG

__all__ = ["LostPlace"]


class LostPlace(Place):
    """LOST. What goes on from here answers whether to go on after it, or more is needed."""

    def _lost(self, events: list[Event]) -> bool:
        symbols, at, account = self._symbols, self._at, self._account
        run = symbols.find(self._run, at)
        if run < 0:
            return self._lost_on_to_end()
        region = symbols[at : run + 1]
        if self._doubtful and DOUBT in region:
            return self._lost_to_doubt(at + region.find(DOUBT))
        if account.lost == core.CUT:
            self._count_cut(region)
        else:
            account.count += region.count(WRONG) + _lone_zeros(region)
        now = self._time = self._time + total(self._row, at, run) * self._scale
        self._at = run
        event = account.found(now, now, self._before_here)
        if event is not None:
            events.append(event)
        self._state = OPEN
        self._even = self._odd = self._before = 0
        return True

    def _lost_on_to_end(self) -> bool:
        """LOST, and no run of ones is long enough yet: the last run is kept, as far as it matters."""
        symbols, at = self._symbols, self._at
        size = len(symbols)
        doubt = symbols.find(DOUBT, at)
        if doubt >= 0:
            return self._lost_to_doubt(doubt)
        tail = symbols[at:]
        kept = len(tail) - len(tail.rstrip(b"1"))
        if kept:
            self._lost_on(size - kept, b"1")
        else:
            self._lost_on(size - ((len(tail) - len(tail.rstrip(b"0"))) & 1), b"")
        return False

    def _lost_to_doubt(self, doubt: int) -> bool:
        """LOST: up to the run with the doubt in it kinds tell, then the core."""
        kind = b"1" if self._row[doubt] <= self._of.one_max else b"0"
        self._lost_on(self._at + len(self._symbols[self._at : doubt].rstrip(kind)), kind)
        return self._to_exact(self._at)

    def _lost_on(self, at: int, follows: bytes) -> None:
        """Go on to the beginning of a run, LOST as before.

        :param follows: the symbol there, as a zero before it may turn out to be a lone one.
        """
        region = self._symbols[self._at : at] + follows
        if self._account.lost == core.CUT:
            self._count_cut(region)
        else:
            self._account.count += region.count(WRONG) + _lone_zeros(region)
        self._time = self._time_at(at)
        self._at = at

    def _count_cut(self, region: bytes) -> None:
        """Count what is wrong while all may be the rest of a packet: the first WRONG shows that it is not."""
        account = self._account
        wrong = region.find(WRONG)
        if wrong >= 0:
            account.count += _lone_zeros(region[:wrong])
            place = self._at + wrong
            start, count = self._time_at(place), self._row[place]
            length = count * self._scale
            account.lose(self._of.fault(count), start, start + length, start, length)
            region = region[wrong + 1 :]
            account.count += region.count(WRONG)
        account.count += _lone_zeros(region)


def _lone_zeros(region: bytes) -> int:
    """How many zeros without their other half a one follows."""
    return region.replace(b"00", b"").count(b"01")
