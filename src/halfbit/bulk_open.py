"""Behind a packet, or a preamble found after a loss: the next packet, or what is wrong with it."""

from __future__ import annotations

import re
import struct
from functools import reduce
from operator import xor
from zlib import adler32

from . import core
from .account import Event
from .bulk_exact import Exact
from .bulk_place import LOST, Place
from .bulk_row import SUMMED
from .bulk_symbols import DOUBT, ONE, WRONG, ZERO
from .core import COUNT_MAX
from .limits import Limits
from .packet_type import Packet

__all__ = ["BYTES", "OpenPlace"]

#: Half-bits of a byte and the zero-bit before it.
BYTE = 18

#: The symbols of a byte behind its zero-bit, and the byte.
BYTES = {
    b"00" + b"".join(b"11" if byte >> place & 1 else b"00" for place in range(7, -1, -1)): byte
    for byte in range(256)
}

#: How many different packets are remembered: a large layout repeats a few hundred. And after how
#: many that were not among them they are forgotten, for others to take their places.
REMEMBERED = 1024
FORGOTTEN = 8192

#: Pairs of ones after which both of the core's counts stand at their most.
FULL = COUNT_MAX + 1

#: A packet of three bytes, as most are (S-9.2 B), and its end bit.
_BASELINE = struct.Struct("18s18s18s2s")

_PAIRS = re.compile(b"(?:00|11)*")


