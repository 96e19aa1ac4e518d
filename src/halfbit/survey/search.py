"""Finds the limits that read a capture best: a list of candidates, one score for all, and one choice.

Simple limits are tried first. If none of them reads everything, the decision by sequence is tried on a part of the
capture, with the latencies and the long turns that loops can have. It learns the station's lengths by itself, and it
reads well with any latency near the right one. The best of these are tried on everything. The packets then show the
capture's true latency (:mod:`.fit`), and so do those that simple limits read. Limits for these latencies are tried too.

The score is the share of the time that is in packets. The simplest limits near the best score are chosen.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate
from operator import sub

import attrs

from ..error import HalfbitError
from ..limits import RECEIVE, US, Limits
from .fit import Fit, fitted
from .trial import TIE, Rows, Trial, behind_filter, tried

__all__ = ["Search", "best_first", "pulse_of"]

#: Number of durations in a row that are surely ones somewhere: the shortest preamble that a decoder may
#: accept has ten one-bits (S-9.2 A), which are ten durations if only one edge was captured.
PREAMBLE = 10
#: Mean durations of a preamble, ns: for half-bits, and for whole bits. Changes recorded twice make it shorter.
HALVES = range(15 * US, 85 * US)
BITS = range(95 * US, 145 * US)
#: Latencies that are tried, ns: exact inputs, jitter, loops; in loops with long turns; if only one edge was captured. A
#: loop slower than the last one misses both changes of a one-bit.
LATENCIES = tuple(us * US for us in (3, 12, 20, 30, 42, 56, 68))
WITH_TURNS = tuple(us * US for us in (6, 12, 20, 30, 42, 56))
ONE_EDGE = tuple(us * US for us in (3, 12, 30))
#: Long turns of a loop that are tried, ns: first with all latencies; a shorter and a longer one with the best.
TURN = 120 * US
TURNS = (80 * US, 150 * US)
#: Number of durations for the first trials by sequence: about 40 packets.
PART = 4096
#: Of those, the best are tried on everything: this number, if their scores are within this of the best.
BEST = 2
NEAR = 0.05
#: With long turns, other latencies than the measured one must score better by this, 0 to 1.
MUCH = 0.1
#: Up to here, ns, a whole one-bit and a whole zero-bit can be told apart: half of 116 to 200 us (S-9.1 A, table 1,
#: nominal values), and what a fit may be off.
SUMS_MAX = 44 * US
#: Simple limits are tried with recovery if they read at least this share of the time without, 0 to 1.
MOST = 0.3
#: Durations below this, ns, are not half-bits in any readable capture. They are noise.
NOISE = 15 * US
#: Filters tried against noise, ns.
FILTERS = (5 * US, 10 * US, 20 * US)
#: A filter must give more packets than this, because single spikes are not worth one.
SPIKES = 2
#: Durations of zeros, ns, whatever the latency, to find a part of the capture with packets.
ZEROS = range(75 * US, 12_000 * US)


#: The name of the standard's limits.
STRICT = "halves, as a decoder must accept them"


@attrs.frozen
class Search:
    """The limits tried, and the signal's values found with them."""

    #: The trials, the best first.
    trials: tuple[Trial, ...]
    fit: Fit | None
    #: Smallest mean of :data:`PREAMBLE` durations in a row, ns: a one's half, or a whole one-bit if only
    #: one edge was captured.
    pulse: int

    @classmethod
    def of(cls, stretches: Rows, *, filters: bool = True, thorough: bool = True) -> Search:
        """Try limits on stretches of durations, ns.

        :param filters: True to try noise filters too.
        :param thorough: True to continue even if simple limits read everything.
        """
        pulse = pulse_of(stretches)
        trials: list[Trial] = []
        for trial in _trials(stretches, pulse, filters):
            trials.append(trial)
            if trial.complete and not thorough:
                break
        trials = best_first(trials)
        return cls(tuple(trials), fitted(trials[0]), pulse)


def best_first(trials: Sequence[Trial]) -> list[Trial]:
    """Sort trials by score, the best first. Nearly equal trials keep their order, simple ones first."""
    left = list(trials)
    ordered = []
    while left:
        most = max(trial.score for trial in left)
        chosen = next(trial for trial in left if trial.score >= most - TIE)
        left.remove(chosen)
        ordered.append(chosen)
    return ordered


