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

    #: Total length, ns.
    length: int
    #: The place after them.
    place: int
    #: Number of byte bits they complete, and the values of these bits.
    shift: int
    bits: int
    #: Number of one-halves outside a packet among them: in a run, or after an end bit.
    ones: int
    #: True if zero-halves are among them. These may be stretched.
    zeros: bool


class Steps(dict[int, tuple[Step, ...]]):
    """For each place, the possible ways in which ``count`` half-bits can follow. Computed on first use of a place."""

    def __init__(self, count: int, lengths: Lengths) -> None:
        super().__init__()
        self._count = count
        self._lengths = lengths

    def __missing__(self, place: int) -> tuple[Step, ...]:
        self[place] = steps = tuple(_steps(place, self._count, self._lengths))
        return steps


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


def _is_last(place: int) -> int:
    return int(_WITHIN <= place < END)


def _steps(place: int, count: int, lengths: Lengths) -> list[Step]:
    if not count:
        return [Step(0, place, 0, 0, 0, False)]
    steps = []
    for kind, after, bit in _half_bits(place):
        outside = int(place in (RUN, END) and kind)
        for rest in _steps(after, count - 1, lengths):
            shift, bits = rest.shift, rest.bits
            if bit is not None:
                shift, bits = shift + 1, bit << shift | bits
            length = lengths.half(kind, _is_last(place)) + rest.length
            steps.append(Step(length, rest.place, shift, bits, outside + rest.ones, not kind or rest.zeros))
    return steps
