"""Tables of the half-bits that may come next (the framing of S-9.2 A), for readings that are followed in parallel.

The core's layer 4 takes bits and finds packets. A reading works the other way round: it assumes bits and checks if the
times fit. So it only needs to know which half-bits may come next and their total length. This depends on the place:

- ``RUN``: among one-bits, before a packet;
- ``before(bit)``: before a bit of a packet. Bit 0 is the bit between bytes (zero: another byte follows; one: the packet
  ends). Bits 1 to 8 are the bits of a byte;
- ``within(bit, kind)``: between the halves of that bit; ``kind`` is the kind of its first half, 1 or 0;
- ``END``: after the packet end bit.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from .lengths import Lengths

__all__ = ["END", "RUN", "WITHIN_END_BIT", "Step", "Steps"]

RUN = 0
_BEFORE = 1
_WITHIN = _BEFORE + 9
END = _WITHIN + 18


def before(bit: int) -> int:
    """The place before a bit of a packet: 0 for the bit between bytes, 1 to 8 for the bits of a byte (S-9.2 A)."""
    return _BEFORE + bit


def within(bit: int, kind: int) -> int:
    """The place between the halves of a bit, 0 to 8, if its first half is of a one (1) or a zero (0)."""
    return _WITHIN + 2 * bit + kind


WITHIN_END_BIT = within(0, 1)


class Step(NamedTuple):
    """One or more half-bits in a row that may follow a place."""

    #: Least and greatest total length, ns.
    least: int
    most: int
    #: The place after them.
    place: int
    #: Number of byte bits they complete, and the values of these bits.
    shift: int
    bits: int
    #: Number of one-halves outside a packet among them: in a run, or after an end bit.
    ones: int
    #: Number of zeros that they are halves of. These may be stretched.
    zeros: int


class Steps(dict[int, tuple[Step, ...]]):
    """For each place, the possible ways in which ``count`` half-bits can follow. Computed on first use of a place.

    :param slack: how far their total length may be from that of the lengths, ns.
    """

    def __init__(self, count: int, lengths: Lengths, slack: int) -> None:
        super().__init__()
        self._count = count
        self._lengths = lengths
        self._slack = slack

    def __missing__(self, place: int) -> tuple[Step, ...]:
        steps = []
        for halves, after, shift, bits, ones in _ways(place, self._count):
            length = self._lengths.of(halves)
            # The last half of a zero belongs to the first half before it.
            zeros = sum(not kind and not (last and at) for at, (kind, last) in enumerate(halves))
            steps.append(Step(length - self._slack, length + self._slack, after, shift, bits, ones, zeros))
        self[place] = tuple(steps)
        return self[place]


class _Way(NamedTuple):
    """Half-bits that may follow a place, each as its kind and 1 for a bit's last half. The rest is as in a step."""

    halves: tuple[tuple[int, int], ...] = ()
    place: int = RUN
    shift: int = 0
    bits: int = 0
    ones: int = 0


def _half_bits(place: int) -> tuple[tuple[int, int, int | None], ...]:
    """The half-bits that may follow a place: kind, next place, and the byte bit that is completed (or ``None``)."""
    if place in (RUN, END):
        start = ((0, within(0, 0), None),) if place == RUN else ()
        return ((1, place, None), *start)
    if place < _WITHIN:
        bit = place - _BEFORE
        return tuple((kind, within(bit, kind), None) for kind in (1, 0))
    bit, kind = divmod(place - _WITHIN, 2)
    if bit:
        return ((kind, before((bit + 1) % 9), kind),)
    return ((kind, END if kind else before(1), None),)


@cache
def _ways(place: int, count: int) -> tuple[_Way, ...]:
    """The ways in which ``count`` half-bits can follow a place. The same for all stations."""
    if not count:
        return (_Way(place=place),)
    last = int(_WITHIN <= place < END)
    ways = []
    for kind, after, bit in _half_bits(place):
        outside = int(place in (RUN, END) and kind)
        for halves, then, shift, bits, ones in _ways(after, count - 1):
            if bit is not None:
                shift, bits = shift + 1, bit << shift | bits
            ways.append(_Way(((kind, last), *halves), then, shift, bits, outside + ones))
    return tuple(ways)
