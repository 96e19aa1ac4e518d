"""Packets given held against packets sent, and how sure the counts are."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence

import attrs

__all__ = ["TOLERANCE", "Score", "False_", "most_false", "score", "wilson"]

#: How far the end of a packet given may be from where it was sent, ns. The shortest packet lasts over 4 ms, so no two
#: can be mixed up; a cutout (S-9.3.2, from memory: 488 us) may be counted to the end bit, a loop's long turn on top.
TOLERANCE = 1_000_000

#: z of a two-sided bound of 95 %.
Z = 1.959964


@attrs.frozen
class False_:
    """A packet that was given and not sent."""

    data: bytes
    end: int
    #: The packet that was sent there; empty between packets, or if it has been given already.
    sent: bytes


@attrs.frozen
class Score:
    """What became of the packets sent."""

    sent: int
    right: int
    false: tuple[False_, ...]
    #: Indices of the packets sent that were not given.
    lost: tuple[int, ...]
    #: The largest distance of a right packet's end from where it was sent, ns.
    worst: int


def score(sent: Sequence[tuple[bytes, int, int]], given: Sequence[tuple[bytes, int, int]]) -> Score:
    """Match packets given to packets sent.

    A packet is right if its bytes are those sent at that time, in that order, and it is given once. Others are false.

    :param sent: bytes, start and end in ns, in order.
    :param given: the same of what was decoded.
    """
    ends = [end for _, _, end in sent]
    taken: set[int] = set()
    false = []
    latest, worst = -1, 0
    for data, _, end in given:
        index = _nearest(ends, end)
        off = abs(ends[index] - end) if index >= 0 else TOLERANCE + 1
        if off <= TOLERANCE and sent[index][0] == data and index > latest:
            taken.add(index)
            latest, worst = index, max(worst, off)
        else:
            there = off <= TOLERANCE and index not in taken
            false.append(False_(data, end, sent[index][0] if there else b""))
    lost = tuple(index for index in range(len(sent)) if index not in taken)
    return Score(len(sent), len(taken), tuple(false), lost, worst)


def _nearest(ends: Sequence[int], end: int) -> int:
    """The index of the end nearest to this one; -1 if there are none."""
    after = bisect_left(ends, end)
    near = [index for index in (after - 1, after) if 0 <= index < len(ends)]
    return min(near, key=lambda index: abs(ends[index] - end), default=-1)


def wilson(hits: int, trials: int, z: float = Z) -> tuple[float, float]:
    """Bounds of a share, 95 % (E. B. Wilson, Probable inference, J. Am. Stat. Assoc. 22, 1927; from memory)."""
    if not trials:
        return 0.0, 1.0
    share = hits / trials
    middle = share + z * z / (2 * trials)
    spread = z * math.sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials))
    scale = 1 + z * z / trials
    return max((middle - spread) / scale, 0.0), min((middle + spread) / scale, 1.0)


def most_false(false: int, trials: int, chance: float = 0.05) -> float:
    """The highest rate with which so few false packets come by at least this chance: the exact upper bound, one-sided.

    For 0 of n that is 1 - 0.05 ** (1 / n), the rule of three (C. J. Clopper, E. S. Pearson, The use of confidence or
    fiducial limits, Biometrika 26, 1934; from memory).
    """
    if not trials or false >= trials:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(60):
        rate = (low + high) / 2
        if _at_most(false, trials, rate) > chance:
            low = rate
        else:
            high = rate
    return high


def _at_most(hits: int, trials: int, rate: float) -> float:
    """The chance of that number of hits or fewer (binomial)."""
    if rate <= 0:
        return 1.0
    if rate >= 1:
        return 0.0
    total = 0.0
    for count in range(hits + 1):
        ways = math.lgamma(trials + 1) - math.lgamma(count + 1) - math.lgamma(trials - count + 1)
        total += math.exp(ways + count * math.log(rate) + (trials - count) * math.log1p(-rate))
    return total
