"""What a capture looks like: its durations, the signal behind them, and which limits read it best.

A survey keeps a histogram of all durations and some stretches of them, so its memory is constant. On
the stretches it tries limits; from the packets they read it learns how long this station's bits are
and how late the capture sees its changes (:mod:`halfbit.survey.fit`), and tries limits made
for that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import Any

import attrs

from ..edge import Edge, Edges, edges_from_durations
from ..capture.filter import filtered
from ..error import HalfbitError
from ..limits import RECEIVE, US, Limits
from .fit import Fit, fitted
from .histogram import Histogram, Shares
from .search import BITS, HALVES, Search, best_first
from .stretch import LENGTH, NUMBER, Stretches
from .tick import tick_of
from .trial import Trial, preambles, tried
from .verdict import COARSE, Finding, Verdict, verdict_of

__all__ = [
    "Finding",
    "Fit",
    "Shares",
    "Survey",
    "Trial",
    "Verdict",
    "auto_limits",
    "look_ahead",
    "survey",
]

#: Durations below this, ns, are no half-bits, however coarse a capture that can be read.
NOISE = 15 * US
#: Filters tried against them, ns.
FILTERS = (5 * US, 10 * US, 20 * US)
#: Filters are worth while where they give more packets by this share, 0 to 1: one spike is no noise.
WORTH = 0.005
#: Limits that read less than this share of the time may do so by chance: perhaps the unit is wrong.
DOUBTFUL = 0.3
#: Factors between units of time.
UNITS = (1e-9, 1e-6, 1e-3, 1e3, 1e6, 1e9)


@attrs.frozen
class Survey:
    """What a capture looks like. Times in ns."""

    #: Durations between changes, and what they last together.
    half_bits: int
    length: int
    #: How many durations there are from ``i`` us up to less than ``i + 1``.
    histogram: tuple[int, ...] = attrs.field(repr=False)
    #: How many are longer than that.
    longer: int
    #: Where they lie among the windows of ``RECEIVE``.
    shares: Shares
    #: The step in which times come; 0 where none shows.
    tick: float
    #: What the packets read say about the signal; ``None`` where too few were.
    fit: Fit | None
    #: How many packets came behind a preamble of each length, one-bits; 255 stands for that and more.
    preambles: dict[int, int]
    #: What limits made of the stretches kept, the best first.
    trials: tuple[Trial, ...]
    #: What to filter by before anything else, see :func:`halfbit.edge_filter.filtered`; 0 for nothing.
    #: The trials were made behind that filter.
    filter: int
    #: By what all times must be multiplied to make a signal, where the unit is wrong; else 1.
    factor: float
    verdict: Verdict

    @property
    def limits(self) -> Limits:
        """The best limits; ``RECEIVE`` if no limits read more packets than chance would.

        If they lose some, what they lose is read again by sequence.
        """
        if not self.verdict.finding.readable:
            return RECEIVE
        best = self.trials[0]
        recover = best.limits.recover or best.faults > 0 and best.limits.decision != "sequence"
        return attrs.evolve(best.limits, recover=recover)


def survey(edges: Iterable[Edge], *, thorough: bool = True) -> Survey:
    """Look at a capture.

    :param edges: gone through once; :class:`halfbit.Edges` are taken in bulk.
    :param thorough: try all limits; without it none once simple ones read all there is. The best are
        the same.
    """
    surveyor = _Surveyor()
    for durations, scale in _durations(edges):
        surveyor.add(durations, scale)
    return surveyor.survey(thorough)


def auto_limits(edges: Iterable[Edge]) -> Limits:
    """The limits that fit a capture best, from a survey of it.

    The edges are gone through. Where they can be so only once, use :func:`look_ahead`.
    """
    return survey(edges, thorough=False).limits


def look_ahead(
    edges: Edges, *, seconds: float = 3.0, thorough: bool = False
) -> tuple[Survey, Edges]:
    """A survey of how a capture begins, and the whole capture again: for a live source.

    Takes the durations of so many seconds from the source, or as many as a survey keeps; what is given back
    gives them again, and then goes on with the source.

    :param seconds: of the signal's own time.
    :param thorough: as :func:`survey`'s.
    :raises HalfbitError: if that is not above 0.
    """
    if not seconds > 0:
        raise HalfbitError(f"seconds: {seconds!r} is no time above 0")
    surveyor = _Surveyor()
    taken = []
    source = edges._rows()
    for durations, scale in source:
        taken.append((durations, scale))
        surveyor.add(durations, scale)
        if surveyor.histogram.length >= seconds * 1e9 or surveyor.histogram.count >= NUMBER * LENGTH:
            break
    return surveyor.survey(thorough), _Replayed(taken, source)


class _Replayed(Edges):
    """Durations taken from a source already, and the rest of it. Can be gone through once."""

    def __init__(self, taken: list[tuple[Sequence[int], int]], rest: Iterator[tuple[Sequence[int], int]]) -> None:
        self._source: Iterator[tuple[Sequence[int], int]] | None = chain(taken, rest)

    def __iter__(self) -> Iterator[Edge]:
        now, level = 0, 1
        yield Edge(now, level)
        for durations, scale in self._rows():
            for duration in durations:
                now += duration * scale
                level = 1 - level
                yield Edge(now, level)

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        source, self._source = self._source, None
        if source is None:
            raise HalfbitError("edges that were looked ahead of can be gone through only once")
        return source


class _Surveyor:
    """Takes durations; gives the survey of them."""

    def __init__(self) -> None:
        self.histogram = Histogram(RECEIVE)
        self._stretches = Stretches()

    def add(self, durations: Sequence[int], scale: int) -> None:
        self.histogram.add(durations, scale)
        self._stretches.add(durations, scale)

    def survey(self, thorough: bool) -> Survey:
        stretches = self._stretches.kept()
        tick = tick_of(duration for stretch in stretches for duration in stretch)
        minimum = _filter_for(stretches) if tick < COARSE else 0
        search = Search.of(_filtered(stretches, minimum), thorough=thorough)
        trials = best_first(search.trials)
        factor = 1.0
        if trials[0].share < DOUBTFUL:
            factor = _factor_for(stretches, search.pulse, trials[0].packets)
        histogram = self.histogram
        return Survey(
            half_bits=histogram.count,
            length=histogram.length,
            histogram=tuple(histogram.bins),
            longer=histogram.longer,
            shares=histogram.shares,
            tick=tick,
            fit=search.fit,
            preambles=preambles(trials[0]),
            trials=tuple(trials),
            filter=minimum,
            factor=factor,
            verdict=verdict_of(histogram, search, tick, minimum, factor),
        )


def _durations(edges: Iterable[Edge]) -> Iterator[tuple[Sequence[int], int]]:
    if isinstance(edges, Edges):
        yield from edges._rows()
        return
    before: Edge | None = None
    for edge in edges:
        if before is not None:
            yield (edge.time - before.time,), 1
        before = edge


def _filtered(stretches: Sequence[Sequence[int]], minimum: int) -> list[list[int]]:
    if not minimum:
        return [list(stretch) for stretch in stretches]
    rows: list[list[int]] = []
    for stretch in stretches:
        row: list[int] = []
        for durations, scale in filtered(edges_from_durations(stretch, "ns"), minimum, "ns")._rows():
            row += [duration * scale for duration in durations]
        rows.append(row)
    return rows


def _filter_for(stretches: Sequence[Sequence[int]]) -> int:
    """The filter behind which most packets can be read, ns; 0 where none is much better than none."""
    if not any(duration < NOISE for stretch in stretches for duration in stretch):
        return 0
    plain = _readable(stretches)
    behind = [_readable(_filtered(stretches, minimum)) for minimum in FILTERS]
    if max(behind) - plain <= max(1, plain * WORTH):
        return 0
    return FILTERS[behind.index(max(behind))]


def _readable(stretches: Sequence[Sequence[int]]) -> int:
    """How many packets simple limits read."""
    packets = tried("", RECEIVE, stretches).packets
    try:
        limits: Any = Limits.fitted(duration for stretch in stretches for duration in stretch)
    except HalfbitError:
        return packets
    return max(packets, tried("", limits, stretches).packets)


def _factor_for(stretches: Sequence[Sequence[int]], pulse: int, packets: int) -> float:
    """By what to multiply all times to make a signal of them, of more packets; 1 where nothing does."""
    if pulse <= 0:
        return 1.0
    factor = 58 * US / pulse  # the shortest row of pulses is one of ones (S-9.1 A, table 1: nominal 58 us)
    factor = min(UNITS, key=lambda unit: abs(unit / factor - 1)) if _near_unit(factor) else factor
    scaled = [[round(duration * factor) for duration in stretch] for stretch in stretches]
    return factor if abs(factor - 1) > 0.1 and _readable(scaled) > packets else 1.0


def _near_unit(factor: float) -> bool:
    return any(0.8 < unit / factor < 1.25 for unit in UNITS)
