"""The steps in which times come: a timer's tick, or a loop's constant period."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

__all__ = ["tick_of"]

#: Times are whole nanoseconds, so durations may be off by as much; what is no further apart is one value.
ROUNDING = 2
#: Fewest and most different durations that tell.
FEWEST, MOST = 2, 5000


def tick_of(durations: Iterable[int]) -> float:
    """The step of which all durations are multiples, ns; 0 where none shows.

    :param durations: ns, rounded to whole ones.
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
            tick = value / steps  # the longer, the surer
    return tick if tick > ROUNDING + 1 else 0.0


def _apart(values: Sequence[int]) -> list[float]:
    """The values, those as one that only rounding sets apart."""
    groups: list[list[int]] = []
    for value in values:
        if groups and value - groups[-1][-1] <= ROUNDING:
            groups[-1].append(value)
        else:
            groups.append([value])
    if any(group[-1] - group[0] > 2 * ROUNDING for group in groups):
        return []  # there is no step between them
    return [sum(group) / len(group) for group in groups]
