"""What is wrong, where a packet does not follow: the first that breaks one of the conditions for it."""

from __future__ import annotations

import re

from . import core
from .bulk_exact import Exact
from .bulk_place import LOST, Place
from .bulk_row import total
from .bulk_symbols import DOUBT, ONE, WRONG, ZERO
from .core import COUNT_MAX
from .limits import Limits
from .packet_type import exclusive_or

__all__ = ["BYTE", "BYTES", "TornPlace"]

#: Half-bits of a byte and the zero-bit before it.
BYTE = 18

#: The symbols of a byte behind its zero-bit, and the byte.
BYTES = {
    b"00" + b"".join(b"11" if byte >> place & 1 else b"00" for place in range(7, -1, -1)): byte
    for byte in range(256)
}

#: Pairs of ones after which both of the core's counts stand at their most.
FULL = COUNT_MAX + 1

_PAIRS = re.compile(b"(?:00|11)*")


class TornPlace(Place):
    """OPEN, and no packet follows: because the row ends, or because of a fault, which begins LOST.

    All methods but the helpers answer whether to go on, or more is needed.
    """

    def __init__(self, limits: Limits, exact: Exact) -> None:
        super().__init__(limits, exact)
        self._most = BYTE * limits.packet_max
        # The longest that is kept for the next row: what may still become a packet.
        self._keep = 2 * FULL + self._most + 2

    def _lose(self, zero: int, bad: int) -> bool:
        """:param zero: the next zero, or -1.
        :param bad: the next WRONG or DOUBT, or the row's end.
        """
        at, symbols = self._at, self._symbols
        if not 0 <= zero < bad:
            if bad == len(symbols):
                return self._keep_ones(bad)
            if symbols[bad] == DOUBT:
                return self._to_exact(at)
            return self._lost_in_pair(bad - ((bad - at) & 1), None)
        # From the packet start bit on, half-bits are paired up to here.
        match = _PAIRS.match(symbols, zero, zero + self._most + 2)
        torn = zero if match is None else match.end()
        if torn == zero:
            return self._lost_in_pair(zero, None)
        ones = zero - at
        ones = (ones >> 1) + (self._skew + (self._before > 0) if ones & 1 else self._ones)
        if ones < self._limits.preamble_min:
            return self._lost_to(core.PREAMBLE, zero, zero, zero + 2, preamble=ones)
        place = zero
        while place + BYTE <= torn and symbols[place] == ZERO and place < zero + self._most:
            place += BYTE
        data = bytes([BYTES[symbols[start : start + BYTE]] for start in range(zero, place, BYTE)])
        if torn >= place + 2:
            if symbols[place] == ONE:
                self._account.inside = True
                few = len(data) < self._limits.packet_min
                kind = core.FEW_BYTES if few else core.ERROR_BYTE
                # Its last one-bits, the end bit among them, may be the next preamble's first.
                run = zero + len(symbols[zero:place].rstrip(b"1"))
                check = exclusive_or(data)
                return self._lost_to(kind, place, place, place + 2, data, check=check, again=run)
            if place == zero + self._most:
                self._account.inside = True
                return self._lost_to(core.MANY_BYTES, place, place, place + 2, data)
        return self._lost_in_pair(torn, data)

    def _lost_in_pair(self, place: int, data: bytes | None) -> bool:
        """No bit stands where one should, or not yet a whole one.

        :param data: the complete bytes, if this is inside a packet.
        """
        pair = self._symbols[place : place + 2]
        wrong = pair.find(WRONG)
        if not pair or pair in (b"0", b"1"):
            return self._keep_all()
        if wrong and DOUBT in pair:
            return self._to_exact(self._at)
        self._account.inside = data is not None
        detail = self._row[place + wrong if wrong > 0 else place]
        if wrong >= 0:
            # A half-bit that waited before it is lost with it.
            kind = self._of.fault(detail)
            return self._lost_to(kind, place, place + wrong, place + wrong + 1, data, detail=detail)
        kind = core.LONE_ONE if pair[0] == ONE else core.LONE_ZERO
        return self._lost_to(kind, place, place, place + 1, data, detail=detail)

    def _lost_to(
        self,
        kind: int,
        start: int,
        place: int,
        end: int,
        data: bytes | None = None,
        *,
        detail: int = 0,
        preamble: int = 0,
        check: int = 0,
        again: int = -1,
    ) -> bool:
        """The core answers with a fault, which is about what stands from ``start`` to ``end``.

        :param place: where it went wrong.
        :param again: where to look for a run of ones, if before ``end``.
        """
        row, scale = self._row, self._scale
        begins = self._time + total(row, self._at, start) * scale
        at = begins if place == start else begins + row[start] * scale
        ends = at + (row[place] + row[place + 1] if end > place + 1 else row[place]) * scale
        self._account.lose(kind, begins, ends, at, detail * scale, data or b"", preamble, check)
        if again < 0:
            self._time, self._at = ends, end
        else:
            self._time, self._at = self._time_at(again), again
        self._state = LOST
        return True

    def _keep_ones(self, size: int) -> bool:
        """Only ones are left: of a long run its end is enough."""
        left = size - self._at
        if left >= self._keep:
            end = size - 2 - (left & 1)
            self._time = self._time_at(end)
            self._before = self._row[end - 1] * self._scale
            self._ones = self._skew = COUNT_MAX
            self._at = end
        return False

    def _keep_all(self) -> bool:
        """The row ends within what may become a packet."""
        if len(self._symbols) - self._at >= self._keep:
            return self._to_exact(self._at)
        return False