def pulse_of(stretches: Rows) -> int:
    """Smallest mean of :data:`PREAMBLE` durations in a row, ns; 0 if there are too few."""
    totals = [list(accumulate(stretch, initial=0)) for stretch in stretches if len(stretch) >= PREAMBLE]
    return min((min(map(sub, each[PREAMBLE:], each)) // PREAMBLE for each in totals), default=0)


def _trials(stretches: Rows, pulse: int, filters: bool) -> Iterator[Trial]:
    """All trials, simple limits first."""
    one_edge = pulse in BITS
    simple = [tried(STRICT, RECEIVE, stretches)]
    yield simple[0]
    if not one_edge and pulse >= HALVES.stop:
        return
    rows = {0: stretches}
    if not one_edge:
        simple += _simple(stretches)
        yield from simple[1:]
        minimum, others = _filter(stretches, simple) if filters else (0, [])
        if minimum:
            rows[minimum] = [stretch.durations for stretch in others[0].stretches]
            yield from others
            simple += others
    rough: list[Trial] = []
    for minimum, row in rows.items():
        if one_edge or pulse_of(row) in HALVES:
            rough += _by_sequence(row, minimum, one_edge)
    # If changes are missing, a sequence may be read with far too much latency. Packets that simple limits read have all
    # their changes, so they show the true one.
    plain, best = best_first(simple)[0], best_first(simple + rough)[0]
    measured = 0.0
    for trial in [plain, best] if plain is not best and plain.score >= MOST else [best]:
        fit = fitted(trial)
        for fitting in () if fit is None else _fitting(fit, trial, simple, rows[trial.filter]):
            measured = max(measured, fitting.score * bool(fitting.limits.latency_rare))
            yield fitting
    # With long turns and too much latency, more wrong readings fit. So the measured latency is better.
    yield from (trial for trial in rough if not trial.limits.latency_rare or trial.score > measured + MUCH)


def _simple(stretches: Rows, minimum: int = 0) -> Iterator[Trial]:
    """Trials of limits that need no latency, and recover nothing."""
    try:
        limits = Limits.fitted(duration for stretch in stretches for duration in stretch)
        yield tried("halves, windows fitted", limits, stretches, minimum)
    except HalfbitError:
        pass  # no gap between ones and zeros: the decision by sum may still work
    sums = tried("sums", attrs.evolve(Limits.for_sampling_period(42), recover=False), stretches, minimum)
    fit = fitted(sums)
    if fit is not None and fit.late <= SUMS_MAX:
        yield sums


def _filter(stretches: Rows, plain: Sequence[Trial]) -> tuple[int, list[Trial]]:
    """The noise filter that gives the best trials with simple limits, ns, and these trials; 0 if no filter helps."""
    best: tuple[int, list[Trial]] = 0, list(plain)
    if any(duration < NOISE for stretch in stretches for duration in stretch):
        for minimum in FILTERS:
            row = behind_filter(stretches, minimum)
            trials = [tried(STRICT, RECEIVE, row, minimum), *_simple(row, minimum)]
            before, after = best_first(best[1])[0], best_first(trials)[0]
            if after.score > before.score + TIE and after.packets > before.packets + SPIKES * (not best[0]):
                best = minimum, trials
    return best


def _by_sequence(stretches: Rows, minimum: int, one_edge: bool) -> list[Trial]:
    """The best trials by sequence; long turns are tried only if packets are lost without."""
    part = _part(stretches)

    def on_part(latency: int, turn: int, patient: bool = False) -> Trial:
        limits = Limits(decision="sequence", latency_max=latency, latency_rare=turn, one_edge=one_edge)
        return tried("", limits, part, patient=patient)

    def on_all(trials: Sequence[Trial]) -> list[Trial]:
        ordered = best_first(trials)[:BEST]
        chosen = [trial for trial in ordered if trial.packets and trial.score >= ordered[0].score - NEAR]
        whole = chosen if part == stretches else [tried("", trial.limits, stretches) for trial in chosen]
        return [attrs.evolve(trial, name=_name(trial.limits), filter=minimum) for trial in whole]

    trials: list[Trial] = []
    for latency in ONE_EDGE if one_edge else LATENCIES:
        trials.append(on_part(latency, 0))
        if trials[-1].complete:
            break
    found = on_all(trials)
    if one_edge or any(trial.complete for trial in found):
        return found
    turns = [on_part(latency, TURN) for latency in WITH_TURNS[:-1]]
    # Some packets, seldom right, show that a loop is too slow.
    turns.append(on_part(WITH_TURNS[-1], TURN, patient=not any(trial.packets for trial in turns)))
    # With more latency than the loop has, more wrong readings fit.
    best = next(trial for trial in turns if trial.score >= best_first(turns)[0].score - NEAR)
    shorter, longer = (on_part(best.limits.latency_max, turn) if best.packets else best for turn in TURNS)
    return found + on_all([shorter, best, longer])


def _name(limits: Limits) -> str:
    turns = f", long turns of {limits.latency_rare / US:.0f} us" if limits.latency_rare else ""
    return f"sequence, changes up to {limits.latency_max / US:.1f} us late{turns}"


def _fitting(fit: Fit, best: Trial, simple: Sequence[Trial], stretches: Rows) -> Iterator[Trial]:
    """Trials with the latency that the best trial's packets show, simple limits first. They recover lost packets."""
    # The changes of a preamble do not show the whole latency.
    late, usual = (min(each + each // 16 + US // 2, LATENCIES[-1]) for each in (fit.late, fit.usual))
    for trial in simple:
        if trial.filter == best.filter and trial.score >= MOST:
            limits = attrs.evolve(trial.limits, recover=True, latency_max=late)
            yield tried(f"{trial.name}, with recovery", limits, stretches, best.filter)
    turns = fit.latency_rare > fit.one and not best.limits.one_edge  # shorter turns hide no half
    for latency, turn in ((late, 0), (usual, fit.latency_rare))[: 1 + turns]:
        limits = Limits(decision="sequence", one_edge=best.limits.one_edge, latency_max=latency, latency_rare=turn)
        yield tried(_name(limits), limits, stretches, best.filter, patient=False)


def _part(stretches: Rows) -> list[Sequence[int]]:
    """The part of the capture that holds the most zeros, so that it surely holds packets."""
    parts = [row[at : at + PART] for row in stretches for at in range(0, max(len(row) - PART // 2, 1), PART)]
    return [max(parts, key=lambda part: sum(duration in ZEROS for duration in part))]
