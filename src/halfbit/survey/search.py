"""Tries limits on a capture and finds the best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate
from operator import sub

import attrs

from ..error import HalfbitError
from ..limits import RECEIVE, US, Limits
from .fit import Fit, fitted
from .trial import Trial, tried

__all__ = ["Search", "best_first", "pulse_of"]

#: Number of durations in a row that are surely ones somewhere: the shortest preamble that a decoder may
#: accept has ten one-bits (S-9.2 A), which are ten durations if only one edge was captured.
PREAMBLE = 10
#: Mean durations of a preamble, ns: for half-bits, and for whole bits.
HALVES = range(40 * US, 85 * US)
BITS = range(95 * US, 145 * US)
#: Number of durations for first readings by sequence, which are slow.
FIRST = 8192
#: The same if many readings are guessed.
GUESS = 3072
#: Up to here, ns, a whole one-bit and a whole zero-bit can be told apart: half of 116 to 200 us (S-9.1 A, table 1,
#: nominal values), and what a fit may be off.
SUMS_MAX = 44 * US
#: Simpler limits are preferred if they lose at most this share of the best limits' packets, 0 to 1.
TIE = 0.001


@attrs.frozen
class Search:
    """The limits tried, and the signal's values found with them."""

    #: The trials, simple limits first.
    trials: tuple[Trial, ...]
    fit: Fit | None
    #: Smallest mean of :data:`PREAMBLE` durations in a row, ns: a one's half, or a whole one-bit if only
    #: one edge was captured.
    pulse: int

    @classmethod
    def of(cls, stretches: Sequence[Sequence[int]], *, thorough: bool = True) -> Search:
        """Try limits on stretches of durations, ns.

        :param thorough: True to continue even if simple limits read everything.
        """
        pulse = pulse_of(stretches)
        trials = [tried("halves, as a decoder must accept them", RECEIVE, stretches)]
        fit = fitted(trials[0])
        if fit is not None and trials[0].complete and not thorough:
            return cls(tuple(trials), fit, pulse)
        first = trials
        if fit is None or not trials[0].complete:
            first = [trials[0], *_first_readings(stretches, pulse)]
            fit = max(_fits(first), key=lambda fit: fit.packets, default=None)
        if fit is None:
            return cls(tuple(best_first(first)[:1]), None, pulse)
        one_edge = pulse in BITS
        for round in range(2):
            trials = [trials[0]]
            for name, limits in _fitting(fit, one_edge):
                trials.append(tried(name, limits, stretches))
                if trials[-1].complete and not thorough:
                    break
            before, fit = fit, fitted(best_first(trials)[0]) or fit
            # The first fit may be bad because it was made with wrong lengths. Repeat it with the right ones.
            if abs(before.one - fit.one) + abs(before.zero - fit.zero) < US // 2 and before.late <= 1.1 * fit.late:
                break
        return cls(tuple(trials), fit, pulse)


def best_first(trials: Sequence[Trial]) -> list[Trial]:
    """Sort trials by number of packets, most first. Nearly equal trials keep their order, simple ones first."""
    left = list(trials)
    ordered = []
    while left:
        most = max(trial.packets for trial in left)
        chosen = next(trial for trial in left if trial.packets >= most * (1 - TIE))
        left.remove(chosen)
        ordered.append(chosen)
    return ordered


def pulse_of(stretches: Sequence[Sequence[int]]) -> int:
    """Smallest mean of :data:`PREAMBLE` durations in a row, ns; 0 if there are too few."""
    means = [
        min(map(sub, totals[PREAMBLE:], totals)) // PREAMBLE
        for stretch in stretches
        if len(stretch) >= PREAMBLE
        for totals in [list(accumulate(stretch, initial=0))]
    ]
    return min(means, default=0)


def _fits(trials: Sequence[Trial]) -> Iterator[Fit]:
    for trial in trials:
        fit = fitted(trial)
        if fit is not None:
            yield fit


def _first_readings(stretches: Sequence[Sequence[int]], pulse: int) -> list[Trial]:
    """First readings with guessed limits, to learn better limits from."""
    few = [stretch[:FIRST] for stretch in stretches[:1]]
    if pulse in BITS:
        return [tried("one edge", _guessed_bits(stretches, pulse), few)]
    if pulse not in HALVES:
        return []
    trials = []
    try:
        limits = Limits.fitted(duration for stretch in stretches for duration in stretch)
        trials.append(tried("halves", limits, stretches))
    except HalfbitError:
        pass  # no gap between ones and zeros: the decision by sum may still work
    trials.append(tried("sums", attrs.evolve(Limits.for_sampling_period(42), recover=False), stretches))
    if not any(True for _ in _fits(trials)) and any(max(stretch) > 70 * US for stretch in few):
        few = [stretch[:GUESS] for stretch in few]
        trials.append(tried("sequence", Limits(decision="sequence", latency_max=56 * US), few))
    return trials


def _guessed_bits(stretches: Sequence[Sequence[int]], pulse: int) -> Limits:
    """Limits for durations that are whole bits, guessed from the durations."""
    durations = sorted(duration for stretch in stretches for duration in stretch)
    ones = [duration for duration in durations if pulse * 4 // 5 < duration < pulse * 6 // 5]
    spread = ones[len(ones) * 199 // 200] - ones[len(ones) // 200]
    return attrs.evolve(Limits.for_one_edge(), latency_max=spread + 2 * US)


def _fitting(fit: Fit, one_edge: bool) -> Iterator[tuple[str, Limits]]:
    """Limits that follow from a fit, simple ones first."""
    middle = (fit.one + fit.zero) // 2
    late = fit.late + fit.late // 50 + US // 2
    nominal = Limits(
        one_difference=None,
        latency_max=late,
    )
    if not one_edge:
        low = max(fit.one - max(late, 6 * US), 1)
        halves = attrs.evolve(nominal, one_min=low, one_max=middle, zero_min=middle + 1)
        yield "halves, windows fitted", halves
        if late <= SUMS_MAX:
            # In the decision by sum, one_min only excludes durations that are too short for a bit.
            yield "sums", attrs.evolve(halves, one_min=max(fit.one - late // 2, 1), decision="sum")
    yield "sequence", attrs.evolve(nominal, decision="sequence", one_edge=one_edge)
    if fit.latency_rare:
        # Only few long turns are seen, so the longest is probably longer.
        rare = fit.latency_rare + fit.latency_rare // 8
        yield "sequence, with long turns", attrs.evolve(
            nominal, decision="sequence", one_edge=one_edge, latency_rare=rare
        )
