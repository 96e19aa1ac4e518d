"""Surveys a capture: the distribution of its durations, the signal, and the limits that read it best.

A survey keeps a histogram of all durations and some stretches of durations, so its memory is constant.
It tries limits on the stretches. From the packets found it learns the lengths of this station's bits
and how late the capture sees the changes (:mod:`halfbit.survey.fit`). Then it tries limits made for
these values.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain

import attrs

from ..edge import Edge, Edges, ReplayedEdges
from ..error import HalfbitError
from ..half_bit import half_bits
from ..limits import RECEIVE, US, Limits
from .fit import Fit, fitted
from .histogram import Histogram, Shares
from .search import Search
from .stretch import LENGTH, NUMBER, Stretches
from .tick import tick_of
from .trial import Stretch, Trial, preambles, tried
from .verdict import COARSE, Finding, Verdict, verdict_of

__all__ = [
    "Finding", "Fit", "Shares", "Stretch", "Survey", "Trial", "Verdict", "auto_limits", "look_ahead", "survey",
]  # fmt: skip

#: If limits read less than this share of the time, 0 to 1, it may be by chance, and the unit may be wrong.
DOUBTFUL = 0.3
#: Factors between units of time, for a wrong unit.
UNITS = (1e-9, 1e-6, 1e-3, 1e3, 1e6, 1e9)


@attrs.frozen
class Survey:
    """The survey of a capture. Times in ns."""

    #: Number of durations between changes, and their total length.
    half_bits: int
    length: int
    #: ``histogram[i]``: number of durations from ``i`` us to less than ``i + 1`` us.
    histogram: tuple[int, ...] = attrs.field(repr=False)
    #: Number of durations that are longer than the histogram.
    longer: int
    #: Shares of the durations inside and outside the windows of ``RECEIVE``.
    shares: Shares
    #: The step of the times, ns; 0 if no step is visible.
    tick: float
    #: The signal's values as measured from the packets; ``None`` if there were too few packets.
    fit: Fit | None
    #: Number of packets by the length of their preamble, in one-bits; 255 means 255 or more.
    preambles: dict[int, int]
    #: Results of the limits on the kept stretches, the best first.
    trials: tuple[Trial, ...]
    #: Minimum for the noise filter, ns, see :func:`halfbit.filtered`; 0 for no filter. The best limits need it.
    filter: int
    #: Factor by which all times must be multiplied, if the unit is wrong; else 1.
    factor: float
    verdict: Verdict

    @property
    def limits(self) -> Limits:
        """The best limits; ``RECEIVE`` if no limits read more packets than chance would."""
        return self.trials[0].limits if self.verdict.finding.readable else RECEIVE


def survey(edges: Iterable[Edge], *, thorough: bool = True) -> Survey:
    """Survey a capture.

    :param edges: read once; :class:`halfbit.Edges` are read in bulk.
    :param thorough: True to try all limits. False to stop once simple limits read everything. The best
        limits are the same.
    :raises HalfbitError: as :func:`halfbit.half_bits`, if single edges are wrong.
    """
    return _surveyor_of(edges).survey(thorough)


def auto_limits(edges: Iterable[Edge]) -> Limits:
    """The limits that fit a capture best, from a survey of it.

    This reads the edges to the end. If they can be read only once, use :func:`look_ahead`.

    Limits cannot ask for a noise filter, so these are the best without one. If changes are noted several times, they
    decide by sequence, which is slower. :func:`survey` also tries filters, see :attr:`Survey.filter`.

    :raises HalfbitError: as :func:`halfbit.half_bits`, if single edges are wrong.
    """
    return _surveyor_of(edges).survey(thorough=False, filters=False).limits


def look_ahead(edges: Edges, *, seconds: float = 3.0, thorough: bool = False) -> tuple[Survey, Edges]:
    """Survey the start of a capture and return the whole capture again. For live sources.

    Takes the first seconds from the source, or as many durations as a survey keeps. The edges returned
    begin with these durations and continue with the source.

    :param seconds: of the signal's own time.
    :param thorough: as in :func:`survey`.
    :raises HalfbitError: if ``seconds`` is not above 0.
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
    return surveyor.survey(thorough), ReplayedEdges(chain(taken, source), "edges that were looked ahead of")


class _Surveyor:
    """Takes durations and makes a survey of them."""

    def __init__(self) -> None:
        self.histogram = Histogram(RECEIVE)
        self._stretches = Stretches()

    def add(self, durations: Sequence[int], scale: int) -> None:
        self.histogram.add(durations, scale)
        self._stretches.add(durations, scale)

    def survey(self, thorough: bool, filters: bool = True) -> Survey:
        stretches = self._stretches.kept()
        tick = tick_of(duration for stretch in stretches for duration in stretch)
        search = Search.of(stretches, filters=filters and tick < COARSE, thorough=thorough)
        best = search.trials[0]
        factor = _factor_for(stretches, search.pulse, best.packets) if best.share < DOUBTFUL else 1.0
        histogram = self.histogram
        return Survey(
            half_bits=histogram.count,
            length=histogram.length,
            histogram=tuple(histogram.bins),
            longer=histogram.longer,
            shares=histogram.shares,
            tick=tick,
            fit=search.fit,
            preambles=preambles(best),
            trials=search.trials,
            filter=best.filter,
            factor=factor,
            verdict=verdict_of(histogram, search, tick, factor),
        )


def _surveyor_of(edges: Iterable[Edge]) -> _Surveyor:
    """All durations of the edges, taken."""
    surveyor = _Surveyor()
    rows = edges._rows() if isinstance(edges, Edges) else (((half.end - half.start,), 1) for half in half_bits(edges))
    for durations, scale in rows:
        surveyor.add(durations, scale)
    return surveyor


def _readable(stretches: Sequence[Sequence[int]]) -> int:
    """Number of packets read with simple limits."""
    packets = tried("", RECEIVE, stretches).packets
    try:
        limits = Limits.fitted(duration for stretch in stretches for duration in stretch)
    except HalfbitError:
        return packets
    return max(packets, tried("", limits, stretches).packets)


def _factor_for(stretches: Sequence[Sequence[int]], pulse: int, packets: int) -> float:
    """The factor for all times that makes more packets readable; 1 if no factor does."""
    if pulse <= 0:
        return 1.0
    factor = 58 * US / pulse  # the shortest row of pulses is one of ones (S-9.1 A, table 1: nominal 58 us)
    factor = next((unit for unit in UNITS if 0.8 < unit / factor < 1.25), factor)
    scaled = [[round(duration * factor) for duration in stretch] for stretch in stretches]
    return factor if abs(factor - 1) > 0.1 and _readable(scaled) > packets else 1.0
