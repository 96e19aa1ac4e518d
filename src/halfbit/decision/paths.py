"""One reading of a row of changes, and the packets it ended with: what :mod:`.reader` follows side by side."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from math import log
from operator import itemgetter
from typing import NamedTuple

from ..limits import US
from .costs import BEAM, MOST, SURELY
from .steps import RUN

__all__ = [
    "LOGS", "Found", "Reading", "Trail", "and_assumed", "and_dropped", "and_found", "by_cost", "distinct", "has",
    "to_follow", "widened",
]  # fmt: skip

#: Two ends within this time, ns, belong to the same packet.
NEAR = 1000 * US
#: Up to this uncertainty, us, logarithms are kept.
_KEPT = 1024


class _Logs(dict[int, float]):
    """The uncertainty in nepers of a change that is known to within a number of us."""

    def __missing__(self, us: int) -> float:
        value = log(us + 1)
        if us < _KEPT:
            self[us] = value
        return value


LOGS = _Logs()


class Found(NamedTuple):
    """A packet at the end of a reading."""

    data: bytes
    preamble: int
    #: Start of the run of one-bits before it, and end of its end bit, ns.
    run_start: int
    end: int
    how: int
    #: Cost of the packet, and cost of the whole reading at its end, nepers.
    cost: float
    total: float
    #: How much more the next best reading cost, nepers; below MARGIN if the packet is not clear.
    margin: float = 0.0


class Trail(NamedTuple):
    """The history of a reading."""

    #: Start of the run of one-bits before the present packet, ns, and number of one-bits in it.
    run_start: int
    preamble: int = 0
    #: Errors assumed since then (flags of :class:`How`), and the cost when the packet started.
    how: int = 0
    cost: float = 0.0
    #: Packets of this reading that are not decided yet.
    found: tuple[Found, ...] = ()
    #: By how much readings dropped since the last decision cost more than this one, nepers: the least.
    dropped: float = SURELY


#: One reading of the changes so far: its cost; its place; a value (in a run: the number of one-halves; in a packet: a
#: one followed by the bits so far); the earliest and latest true time of the last change, ns; and the trail. It is a
#: plain tuple for speed, because thousands are made for each packet.
Reading = tuple[float, int, int, int, int, Trail]

by_cost: itemgetter[int] = itemgetter(0)


def distinct(readings: Iterable[Reading], early: int) -> list[Reading]:
    """The readings without those that differ only in what they assume from one before them.

    :param early: earliest possible time of the last change, ns. A change before that is seen too late.
    """
    seen: dict[tuple[int, int, bytes, bool, bool], Reading] = {}
    for reading in readings:
        found = reading[5].found
        # A reading with an error may be wrong about the lateness, so it is not the same as one without.
        key = reading[1], reading[2], found[-1].data if found else b"", reading[4] < early, reading[5].how > 0
        seen.setdefault(key, reading)
    return [*seen.values()]


def to_follow(readings: Sequence[Reading], rival: float) -> int:
    """The number of readings to follow, if they are sorted by cost.

    :param rival: readings that cost at most this much more than the best are rivals, nepers.
    """
    least, count = readings[0][0], len(readings)
    if count <= BEAM and readings[-1][0] <= least + SURELY:
        return count
    kept = bisect_right(readings, least + SURELY, hi=min(count, BEAM), key=by_cost)
    if count > BEAM:
        kept = max(kept, bisect_right(readings, least + rival, hi=min(count, MOST), key=by_cost))
    return kept


def and_assumed(trail: Trail, how: int) -> Trail:
    return Trail(trail.run_start, trail.preamble, trail.how | how, trail.cost, trail.found, trail.dropped)


def and_dropped(reading: Reading, dropped: float) -> Reading:
    """The reading after another was dropped that cost ``dropped`` nepers."""
    trail = reading[5]
    margin = dropped - reading[0]
    return reading if margin >= trail.dropped else (*reading[:5], Trail(*trail[:5], margin))


def and_found(trail: Trail, run_start: int, found: Found) -> Trail:
    """The history after a packet; its end bit may start the next run of one-bits."""
    return Trail(run_start, found=(*trail.found, found), dropped=trail.dropped)


def widened(reading: Reading, low: int, high: int) -> Reading:
    """The reading; in a run, the last change may also have happened from ``low`` to ``high``, ns."""
    return reading if reading[1] != RUN else (*reading[:3], min(reading[3], low), max(reading[4], high), reading[5])


def has(reading: Reading, packet: Found) -> bool:
    found = reading[5].found
    return bool(found) and found[0].data == packet.data and abs(found[0].end - packet.end) < NEAR
