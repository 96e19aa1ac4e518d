"""What is wrong, where a packet does not follow: the first that breaks one of the conditions for it."""

from __future__ import annotations

import re
from typing import Any
from zlib import adler32

from . import core
from .account import Event, long_as_cutout
from .bulk_exact import Exact
from .bulk_place import LOST, Place
from .bulk_row import SUMMED
from .bulk_symbols import ONE, ZERO
from .core import COUNT_MAX
from .fault import KINDS, Fault, UnfrozenFault
from .limits import Limits
from .packet_type import exclusive_or

__all__ = ["BYTE", "BYTES", "SINGLE", "TornPlace"]

#: Half-bits of a byte and the zero-bit before it.
BYTE = 18

#: The symbols of a byte behind its zero-bit, and the byte.
BYTES = {
    b"00" + b"".join(b"11" if byte >> place & 1 else b"00" for place in range(7, -1, -1)): byte
    for byte in range(256)
}

#: Every byte as bytes.
SINGLE = [bytes((byte,)) for byte in range(256)]

#: Pairs of ones after which both of the core's counts stand at their most.
FULL = COUNT_MAX + 1

#: Answers besides a place: go on as the state says, or more is needed.
ON, MORE = 0, -1

_PAIRS = re.compile(b"(?:00|11)*")

#: All that this matches, up to a byte and its zero-bit: to be looked up is quicker than to be matched.
_PAIRED = frozenset(
    b"".join(b"11" if bits >> place & 1 else b"00" for place in range(count))
    for count in range(BYTE // 2 + 1)
    for bits in range(1 << count)
)


class TornPlace(Place):
    """OPEN, and no packet follows: because the row ends, or because of a fault, which begins LOST."""

    def __init__(self, limits: Limits, exact: Exact) -> None:
        super().__init__(limits, exact)
        self._most = BYTE * limits.packet_max
        self._enough = limits.preamble_min
        self._low = b""  # the counts, or their low bytes; none where a row is a list
        # The longest that is kept for the next row: what may still become a packet.
        self._keep = 2 * FULL + self._most + 2

    def _lose(self, events: list[Event], zero: int, bad: int, doubt: int, plain: int) -> int:
        """A packet does not follow.

        :param zero: the next zero, or -1.
        :param bad: the next WRONG or DOUBT, or the row's end; ``doubt`` the next DOUBT, or the row's end.
        :param plain: up to here all counts are in ``_low``, and none is a DOUBT.
        :returns: where OPEN goes on, behind a fault that is told and ends at ``_time``; or ON, or MORE.
        """
        at, symbols = self._at, self._symbols
        inside, data = False, b""
        # ``place`` is where no bit stands, or not yet a whole one.
        if 0 <= zero < bad:
            if zero + 1 == bad or symbols[zero + 1] != ZERO:
                place = zero
            elif (ones := self._ones_with(zero - at)) < self._enough:
                self._lost_at_bit(core.PREAMBLE, zero, ones)
                return ON
            else:
                inside = True
                after, data = self._whole_bytes(zero) if bad - zero >= BYTE else (zero, b"")
                place = bad - ((bad - after) & 1)
                if place - after > BYTE or symbols[after:place] not in _PAIRED:
                    match = _PAIRS.match(symbols, after, after + BYTE)
                    place = after if match is None else match.end()
                if place - after >= 2 and (symbols[after] == ONE or after - zero == self._most):
                    self._lost_behind_bytes(zero, after, data)
                    return ON
        elif bad < len(symbols):
            place = bad - ((bad - at) & 1)
        else:
            self._keep_ones(bad)
            return MORE
        torn = place
        if place + 1 < bad:
            kind = core.LONE_ONE if symbols[place] == ONE else core.LONE_ZERO
            count = self._row[torn]
        elif bad < doubt:
            # Where the second half-bit is WRONG, the first waited, and is lost with it.
            torn = bad
            count = self._row[torn]
            kind = self._of.fault(count)
        elif bad == len(symbols) < at + self._keep:
            return MORE
        else:
            self._to_exact(at)
            return ON
        account, scale = self._account, self._scale
        run = symbols.find(self._run, torn + 1)
        if 0 <= run < plain and run - at <= SUMMED:
            # Where it ends is known too: it is told at once, as ``lose`` and ``found`` would tell it.
            low = self._low
            start = self._time + (adler32(low[at:torn], 0) & 0xFFFF) * scale
            end = start + (adler32(low[torn:run], 0) & 0xFFFF) * scale
            lost_from = account.settled if inside else start if torn == place else start - low[place] * scale
            if lost_from != account.packet_end or not long_as_cutout(end - lost_from, self._limits):
                region = symbols[torn + 1 : run + 1]
                # What ``_lost`` counts, and the fault itself. To split is quicker than to count.
                wrong = len(region.split(b"x")) + len(region.replace(b"00", b"").split(b"01")) - 1
                # What ``fault_of`` does, without a call.
                fault: Any = UnfrozenFault()
                fault.kind, fault.layer = KINDS[kind]
                fault.start, fault.end, fault.at = lost_from, end, start
                fault.detail, fault.data, fault.count = count * scale, data, wrong
                fault.__class__ = Fault
                events.append(fault)
                account.settled = self._time = end
                return run
        account.inside = inside
        start = self._time_at(torn)
        end = start + count * scale
        account.lose(kind, self._time_at(place), end, start, count * scale, data)
        self._at, self._time, self._state = torn + 1, end, LOST
        return ON

    def _whole_bytes(self, zero: int) -> tuple[int, bytes]:
        """The bytes from a packet start bit on, as far as they are whole and start with a zero-bit; their end."""
        symbols, at, stop = self._symbols, zero, zero + self._most
        data = b""
        while at < stop:
            byte = BYTES.get(symbols[at : at + BYTE])
            if byte is None:
                break
            data += SINGLE[byte]
            at += BYTE
        return at, data

    def _lost_behind_bytes(self, zero: int, after: int, data: bytes) -> None:
        """The bit behind the last whole byte should not be."""
        self._account.inside = True
        if self._symbols[after] != ONE:
            self._lost_at_bit(core.MANY_BYTES, after, 0, data)
            return
        kind = core.FEW_BYTES if len(data) < self._limits.packet_min else core.ERROR_BYTE
        # Its last one-bits, the end bit among them, may be the next preamble's first.
        again = zero + len(self._symbols[zero:after].rstrip(b"1"))
        self._lost_at_bit(kind, after, exclusive_or(data), data, again)

    def _lost_at_bit(
        self, kind: int, place: int, detail: int, data: bytes = b"", again: int = 0
    ) -> None:
        """All bits are there, but the one at a place should not be.

        :param again: where to look for a run of ones, if that is before the bit's end.
        """
        start, end = self._time_at(place), self._time_at(place + 2)
        self._account.lose(kind, start, end, start, detail, data)
        again = again or place + 2
        self._time, self._at, self._state = self._time_at(again), again, LOST

    def _keep_ones(self, size: int) -> None:
        """Only ones are left: of a long run its end is enough."""
        left = size - self._at
        if left >= self._keep:
            end = size - 2 - (left & 1)
            self._time = self._time_at(end)
            self._before = self._row[end - 1] * self._scale
            self._even, self._odd = COUNT_MAX, FULL
            self._at = end
