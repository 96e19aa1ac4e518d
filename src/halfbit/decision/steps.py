"""What half-bits may follow where: the framing of S-9.2 A as tables, for readings that are followed side by side.

The core's layer 4 makes sense of whatever comes. A reading is the other way round: it assumes bits, and the times must
fit. So it only has to know which half-bits may come next, and how long they last together. A place says that:

- ``RUN``: among one-bits, before a packet;
- ``before(bit)``: before a bit of a packet. Bit 0 is the one between bytes (a zero: another byte follows, a one: the packet
  ends), bits 1 to 8 are a byte's;
- ``within(bit, kind)``: between that bit's halves, of which the first was of that kind;
- ``END``: behind the packet end bit.
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
    return _BEFORE + bit


def within(bit: int, kind: int) -> int:
    return _WITHIN + 2 * bit + kind


WITHIN_END_BIT = within(0, 1)


class Step(NamedTuple):
    """Some half-bits in a row."""

    #: How long they last, ns.
    length: int
    #: Where they lead to.
    place: int
    #: How many bits of bytes they complete, and these.
    shift: int
    bits: int
    #: Halves of ones outside of a packet among them: in a run, or behind an end bit.
    ones: int
    #: True if there are halves of zeros among them: then they may last longer.
    zeros: bool


class Steps(dict[int, tuple[Step, ...]]):
    """For each place, the ways in which so many half-bits can follow; worked out when a place is first asked for."""

    def __init__(self, count: int, lengths: Lengths) -> None:
        super().__init__()
        self._count = count
        self._lengths = lengths

    def __missing__(self, place: int) -> tuple[Step, ...]:
        self[place] = steps = tuple(_steps(place, self._count, self._lengths))
        return steps


def _half_bits(place: int) -> tuple[tuple[int, int, int | None], ...]:
    """The half-bits that may follow: kind, where it leads to, and the bit of a byte that it completes."""
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
