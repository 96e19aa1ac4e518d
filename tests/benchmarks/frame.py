"""What every time is compared to: the plain loop."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence

__all__ = ["Work", "plain_loop", "ratio", "seconds"]

Work = Callable[[], object]


def plain_loop(durations: Sequence[int]) -> Callable[[], int]:
    """One comparison for each duration, us."""

    def work() -> int:
        n = 0
        for d in durations:
            if 52 <= d <= 64:
                n += 1
        return n

    return work


def seconds(work: Work) -> float:
    """The processor time a piece of work takes, so that other work on the machine counts less."""
    start = time.process_time()
    work()
    return time.process_time() - start


def ratio(work: Work, durations: Sequence[int], rounds: int) -> float:
    """How many times as long as the plain loop: the median of pairs that are run in turn."""
    loop = plain_loop(durations)
    found = []
    for _ in range(rounds):
        before, taken, after = seconds(loop), seconds(work), seconds(loop)
        found.append(2 * taken / (before + after))
    return round(statistics.median(found), 2)
