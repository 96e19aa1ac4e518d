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
a half-bit left over counts as many pairs, one half-bit later (``skew``).

Three states are told in a few words, and the work goes from one to the next:

OPEN    At the beginning of a run of ones, behind a packet or a preamble found after a loss, and
        nothing is wrong. A packet follows if these hold: all half-bits up to the next zero are
        ones, enough of them; then come bytes, each behind a zero-bit, every bit a pair; then a
        one-bit; and the exclusive or is 0. These 18 half-bits of a byte are looked up in a table
        of 256, and whole packets among those seen before. Else the first thing that breaks one of the
        conditions is the fault: ``_lose`` looks for it in the order in which the core meets them.
LOST    At the beginning of a run, or between two pairs of one. The core waits for a run of
        ones, 2 * preamble_min of them, and its only answers before that are a fault for every WRONG
        half-bit and for every lone zero. Lone ones are passed over. Find the run, count
        those, and it is OPEN.
EXACT   Anything. The core is fed, until the packet's end or until it is LOST where a run begins.

What a row ends with, before it is known what it is, is kept, and put before the next row. The
exact way is given it when single half-bits are fed.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator, Sequence
from functools import reduce
from operator import xor
from zlib import adler32

from . import core
from .account import CUTOUT_HALVES, Event
from .bulk_exact import Exact
from .bulk_row import SUMMED, PlaneRow, Row
from .bulk_symbols import DOUBT, ONE, WRONG, ZERO, Symbols
from .core import COUNT_MAX
from .limits import Limits
from .packet_type import Packet

__all__ = ["Bulk"]

OPEN = 0
LOST = 1
EXACT = 2

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

#: How many durations are taken out of a row for the exact way at a time.
PIECE = 128

#: A packet of three bytes, as most are (S-9.2 B), and its end bit.
_BASELINE = struct.Struct("18s18s18s2s")

_PAIRS = re.compile(b"(?:00|11)*")


