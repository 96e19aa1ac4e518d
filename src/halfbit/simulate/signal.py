"""Makes the half-bits of packets, as a station sends them. For tests, examples and vectors.

Durations are integer nanoseconds. :mod:`halfbit.simulate.distort` adds the errors of track and capture.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..error import HalfbitError
from ..limits import US
from ..event import exclusive_or

__all__ = ["NOMINAL", "Timing", "bit_durations", "packet_bits", "packet_durations", "with_error_byte"]


@attrs.frozen
class Timing:
    """The durations of a station's half-bits, ns."""

    one_first: int = 58 * US  #: First half of a one-bit.
    one_last: int = 58 * US  #: Last half of a one-bit.
    zero_first: int = 100 * US  #: First half of a zero-bit.
    zero_last: int = 100 * US  #: Last half of a zero-bit.


NOMINAL = Timing()  #: The nominal values (S-9.1 A, table 1).


def with_error_byte(data: bytes) -> bytes:
    """The bytes followed by their error detection byte: the exclusive or of all bytes (S-9.2 A)."""
    return bytes((*data, exclusive_or(data)))


def packet_bits(data: bytes, preamble: int = 14) -> list[int]:
    """The bits of a packet: preamble, then a start bit 0 before each byte, then the packet end bit 1 (S-9.2 A).

    :param data: all bytes, error detection byte included (see :func:`with_error_byte`).
    :param preamble: number of one-bits. A station sends at least 14, in service mode at least 20
        (S-9.2 A, S-9.2.3 E).
    :raises HalfbitError: if the preamble is negative.
    """
    if preamble < 0:
        raise HalfbitError(f"preamble: {preamble} is negative: give a number of one-bits, 0 or more")
    bits = [1] * preamble
    for byte in data:
        bits.append(0)
        bits.extend(byte >> place & 1 for place in range(7, -1, -1))
    bits.append(1)
    return bits


def bit_durations(bits: Iterable[int], timing: Timing = NOMINAL) -> list[int]:
    """The durations of the half-bits of these bits, ns; two per bit."""
    halves = (timing.zero_first, timing.zero_last), (timing.one_first, timing.one_last)
    return [duration for bit in bits for duration in halves[bit]]


def packet_durations(data: bytes, preamble: int = 14, timing: Timing = NOMINAL) -> list[int]:
    """The durations of the half-bits of a packet, ns.

    :param data: as for :func:`packet_bits`; so is ``preamble``.
    :raises HalfbitError: if the preamble is negative.
    """
    return bit_durations(packet_bits(data, preamble), timing)
