"""The framing of packets (S-9.2 A) half-bit by half-bit, for readings that are followed side by side.

The same rules as the core's layer 4, in another form: where the core must make sense of whatever
comes, a reading that breaks the framing just ends. A frame is a tuple, cheap to make and to
compare, whose first item says where it stands:

========================================  ======================================================
``(RUN, halves)``                         among one-bits, so many halves of them; 0: nothing fits
``(BOUNDARY, room, value, data, check)``  inside a packet, between two bits
``(FIRST, half, room, value, data, ...)`` behind the first part of a bit of kind ``half``
``(DONE, data)``                          a packet ended with the right error byte
``(REFUSED,)``                            a packet ended with a wrong one
========================================  ======================================================

``room`` is how many bits the byte still lacks: 0 where it is complete, START_BIT while the
packet start bit is under way.
"""

from __future__ import annotations

from typing import Any

from ..limits import Limits

__all__ = ["BOUNDARY", "DONE", "FIRST", "REFUSED", "RUN", "Frame", "Framing"]

Frame = tuple[Any, ...]

RUN = 0
BOUNDARY = 1
FIRST = 2
DONE = 3
REFUSED = 4

START_BIT = 9


class Framing:
    """What may follow what, under some limits."""

    def __init__(self, limits: Limits) -> None:
        self._preamble = 2 * limits.preamble_min
        self._shortest = limits.packet_min
        self._longest = limits.packet_max

    def take(self, frame: Frame, kind: int) -> Frame | None:
        """The frame after one more half-bit, 1 of a one-bit or 0 of a zero-bit; None if it may not come."""
        place = frame[0]
        if place == BOUNDARY:
            return (FIRST, kind, *frame[1:])
        if place == FIRST:
            return self._bit(kind, *frame[2:]) if kind == frame[1] else None
        if kind:
            return (RUN, frame[1] + 1)
        return (FIRST, 0, START_BIT, 0, b"", 0) if frame[1] >= self._preamble else None

    def _bit(self, bit: int, room: int, value: int, data: bytes, check: int) -> Frame | None:
        if room == START_BIT:
            return (BOUNDARY, 8, 0, data, check)
        if room:
            value = value << 1 | bit
            if room > 1:
                return (BOUNDARY, room - 1, value, data, check)
            return (BOUNDARY, 0, 0, data + bytes((value,)), check ^ value)
        if not bit:
            return (BOUNDARY, 8, 0, data, check) if len(data) < self._longest else None
        if len(data) < self._shortest:
            return None
        return (REFUSED,) if check else (DONE, data)
