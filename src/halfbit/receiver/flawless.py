"""Flawless packets, found in a row of durations without feeding the core.

The core is asked about each duration once. The answer becomes a symbol: half of a one, half of a zero, or
unsure. Any two halves with the same symbol make a bit. From the end of a packet on it is known which
halves pair: every other symbol is a first half, and the one after it a last half. A regular expression with
the grammar of S-9.2 A finds a packet among the first halves. The last halves must then be the same. At
anything else the search ends, and the core goes on from there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

from .. import core
from ..event import exclusive_or
from ..limits import Limits

__all__ = ["FlawlessPackets"]

ONE, ZERO, UNSURE = b"10?"

#: How many different counts are remembered with their symbols, and packets with their bytes.
REMEMBERED = 4096


class Symbols(dict[int, int]):
    """The symbol of each count of ``scale`` ns, from the core, as counts are asked for."""

    def __init__(self, limits: Limits, scale: int) -> None:
        self._half_bits = limits.half_bits_core()
        self._bits = limits.bits_core()
        self._scale = scale
        #: The counts below 256 in one table, for rows that hold no larger ones.
        self.table: bytes = bytes(map(self._symbol, range(256)))

    def __missing__(self, count: int) -> int:
        if len(self) == REMEMBERED:
            self.clear()
        self[count] = symbol = self._symbol(count)
        return symbol

    def _symbol(self, count: int) -> int:
        half = count * self._scale
        kind = self._half_bits.feed(half)
        if kind == core.ONE:
            # The halves of a one may not differ too much. With a window of 52 to 64 us, a half of 60 us is sure if it
            # makes a bit with its mirror image, 56 us: then it makes one with everything between the two.
            return ONE if self._makes(kind, half, self._half_bits.one_min + self._half_bits.one_max - half) else UNSURE
        # The halves of a zero may not be too long together.
        return ZERO if kind == core.ZERO and self._makes(kind, half, half) else UNSURE

    def _makes(self, kind: int, first: int, last: int) -> bool:
        """True if the core makes a bit of these halves, ns."""
        self._bits.feed(kind, first)
        return self._bits.feed(kind, last) == kind


class FlawlessPackets:
    """Finds the flawless packets that follow the end of a packet."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        # The end bit of the packet before is one of the preamble's ones (S-9.2 A). A separator follows each byte but
        # the last.
        self._pattern = re.compile(
            b"1{%d,}0((?:[01]{8}0){%d,%d}[01]{8})1"
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

    def packets(self, row: list[int], symbols: bytes, at: int) -> Iterator[tuple[bytes, int, int, int]]:
        """The flawless packets from ``at`` on, which is the end of a packet.

        Gives for each its bytes, its preamble, the index after it, and how long it lasts in counts.
        """
        firsts, lasts = symbols[at::2], symbols[at + 1 :: 2]
        match = self._pattern.match
        begin = 0
        while found := match(firsts, begin):
            end = found.end()
            data = _bytes(found[1])
            if not data or not lasts.startswith(found[0], begin):
                return
            after = at + 2 * end
            ones = found.start(1) - 1 - begin  # before the start bit
            yield data, min(1 + ones, core.COUNT_MAX), after, sum(row[after - 2 * (end - begin) : after])
            begin = end


@lru_cache(REMEMBERED)  # a station repeats its packets
def _bytes(bits: bytes) -> bytes:
    """The bytes of a packet from its bits with their separators; ``b""`` if the error detection byte is wrong."""
    text = bytearray(bits)
    del text[8::9]
    data = int(text, 2).to_bytes(len(text) // 8, "big")
    return b"" if exclusive_or(data) else data
