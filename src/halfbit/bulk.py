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

from collections.abc import Sequence

from . import core
from .account import CUTOUT_HALVES, Event
from .bulk_exact import Exact
from .bulk_row import PlaneRow, Row
from .bulk_symbols import DOUBT, ONE, WRONG, ZERO, Symbols
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

#: How many different packets are remembered. A large layout repeats a few hundred.
REMEMBERED = 4096

#: Pairs of ones after which both of the core's counts stand at their most.
FULL = core.COUNT_MAX + 1


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
        self._all_symbols: dict[int, Symbols] = {}

        self._state = LOST
        self._row: Row = PlaneRow(b"")  # what is kept, then with the new row behind it
        self._symbols = b""
        self._at = 0  # up to here all is done, and this is the time there
        self._time = exact.now
        self._scale = 1
        self._next = {WRONG: -1, DOUBT: -1}
        # OPEN: what the counts were at the beginning of the run, and the half-bit before.
        self._ones = 0
        self._skew = 0
        self._before = 0
        # LOST: durations before, ns.
        self._past: Sequence[int] = ()

    def take(self, counts: Sequence[int], scale: int) -> list[Event]:
        """Take durations, each of so many counts of ``scale`` ns."""
        events: list[Event] = []
        if scale != self._scale:
            events += self.give_back()
            self._scale = scale
        symbols = self._all_symbols.get(scale)
        if symbols is None:
            symbols = self._all_symbols[scale] = Symbols(self._limits, scale)
        row = symbols.row(counts)
        self._row = row = self._row.joined(row) if len(self._row) else row
        self._symbols = symbols.of(row)
        self._of = symbols
        self._at = 0
        if self._state == OPEN and self._before and len(row) and self._of.apart(self._before // scale, row.value(0)):
            # Too different to be of one bit, one half-bit later.
            self._skew = self._before = 0
        self._next = {WRONG: -1, DOUBT: -1}
        going = True
        while going:
            if self._state == OPEN:
                going = self._open(events)
            elif self._state == LOST:
                going = self._lost(events)
            else:
                going = self._exactly(events)
        self._row = self._row.tail(self._at)
        return events

    def time(self) -> int:
        """The time of the last change, ns."""
        if self._state == EXACT:
            return self._exact.now
        return self._time + self._row.total(0, len(self._row)) * self._scale

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
        total, scale = self._row.total, self._scale
        account = self._account
        known, preamble_min = self._packets, self._preamble
        shortest, longest = self._shortest, self._longest
        # A half-bit before the run counts as the last part of a bit one half-bit later.
        base, skew = self._ones, self._skew + (self._before > 0)
        find = symbols.find
        bad = min(self._find(WRONG, at), self._find(DOUBT, at))
        while True:
            zero = find(ZERO, at)
            if not 0 <= zero < bad:
                break
            ones = zero - at
            ones = skew + (ones >> 1) if ones & 1 else base + (ones >> 1)
            if ones < preamble_min:
                break
            end = zero + shortest
            while end < size and symbols[end] == ZERO and end < zero + longest:
                end += BYTE
            end += 2
            if end > size:
                break
            frame = symbols[zero:end]
            data = known.get(frame)
            if data is None:
                data = self._sound(frame)
                if data is None:
                    break
            now += total(at, end) * scale
            events.append(account.packet(data, ones if ones < core.COUNT_MAX else core.COUNT_MAX, now))
            at = end
            base = skew = 1
        if at != self._at:
            self._at = at
            self._be_open(now, 1, 0, self._row.value(at - 1) * scale)
        return self._lose(zero)

    def _sound(self, frame: bytes) -> bytes | None:
        """The bytes of a packet from its start bit to its end bit, if it is sound."""
        values = [BYTES.get(frame[place : place + BYTE]) for place in range(0, len(frame) - 2, BYTE)]
        check = 0
        for value in values:
            if value is None:
                return None
            check ^= value
        if check or frame[-2:] != b"11":
            return None
        if len(self._packets) >= REMEMBERED:
            self._packets.clear()
        data = self._packets[frame] = bytes(values)  # type: ignore[arg-type]
        return data

    def _lose(self, zero: int) -> bool:
        """OPEN, and no packet follows: because the row ends, or because of a fault, which begins LOST.

        :param zero: the next zero, or -1.
        """
        at, symbols = self._at, self._symbols
        size = len(symbols)
        first = zero if zero >= 0 else size
        bad = min(self._find(WRONG, at), self._find(DOUBT, at))
        if bad < first:
            if symbols[bad] == DOUBT:
                return self._to_exact(at)
            return self._lost_to_half(bad, bad - ((bad - at) & 1))
        if zero < 0:
            return self._keep_ones(size)
        if zero + 1 >= size:
            return self._keep_all()
        if symbols[zero + 1] != ZERO:
            return self._lost_in_pair(zero)
        pairs = (zero - at) // 2
        counted = self._skew + (self._before > 0) if (zero - at) & 1 else self._ones
        ones = min(counted + pairs, core.COUNT_MAX)
        if ones < self._preamble:
            return self._lost_to(core.PREAMBLE, zero, zero + 2, preamble=ones)
        return self._lose_inside(zero)

    def _lose_inside(self, zero: int) -> bool:
        """The same from the packet start bit on."""
        symbols = self._symbols
        size = len(symbols)
        data = bytearray()
        check = 0
        place = zero
        while True:
            value = BYTES.get(symbols[place : place + BYTE])
            if value is None or len(data) == self._limits.packet_max:
                break
            data.append(value)
            check ^= value
            place += BYTE
        pair = symbols[place : place + 2]
        if pair == b"11" and place > zero:
            self._account.inside = True
            few = len(data) < self._limits.packet_min
            kind = core.FEW_BYTES if few else core.ERROR_BYTE
            # Its last one-bits, the end bit among them, may be the next preamble's first.
            run = zero + len(symbols[zero:place].rstrip(b"1"))
            return self._lost_to(kind, place, place + 2, bytes(data), check=check, again=run)
        if pair == b"00" and len(data) == self._limits.packet_max:
            self._account.inside = True
            return self._lost_to(core.MANY_BYTES, place, place + 2, bytes(data))
        for torn in range(place, min(place + BYTE, size), 2):
            pair = symbols[torn : torn + 2]
            if pair in (b"0", b"1"):
                break
            if pair not in (b"00", b"11"):
                return self._lost_in_pair(torn, bytes(data), inside=True)
        return self._keep_all()

    def _lost_in_pair(self, place: int, data: bytes = b"", *, inside: bool = False) -> bool:
        """A fault of layer 2 or 3 where a bit should begin."""
        symbols = self._symbols
        first = symbols[place]
        if first != WRONG and DOUBT in symbols[place : place + 2]:
            return self._to_exact(self._at)
        self._account.inside = inside
        if first == WRONG:
            return self._lost_to_half(place, place, data)
        if symbols[place + 1] == WRONG:
            return self._lost_to_half(place + 1, place, data)
        kind = core.LONE_ONE if first == ONE else core.LONE_ZERO
        return self._lost_to(kind, place, place + 1, data, detail=self._row.value(place))

    def _lost_to_half(self, wrong: int, start: int, data: bytes = b"") -> bool:
        """A WRONG half-bit, and one that waited before it, if ``start`` is before it."""
        count = self._row.value(wrong)
        return self._lost_to(self._of.fault(count), start, wrong + 1, data, place=wrong, detail=count)

    def _lost_to(
        self,
        kind: int,
        start: int,
        end: int,
        data: bytes = b"",
        *,
        place: int | None = None,
        detail: int = 0,
        preamble: int = 0,
        check: int = 0,
        again: int | None = None,
    ) -> bool:
        """The core answers with a fault: what it is about stands from ``start`` to ``end``.

        :param again: where to look for a run of ones, if before ``end``.
        """
        begins, at, ends = (self._time_at(i) for i in (start, start if place is None else place, end))
        self._account.lose(kind, begins, ends, at, detail * self._scale, data, preamble, check)
        past = max(self._at, (end if again is None else again) - CUTOUT_HALVES)
        if again is None:
            again = end
        self._past = [count * self._scale for count in self._row.values(past, again)]
        self._time = self._time_at(again)
        self._at = again
        self._state = LOST
        return True

    def _lost(self, events: list[Event]) -> bool:
        symbols, at = self._symbols, self._at
        run = symbols.find(self._run, at)
        doubt = self._find(DOUBT, at)
        if doubt < (run if run >= 0 else len(symbols)):
            # Up to the run it stands in, kinds tell.
            kind = b"1" if self._row.value(doubt) <= self._of.one_max else b"0"
            start = at + len(symbols[at:doubt].rstrip(kind))
            self._count(start, kind)
            self._lost_on(start)
            return self._to_exact(start)
        if run < 0:
            return self._keep_run()
        self._count(run, b"1")
        self._lost_on(run)
        event = self._account.found(self._time, self._time, self._past)
        if event is not None:
            events.append(event)
        self._be_open(self._time, 0, 0, 0)
        return True

    def _count(self, end: int, follows: bytes) -> None:
        """Account for what is wrong up to a place: WRONG half-bits, and lone zeros.

        :param follows: the symbol there, as a zero before it may turn out to be a lone one.
        """
        symbols, at, account = self._symbols, self._at, self._account
        wrong = self._find(WRONG, at)
        if wrong < end and account.lost == core.CUT:
            account.count += _lone_zeros(symbols[at:wrong])
            start, stop = self._time_at(wrong), self._time_at(wrong + 1)
            count = self._row.value(wrong)
            account.lose(self._of.fault(count), start, stop, start, count * self._scale)
            at = wrong + 1
        region = symbols[at:end]
        account.count += _lone_zeros(region + follows)
        if wrong < end:
            account.count += region.count(WRONG)

    def _lost_on(self, at: int) -> None:
        """Go on to a place, LOST as before."""
        self._past = self._before_place(at)
        self._time = self._time_at(at)
        self._at = at

    def _exactly(self, events: list[Event]) -> bool:
        exact, row, scale, symbols = self._exact, self._row, self._scale, self._symbols
        at = self._at
        for count in row.values(at, len(row)):
            at += 1
            complete = exact.feed(count * scale)
            if complete:
                events += complete
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
        past = self._exact.last(CUTOUT_HALVES + again)
        cut = len(past) - again
        self._past = past[:cut]
        self._time = self._exact.now - sum(past[cut:])

    def _to_exact(self, at: int) -> bool:
        """Let the exact way go on from a place."""
        now = self._time_at(at)
        if self._state == OPEN:
            self._exact.set_idle(now, self._ones, self._skew, self._before)
        else:
            self._exact.set_lost(now, self._past)
        self._at = at
        self._state = EXACT
        return True

    def _keep_ones(self, size: int) -> bool:
        """OPEN, and only ones are left: of a long run its end is enough."""
        left = size - self._at
        if left >= self._keep:
            end = size - 2 - (left & 1)
            self._time = self._time_at(end)
            self._before = self._row.value(end - 1) * self._scale
            self._ones = self._skew = core.COUNT_MAX
            self._at = end
        return False

    def _keep_all(self) -> bool:
        """OPEN, and the row ends within what may become a packet."""
        if len(self._symbols) - self._at >= self._keep:
            return self._to_exact(self._at)
        return False

    def _keep_run(self) -> bool:
        """LOST, and no run of ones is long enough yet: the last run is kept, as far as it matters."""
        symbols, size = self._symbols, len(self._symbols)
        at = self._at
        tail = symbols[at:]
        end = at + len(tail.rstrip(b"1"))
        if end == size:
            end = size - ((len(tail) - len(tail.rstrip(b"0"))) & 1)
            self._count(end, b"")
        else:
            self._count(end, b"1")
        self._lost_on(end)
        return False

    def _find(self, symbol: int, at: int) -> int:
        """The next place of a symbol, or the row's end."""
        place = self._next[symbol]
        if place < at:
            place = self._symbols.find(symbol, at)
            if place < 0:
                place = len(self._symbols)
            self._next[symbol] = place
        return place

    def _time_at(self, place: int) -> int:
        return self._time + self._row.total(self._at, place) * self._scale

    def _before_place(self, place: int) -> list[int]:
        """The durations before a place, ns, as many as a cutout shows."""
        near = self._row.values(max(self._at, place - CUTOUT_HALVES), place)
        return [*self._past, *(count * self._scale for count in near)][-CUTOUT_HALVES:]


def _lone_zeros(region: bytes) -> int:
    """How many zeros without their other half a one follows."""
    return region.replace(b"00", b"").count(b"01")