class Bulk:
    """Rows of durations in; the events complete with each row out.

    :param exact: the exact way, whose account is shared; at its beginning.
    """

    def __init__(self, limits: Limits, exact: Exact) -> None:
        self._limits = limits
        self._exact = exact
        self._account = exact.account
        self._preamble = limits.preamble_min
        self._run = b"1" * (2 * limits.preamble_min)
        self._shortest = BYTE * limits.packet_min
        self._longest = BYTE * limits.packet_max
        # The longest that is kept for the next row: what may still become a packet.
        self._keep = 2 * FULL + self._longest + 2
        self._packets: dict[bytes, bytes] = {}
        self._unknown = 0  # packets since it was empty that were not in it
        self._all_symbols: dict[int, Symbols] = {}

        self._state = LOST
        self._row: Row = PlaneRow(b"")  # what is kept, then with the new row behind it
        self._symbols = b""
        self._at = 0  # up to here all is done, and this is the time there
        self._time = exact.now
        self._scale = 0
        self._bad = -1  # the next WRONG or DOUBT, where that is behind _at
        self._past: list[int] = []  # durations before the row, ns
        # OPEN: what the counts were at the beginning of the run, and the half-bit before.
        self._ones = 0
        self._skew = 0
        self._before = 0

    def take(self, counts: Sequence[int], scale: int) -> list[Event]:
        """Take durations, each of so many counts of ``scale`` ns."""
        events: list[Event] = []
        if scale != self._scale:
            events += self._rescale(scale)
        kept = self._row
        row = self._of.row(counts)
        self._row = row = kept.joined(row) if len(kept) else row
        self._symbols = self._of.of(row)
        self._low = row.low if isinstance(row, PlaneRow) and row.high is None else b""
        self._at, self._bad = 0, -1
        if self._before and self._state == OPEN and len(row):
            if self._of.apart(self._before // scale, row.value(0)):
                # Too different to be of one bit, one half-bit later.
                self._skew = self._before = 0
        if self._state == EXACT:
            self._past = self._exact.recent(CUTOUT_HALVES)
        going = True
        while going:
            if self._state == OPEN:
                going = self._open(events)
            elif self._state == LOST:
                going = self._lost(events)
            else:
                going = self._exactly(events)
        self._past = self._before_here() if self._state == LOST else []
        self._row = row.tail(self._at)
        return events

    def _rescale(self, scale: int) -> list[Event]:
        events = self.give_back() if len(self._row) else []
        self._scale = scale
        if scale not in self._all_symbols:
            self._all_symbols[scale] = Symbols(self._limits, scale)
        self._of = self._all_symbols[scale]
        return events

    def time(self) -> int:
        """The time of the last change, ns."""
        if self._state == EXACT:
            return self._exact.now
        return self._time + self._row.total(0, len(self._row)) * self._scale

    def packet_ended(self) -> int:
        """The last half-bit, ns, if it was a packet's last; else 0."""
        if len(self._row) or self._account.settled != self.time():
            return 0
        counts = (self._ones, self._skew, self._before) if self._state == OPEN else None
        if self._state == EXACT and self._exact.state() == core.IDLE:
            counts = self._exact.between_bits()
        return counts[2] if counts is not None and counts[:2] == (1, 0) else 0

    def set_packet_ended(self, now: int, last: int) -> None:
        """Go on behind a packet, found elsewhere, and its last half-bit. Nothing may be kept."""
        self._account.settle(now)
        self._be_open(now, 1, 0, last)

    def give_back(self) -> list[Event]:
        """Let the exact way go on from here."""
        events: list[Event] = []
        row, scale = self._row, self._scale
        if self._state != EXACT:
            self._at = 0
            self._to_exact(0)
            for count in row.values(0, len(row)):
                events += self._exact.feed(count * scale)
        self._row = PlaneRow(b"")
        return events

    # Each of these goes on from _at, and answers whether to go on after it, or more is needed.

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

    def _lost(self, events: list[Event]) -> bool:
        symbols, at, account = self._symbols, self._at, self._account
        run = symbols.find(self._run, at)
        if run < 0:
            return self._lost_on_to_end()
        region = symbols[at : run + 1]
        if DOUBT in region:
            return self._lost_to_doubt(at + region.find(DOUBT))
        if account.lost == core.CUT:
            self._count_cut(region)
        else:
            account.count += region.count(WRONG) + _lone_zeros(region)
        now = self._time = self._time_at(run)
        self._at = run
        event = account.found(now, now, self._before_here() if account.like_cutout(now) else ())
        if event is not None:
            events.append(event)
        self._be_open(now, 0, 0, 0)
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
        kind = b"1" if self._row.value(doubt) <= self._of.one_max else b"0"
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
            start, count = self._time_at(place), self._row.value(place)
            length = count * self._scale
            account.lose(self._of.fault(count), start, start + length, start, length)
            region = region[wrong + 1 :]
            account.count += region.count(WRONG)
        account.count += _lone_zeros(region)

    def _exactly(self, events: list[Event]) -> bool:
        exact, row, scale, symbols = self._exact, self._row, self._scale, self._symbols
        at = self._at
        doubt = symbols.find(DOUBT, at)
        for count in _in_pieces(row, at):
            at += 1
            complete = exact.feed(count * scale)
            if complete:
                events += complete
            if at <= doubt:
                continue
            state = exact.state()
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

    def _be_open(self, now: int, ones: int, skew: int, before: int) -> None:
        self._state, self._time = OPEN, now
        self._ones, self._skew, self._before = ones, skew, before

    def _be_lost(self, again: int) -> None:
        self._state = LOST
        self._time = self._exact.now - (self._exact.last() if again else 0)

    def _to_exact(self, at: int) -> bool:
        """Let the exact way go on from a place."""
        now = self._time_at(at)
        self._at = at
        if self._state == OPEN:
            self._exact.set_idle(now, self._ones, self._skew, self._before)
        else:
            self._exact.set_lost(now, self._before_here())
        self._state = EXACT
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

    def _time_at(self, place: int) -> int:
        return self._time + self._row.total(self._at, place) * self._scale

    def _before_here(self) -> list[int]:
        """The durations up to here, ns, as many as a cutout shows."""
        near = self._row.values(max(0, self._at - CUTOUT_HALVES), self._at)
        return [*self._past, *(count * self._scale for count in near)][-CUTOUT_HALVES:]


def _lone_zeros(region: bytes) -> int:
    """How many zeros without their other half a one follows."""
    return region.replace(b"00", b"").count(b"01")


def _in_pieces(row: Row, start: int) -> Iterator[int]:
    """The counts from a place on, taken out some at a time."""
    for place in range(start, len(row), PIECE):
        yield from row.values(place, place + PIECE)
