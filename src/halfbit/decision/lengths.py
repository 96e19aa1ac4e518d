"""How long the station's half-bits are: learned from packets that were read, never assumed.

A sound station's ones last 55 to 61 us a half, its zeros 95 us and more, and the halves of a bit may differ (S-9.1 A,
table 1); a capture's clock may be off on top.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import fmean
from typing import NamedTuple

from ..limits import US

__all__ = ["Lengths", "Span", "learned"]

#: What a zero's half is longer than a typical one by, beside lateness, to count as stretched, ns.
STRETCHED = 8 * US


class Lengths(NamedTuple):
    """Half-bits as this station sends them and this clock counts them, ns."""

    #: Half of a one-bit. Its halves differ by ``one_difference``, the first less the last.
    one: int
    zero_first: int
    zero_last: int
    one_difference: int = 0
    #: Share of the zeros that are stretched beyond that, 0 to 1.
    stretched: float = 0.0

    def half(self, kind: int, last: bool) -> int:
        """A half-bit of a kind, 1 or 0, the first or the last of its bit."""
        if kind:
            return self.one
        return self.zero_last if last else self.zero_first


class Span(NamedTuple):
    """A packet's bits from the start bit to the end bit, and the durations of their half-bits, ns."""

    bits: Sequence[int]
    durations: Sequence[int]


def learned(spans: Iterable[Span], late: int) -> Lengths | None:
    """The lengths of the half-bits of some packets; None if there are no packets.

    :param late: from a change to when it is seen, the longest time less the shortest, ns.
    """
    first: list[tuple[int, int]] = []
    halves: tuple[list[int], list[int], list[int], list[int]] = ([], [], [], [])
    for span in spans:
        for bit, first_half, last_half in zip(span.bits, span.durations[::2], span.durations[1::2]):
            halves[2 * bit].append(first_half)
            halves[2 * bit + 1].append(last_half)
    zero_first, zero_last, one_first, one_last = halves
    if not one_first or not zero_first:
        return None
    limit = round(1.5 * late) + STRETCHED
    most = [sorted(zeros)[len(zeros) // 4] + limit for zeros in (zero_first, zero_last)]
    plain = [(a, b) for a, b in zip(zero_first, zero_last) if a <= most[0] and b <= most[1]]
    if not plain:
        plain = list(zip(zero_first, zero_last))
    return Lengths(
        one=round(fmean(one_first + one_last)),
        zero_first=round(fmean(a for a, _ in plain)),
        zero_last=round(fmean(b for _, b in plain)),
        one_difference=round(fmean(one_first) - fmean(one_last)),
        stretched=1 - len(plain) / len(zero_first),
    )
