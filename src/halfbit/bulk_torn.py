"""What is wrong, where a packet does not follow: the first that breaks one of the conditions for it."""

from __future__ import annotations

import re

from . import core
from .bulk_exact import Exact
from .bulk_place import LOST, Place
from .bulk_row import total
from .bulk_symbols import DOUBT, ONE
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

#: What pairs of symbols that are no bit are: a lone half, the one or the other half WRONG, or not whole
#: yet. The others have a DOUBT in them.
FIRST, SECOND, HALF = -1, -2, -3
_TORN = {
    b"10": core.LONE_ONE, b"01": core.LONE_ZERO,
    b"x0": FIRST, b"x1": FIRST, b"xx": FIRST, b"x?": FIRST, b"x": FIRST, b"0x": SECOND, b"1x": SECOND,
    b"": HALF, b"0": HALF, b"1": HALF,
}  # fmt: skip

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
        at, symbols, longest = self._at, self._symbols, self._most
        if not 0 <= zero < bad:
            if bad == len(symbols):
                return self._keep_ones(bad)
            if symbols[bad] == DOUBT:
                return self._to_exact(at)
            return self._lost_in_pair(bad - ((bad - at) & 1), None)
        # From the packet start bit on, half-bits are paired up to here.
        match = _PAIRS.match(symbols, zero, zero + longest + 2)
        torn = zero if match is None else match.end()
        if torn == zero:
            return self._lost_in_pair(zero, None)
        ones = self._ones_with(zero - at)
        if ones < self._limits.preamble_min:
            return self._lost_at_bit(core.PREAMBLE, zero, ones)
        data = self._whole_bytes(zero, min(torn, zero + longest))
        place = zero + BYTE * len(data)
        if torn >= place + 2:
            if symbols[place] == ONE:
                self._account.inside = True
                kind = core.FEW_BYTES if len(data) < self._limits.packet_min else core.ERROR_BYTE
                # Its last one-bits, the end bit among them, may be the next preamble's first.
                again = zero + len(symbols[zero:place].rstrip(b"1"))
                return self._lost_at_bit(kind, place, exclusive_or(data), data, again)
            if place == zero + longest:
                self._account.inside = True
                return self._lost_at_bit(core.MANY_BYTES, place, 0, data)
        return self._lost_in_pair(torn, data)

    def _whole_bytes(self, zero: int, stop: int) -> bytearray:
        """The bytes from a packet start bit up to a place, as far as they are whole and start with a zero-bit."""
        symbols = self._symbols
        data = bytearray()
        for place in range(zero, stop - BYTE + 1, BYTE):
            byte = BYTES.get(symbols[place : place + BYTE])
            if byte is None:
                break
            data.append(byte)
        return data

    def _lost_in_pair(self, place: int, data: bytearray | None) -> bool:
        """No bit stands where one should, or not yet a whole one.

        :param data: the complete bytes, if this is inside a packet.
        """
        row, account = self._row, self._account
        kind = _TORN.get(self._symbols[place : place + 2], core.MORE)
        if kind == core.MORE:
            return self._to_exact(self._at)
        if kind == HALF:
            return self._keep_all()
        scale = self._scale
        start = at = self._time + total(row, self._at, place) * scale
        length = row[place] * scale
        end = start + length
        if kind == SECOND:
            # The half-bit before it waited, and is lost with it.
            place += 1
            length = row[place] * scale
            at, end = end, end + length
        if kind < 0:
            kind = self._of.fault(row[place])
        account.inside = data is not None
        account.lose(kind, start, end, at, length, bytes(data) if data else b"")
        self._time, self._at, self._state = end, place + 1, LOST
        return True

    def _lost_at_bit(
        self, kind: int, place: int, detail: int, data: bytes | bytearray = b"", again: int = 0
    ) -> bool:
        """All bits are there, but the one at a place should not be.

        :param again: where to look for a run of ones, if that is before the bit's end.
        """
        start, end = self._time_at(place), self._time_at(place + 2)
        self._account.lose(kind, start, end, start, detail, bytes(data))
        again = again or place + 2
        self._time, self._at, self._state = self._time_at(again), again, LOST
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
