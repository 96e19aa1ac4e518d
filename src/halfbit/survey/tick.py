"""Finds the step of the times: a timer's tick, or a loop's constant period."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

__all__ = ["tick_of"]

#: Rounding error of durations, ns, because times are whole nanoseconds. Values no further apart than this are the same.
ROUNDING = 2
#: Fewest and most different durations from which a step can be found.
FEWEST, MOST = 2, 5000


def tick_of(durations: Iterable[int]) -> float:
    """The step of which all durations are multiples, ns; 0 if no step is found.

    :param durations: whole ns.
    """
    values = _apart(sorted(set(durations) - {0}))
    if not FEWEST <= len(values) <= MOST:
        return 0.0
    tick = float(min(values[0], *(after - before for before, after in pairwise(values))))
    for value in values:
        steps = round(value / tick)
        if abs(value - steps * tick) > ROUNDING + tick / 50:
            return 0.0
        tick = max(tick, ROUNDING + 1)
        if steps > 1:
            tick = value / steps  # longer durations give a more precise step
    return tick if tick > ROUNDING + 1 else 0.0


def _apart(values: Sequence[int]) -> list[float]:
    """The values, with values merged that differ only by rounding."""
    groups: list[list[int]] = []
    for value in values:
        if groups and value - groups[-1][-1] <= ROUNDING:
            groups[-1].append(value)
        else:
            groups.append([value])
    if any(group[-1] - group[0] > 2 * ROUNDING for group in groups):
        return []  # there is no step
    return [sum(group) / len(group) for group in groups]