class OpenPlace(Place):
    """OPEN. What goes on from here answers whether to go on after it, or more is needed."""

    def __init__(self, limits: Limits, exact: Exact) -> None:
        super().__init__(limits, exact)
        self._preamble = limits.preamble_min
        self._shortest = BYTE * limits.packet_min
        self._longest = BYTE * limits.packet_max
        # The longest that is kept for the next row: what may still become a packet.
        self._keep = 2 * FULL + self._longest + 2
        self._packets: dict[bytes, bytes] = {}
        self._unknown = 0  # packets since it was empty that were not in it

    def _open(self, events: list[Event]) -> bool:
        symbols, at, now = self._symbols, self._at, self._time
        size = len(symbols)
        find, total, scale = symbols.find, self._row.total, self._scale
        # What PlaneRow.total does, without a call, where it can be done so.
        low, summed = self._low, SUMMED if self._low else 0
        account, known = self._account, self._packets
        enough, shortest, longest = self._preamble, self._shortest, self._longest
        settled = account.settled
        # A half-bit before the run counts as the last part of a bit one half-bit later.
        ones_before, skew_before = self._ones, self._skew + (self._before > 0)
        bad = self._next_bad(at)
        end = 0
        while True:
            zero = find(b"0", at)
            if not 0 <= zero < bad:
                break
            ones = zero - at
            ones = (ones >> 1) + (skew_before if ones & 1 else ones_before)
            if ones < enough:
                break
            end = zero + shortest
            while end < size and symbols[end] == ZERO and end < zero + longest:
                end += BYTE
            end += 2
            if end > size or end > bad:
                break
            frame = symbols[zero:end]
            data = known.get(frame) or self._sound(frame)
            if data is None:
                break
            if end - at <= summed:
                now += (adler32(low[at:end], 0) & 0xFFFF) * scale
            else:
                now += total(at, end) * scale
            events.append(Packet(data, ones if ones < COUNT_MAX else COUNT_MAX, settled, now))
            at = end
            settled = now
            ones_before = skew_before = 1
        if at != self._at:
            self._at = at
            account.settle(now)
            self._be_open(now, 1, 0, self._row.value(at - 1) * scale)
        if end > size and zero >= 0 and find(self._run, zero) < 0 and find(DOUBT, zero) < 0:
            # Even if something is wrong in what there is of the packet, no event is complete.
            return self._keep_all()
        return self._lose(zero, bad)

    def _sound(self, frame: bytes) -> bytes | None:
        """The bytes of a packet from its start bit to its end bit, if it is sound."""
        if len(frame) == _BASELINE.size:
            one, other, error, end = _BASELINE.unpack(frame)
            get = BYTES.get
            values = [get(one), get(other), get(error)]
        else:
            *fields, end = struct.unpack(f"{BYTE}s" * (len(frame) // BYTE) + "2s", frame)
            values = [BYTES.get(field) for field in fields]
        if end != b"11" or None in values:
            return None
        data = bytes(values)  # type: ignore[arg-type]
        if reduce(xor, data):
            return None
        self._unknown += 1
        if self._unknown > FORGOTTEN:
            self._unknown = 0
            self._packets.clear()
        if len(self._packets) < REMEMBERED:
            self._packets[frame] = data
        return data

    def _lose(self, zero: int, bad: int) -> bool:
        """OPEN, and no packet follows: because the row ends, or because of a fault, which begins LOST.

        :param zero: the next zero, or -1.
        :param bad: the next WRONG or DOUBT, or the row's end.
        """
        at, symbols = self._at, self._symbols
        size = len(symbols)
        if bad < size and not 0 <= zero < bad:
            if symbols[bad] == DOUBT:
                return self._to_exact(at)
            return self._lost_to_half(bad, bad - ((bad - at) & 1))
        if zero < 0:
            return self._keep_ones(size)
        if zero + 1 == size:
            return self._keep_all()
        if symbols[zero + 1] != ZERO:
            return self._lost_in_pair(zero)
        ones = zero - at
        ones = (ones >> 1) + (self._skew + (self._before > 0) if ones & 1 else self._ones)
        if ones < self._preamble:
            return self._lost_to(core.PREAMBLE, zero, zero, zero + 2, preamble=ones)
        return self._lose_inside(zero)

    def _lose_inside(self, zero: int) -> bool:
        """The same from the packet start bit on."""
        symbols, most = self._symbols, self._limits.packet_max
        data = bytearray()
        check = 0
        place = zero
        while len(data) < most:
            value = BYTES.get(symbols[place : place + BYTE])
            if value is None:
                break
            data.append(value)
            check ^= value
            place += BYTE
        torn = _PAIRS.match(symbols, place, place + BYTE).end()  # type: ignore[union-attr]
        if torn == place:
            return self._lost_in_pair(place, data)
        if symbols[place] == ONE:
            self._account.inside = True
            few = len(data) < self._limits.packet_min
            kind = core.FEW_BYTES if few else core.ERROR_BYTE
            # Its last one-bits, the end bit among them, may be the next preamble's first.
            run = zero + len(symbols[zero:place].rstrip(b"1"))
            return self._lost_to(kind, place, place, place + 2, data, check=check, again=run)
        if len(data) == most:
            self._account.inside = True
            return self._lost_to(core.MANY_BYTES, place, place, place + 2, data)
        return self._lost_in_pair(torn, data)

    def _lost_in_pair(self, place: int, data: bytearray | None = None) -> bool:
        """No bit stands where one should, or not yet a whole one.

        :param data: the complete bytes, if this is inside a packet.
        """
        pair = self._symbols[place : place + 2]
        if not pair or pair in (b"0", b"1"):
            return self._keep_all()
        if pair[0] != WRONG and DOUBT in pair:
            return self._to_exact(self._at)
        self._account.inside = data is not None
        if pair[0] == WRONG:
            return self._lost_to_half(place, place, data)
        if pair[1] == WRONG:
            return self._lost_to_half(place + 1, place, data)
        kind = core.LONE_ONE if pair[0] == ONE else core.LONE_ZERO
        return self._lost_to(kind, place, place, place + 1, data, detail=self._row.value(place))

    def _lost_to_half(self, wrong: int, start: int, data: bytearray | None = None) -> bool:
        """A WRONG half-bit, and one that waited before it, if ``start`` is before it."""
        count = self._row.value(wrong)
        return self._lost_to(self._of.fault(count), start, wrong, wrong + 1, data, detail=count)

    def _lost_to(
        self,
        kind: int,
        start: int,
        place: int,
        end: int,
        data: bytearray | None = None,
        *,
        detail: int = 0,
        preamble: int = 0,
        check: int = 0,
        again: int | None = None,
    ) -> bool:
        """The core answers with a fault, which is about what stands from ``start`` to ``end``.

        :param place: where it went wrong.
        :param again: where to look for a run of ones, if before ``end``.
        """
        row, scale = self._row, self._scale
        begins = self._time + row.total(self._at, start) * scale
        at = begins if place == start else begins + row.value(start) * scale
        ends = at + row.total(place, end) * scale
        self._account.lose(kind, begins, ends, at, detail * scale, bytes(data or b""), preamble, check)
        if again is None:
            self._time, self._at = ends, end
        else:
            self._time, self._at = self._time_at(again), again
        self._state = LOST
        return True

    def _keep_ones(self, size: int) -> bool:
        """OPEN, and only ones are left: of a long run its end is enough."""
        left = size - self._at
        if left >= self._keep:
            end = size - 2 - (left & 1)
            self._time = self._time_at(end)
            self._before = self._row.value(end - 1) * self._scale
            self._ones = self._skew = COUNT_MAX
            self._at = end
        return False

    def _keep_all(self) -> bool:
        """OPEN, and the row ends within what may become a packet."""
        if len(self._symbols) - self._at >= self._keep:
            return self._to_exact(self._at)
        return False

    def _next_bad(self, at: int) -> int:
        """The next WRONG or DOUBT, or the row's end."""
        if self._bad < at:
            size = len(self._symbols)
            wrong, doubt = self._symbols.find(WRONG, at), self._symbols.find(DOUBT, at)
            self._bad = min(wrong if wrong >= 0 else size, doubt if doubt >= 0 else size)
        return self._bad
