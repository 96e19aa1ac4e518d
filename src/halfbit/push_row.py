"""The half-bits of a packet, a row for each byte, to its bytes."""

from __future__ import annotations

from collections.abc import Iterable

from .bulk_torn import SINGLE

__all__ = ["Row", "Torn", "packet_data"]

Row = tuple[int, ...]


class Torn(Exception):
    """A row of half-bits that are not all plain to see."""

    def __init__(self, row: Row) -> None:
        self.row = row


def packet_data(rows: Iterable[Row], one_min: int, one_max: int, zero_min: int) -> bytes:
    """The bytes that rows of half-bits are; none, where the error detection byte is wrong (S-9.2 A).

    The first of a row must be of a zero-bit. Of the last nothing is asked, nor whether a zero's half is too
    long. All bits of a byte are written out, because a loop over them takes more than twice as long.

    :raises Torn: with the first that is not plain to see.
    """
    data = b""
    error = 0
    for row in rows:
        zero, a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p, _ = row
        if zero < zero_min:
            raise Torn(row)
        byte = 0
        if a <= one_max:
            if a < one_min or b > one_max or b < one_min:
                raise Torn(row)
            byte = 128
        elif a < zero_min or b < zero_min:
            raise Torn(row)
        if c <= one_max:
            if c < one_min or d > one_max or d < one_min:
                raise Torn(row)
            byte += 64
        elif c < zero_min or d < zero_min:
            raise Torn(row)
        if e <= one_max:
            if e < one_min or f > one_max or f < one_min:
                raise Torn(row)
            byte += 32
        elif e < zero_min or f < zero_min:
            raise Torn(row)
        if g <= one_max:
            if g < one_min or h > one_max or h < one_min:
                raise Torn(row)
            byte += 16
        elif g < zero_min or h < zero_min:
            raise Torn(row)
        if i <= one_max:
            if i < one_min or j > one_max or j < one_min:
                raise Torn(row)
            byte += 8
        elif i < zero_min or j < zero_min:
            raise Torn(row)
        if k <= one_max:
            if k < one_min or l > one_max or l < one_min:
                raise Torn(row)
            byte += 4
        elif k < zero_min or l < zero_min:
            raise Torn(row)
        if m <= one_max:
            if m < one_min or n > one_max or n < one_min:
                raise Torn(row)
            byte += 2
        elif m < zero_min or n < zero_min:
            raise Torn(row)
        if o <= one_max:
            if o < one_min or p > one_max or p < one_min:
                raise Torn(row)
            byte += 1
        elif o < zero_min or p < zero_min:
            raise Torn(row)
        data += SINGLE[byte]
        error ^= byte
    return b"" if error else data
