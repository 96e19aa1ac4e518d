"""Sound packets at sight: flawless packets read from a row of durations without the core.

The core classifies each duration once, into a symbol: half of a one, half of a zero, or unsound.
From the end of a packet on, which half-bits pair is known, so every other symbol is a first
half and the one after it a last half. A regular expression with the grammar of S-9.2 A finds
a packet among the first halves; the last halves must then be the same. All that is not flawless ends
the search there. The core then says what is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from .. import core
from ..event import exclusive_or
from ..limits import Limits

__all__ = ["SoundPackets"]

ONE, ZERO, UNSOUND = b"10?"

#: How many different counts are remembered with their symbols.
REMEMBERED = 1 << 12


class Symbols(dict[int, int]):
    """The symbol of each count of ``scale`` ns, from the core, as counts are asked for."""

    def __init__(self, limits: Limits, scale: int) -> None:
        super().__init__()
        self._half_bits = limits.half_bits_core()
        self._scale = scale
        #: The counts below 256 in one table, for rows that hold no larger ones.
        self.table = bytes(map(self._symbol, range(256)))

    def __missing__(self, count: int) -> int:
        if len(self) == REMEMBERED:
            self.clear()
        self[count] = symbol = self._symbol(count)
        return symbol

    def _symbol(self, count: int) -> int:
        kind = self._half_bits.feed(count * self._scale)
        return ONE if kind == core.ONE else ZERO if kind == core.ZERO else UNSOUND


class SoundPackets:
    """Finds the flawless packets that follow the end of a packet."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._bits = limits.bits_core()
        #: Two equal halves, each inside its window, may still be too long together.
        self._total_may_fail = self._bits.zero_total_max < 2 * limits.zero_max
        # The end bit of the packet before is one of the preamble's ones (S-9.2 A). A separator follows each byte but
        # the last.
        self._pattern = re.compile(
            b"(1{%d,})0((?:[01]{8}0){%d,%d}[01]{8})1"
            % (limits.preamble_min - 1, limits.packet_min - 1, limits.packet_max - 1)
        )
        self._by_scale: dict[int, Symbols] = {}

    def symbols(self, row: list[int], scale: int) -> bytes:
        """A symbol for each duration of a row, in counts of ``scale`` ns."""
        known = self._by_scale.get(scale)
        if known is None:
            known = self._by_scale[scale] = Symbols(self._limits, scale)
        try:
            return bytes(bytearray(row)).translate(known.table)
        except ValueError:  # a count above 255
            return bytes(map(known.__getitem__, row))

    def packets(
        self, row: list[int], symbols: bytes, at: int, scale: int
    ) -> Iterator[tuple[bytes, int, int, int]]:
        """The flawless packets from ``at`` on, which is the end of a packet.

        Gives for each its bytes, its preamble, the index after it, and how long it lasts in counts.
        """
        firsts, lasts = symbols[at::2], symbols[at + 1 :: 2]
        begin = 0
        while found := self._pattern.match(firsts, begin):
            pair = found.end()
            kinds = firsts[begin:pair]
            after = at + 2 * pair
            first_halves, last_halves = row[at + 2 * begin : after : 2], row[at + 2 * begin + 1 : after : 2]
            if kinds != lasts[begin:pair] or not self._bits_sound(kinds, first_halves, last_halves, scale):
                return
            ones, bits = found.groups()
            text = bytearray(bits)
            del text[8::9]  # the separators
            data = int(text, 2).to_bytes(len(text) // 8, "big")
            if exclusive_or(data) != 0:
                return
            yield data, min(1 + len(ones), core.COUNT_MAX), after, sum(first_halves) + sum(last_halves)
            begin = pair

    def _bits_sound(self, kinds: bytes, firsts: list[int], lasts: list[int], scale: int) -> bool:
        """True if the core finds every pair of halves, of the same kind each, to be a bit."""
        if firsts == lasts and not self._total_may_fail:
            return True
        feed = self._bits.feed
        for symbol, first, last in zip(kinds, firsts, lasts):
            if first != last or self._total_may_fail:
                kind = core.ONE if symbol == ONE else core.ZERO
                feed(kind, first * scale)
                if feed(kind, last * scale) != kind:
                    return False
        return True
