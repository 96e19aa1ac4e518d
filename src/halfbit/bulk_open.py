"""Behind a packet, or a preamble found after a loss: packets, as long as nothing is wrong with them."""

from __future__ import annotations

import struct
from typing import Any
from zlib import adler32

from .account import Event
from .bulk_exact import Exact
from .bulk_lost import LostPlace
from .bulk_place import LOST, OPEN
from .bulk_row import SUMMED, PlaneRow, total
from .bulk_symbols import DOUBT, ONE, WRONG
from .bulk_torn import BYTE, BYTES, MORE, TornPlace
from .core import COUNT_MAX
from .limits import Limits
from .packet_type import Packet, UnfrozenPacket, exclusive_or

__all__ = ["OpenPlace"]

#: A packet of three bytes, as most are (S-9.2 B): half-bits from its start bit to its end bit, the symbols
#: of its bytes with their zero-bits (the end bit with the last), its bytes as one.
THREE = 3 * BYTE + 2
_unpack = struct.Struct(f"{BYTE}s{BYTE}s{BYTE + 2}s").unpack_from
_pack = struct.Struct("3B").pack
_byte_of = BYTES.get

#: The symbols of every byte as a packet's last, with its end bit.
_LAST = [symbols + b"11" for symbols in sorted(BYTES, key=BYTES.__getitem__)]


class OpenPlace(TornPlace, LostPlace):
    """OPEN. What goes on from here answers whether to go on after it, or more is needed."""

    def __init__(self, limits: Limits, exact: Exact) -> None:
        super().__init__(limits, exact)
        self._baseline = limits.packet_min == 3 <= limits.packet_max

    def _open(self, events: list[Event]) -> bool:
        symbols, row, scale, account = self._symbols, self._row, self._scale, self._account
        low, enough, baseline = self._low, self._enough, self._baseline
        size = len(symbols)
        plain = len(low)  # up to here all counts are in ``low``, and none is a DOUBT
        plane = row if low is not row and isinstance(row, PlaneRow) else None
        wrong = doubt = bad = size
        if not self._sound:
            wrong = bad = -1
            if self._doubtful:
                doubt = -1
        at, now, settled = self._at, self._time, account.settled
        even, odd = self._even, self._odd
        while True:
            if bad < at:
                if wrong < at:
                    wrong = symbols.find(WRONG, at)
                    if wrong < 0:
                        wrong = size
                if doubt < at:
                    doubt = symbols.find(DOUBT, at)
                    if doubt < 0:
                        doubt = size
                bad = wrong if wrong < doubt else doubt
                plain = doubt if low else 0
            if plane is not None:
                plain = min(plane.plain_to(at), doubt)
            sound = at
            latest = bad - THREE if baseline else bad - 1  # a start bit behind it is not of a whole packet
            while True:
                zero = symbols.find(b"0", at)
                if not at <= zero <= latest:
                    break
                ones = zero - at  # what ``_ones_with`` does, without a call
                ones = (ones >> 1) + (odd if ones & 1 else even)
                if ones < enough:
                    break
                end = zero + THREE
                data = b""
                if baseline:
                    first, second, third = _unpack(symbols, zero)
                    one, two = _byte_of(first), _byte_of(second)
                    if one is None or two is None:
                        break
                    error = one ^ two
                    if third == _LAST[error]:
                        data = _pack(one, two, error)
                    elif symbols[end - 1] == ONE:
                        break
                if not data:
                    data = self._frame(zero)
                    if not data:
                        break
                    end = zero + BYTE * len(data) + 2
                if end <= plain and end - at <= SUMMED:
                    # What ``total`` does, without a call.
                    now += (adler32(low[at:end], 0) & 0xFFFF) * scale
                else:
                    now += total(row, at, end) * scale
                packet: Any = UnfrozenPacket()
                packet.data = data
                packet.preamble = ones if ones < COUNT_MAX else COUNT_MAX
                packet.start, packet.end = settled, now
                packet.recovered = ""
                packet.__class__ = Packet
                events.append(packet)
                at, settled = end, now
                even = odd = 1
            if at != sound:
                # Behind a packet.
                account.settled = account.packet_end = now
                self._at, self._time, self._before = at, now, row[at - 1] * scale
                self._even = self._odd = 1
            elif at != self._at:
                # Behind a fault.
                self._at = at
                self._even = self._odd = self._before = 0
            if bad == size < at + self._keep:
                if zero < 0 or size - zero < 2 * enough or symbols.find(self._run, zero) < 0:
                    # Even if something is wrong in what there is of the packet, no event is complete.
                    return False
            run = self._lose(events, zero, bad, doubt, plain)
            if run > 0:
                at, now, settled = run, self._time, self._time
                even = odd = 0
                continue
            if run == MORE or self._state == LOST and not self._lost(events):
                return False
            if self._state != OPEN:
                return True
            at, now, settled = self._at, self._time, account.settled
            even, odd = self._even, self._odd

    def _frame(self, zero: int) -> bytes:
        """The bytes of the packet with this start bit, if it is sound; else none."""
        after, data = self._whole_bytes(zero)
        if self._symbols[after : after + 2] != b"11" or len(data) < self._limits.packet_min:
            return b""
        return b"" if exclusive_or(data) else data
