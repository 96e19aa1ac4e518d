"""What the decisions cost: ``python -m tests.benchmarks.decision_cost``. Processor time, so other work counts less.

Asked, on a quiet machine: by sum at most 3 us for a half-bit, by sequence at most 12 us, and recovery of a capture with
one packet in twenty torn at most twice the time of the same decision without recovery.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import attrs

from halfbit.decision import receiver_for
from halfbit.limits import RECEIVE, Limits

from .frame import seconds
from .speed_signals import torn_packets, track

__all__ = ["WAYS", "main", "microseconds"]

SUM = Limits.for_sampling_period(30)

#: Limits and signal of each way.
WAYS = {
    "by sum": (attrs.evolve(SUM, recover=False), track),
    "by sequence": (Limits.for_sampling_period(50), track),
    "one packet in twenty torn, by halves": (RECEIVE, torn_packets),
    "one packet in twenty torn, by halves with recovery": (attrs.evolve(RECEIVE, recover=True), torn_packets),
    "one packet in twenty torn, by sum": (attrs.evolve(SUM, recover=False), torn_packets),
    "one packet in twenty torn, by sum with recovery": (SUM, torn_packets),
}


def microseconds(limits: Limits, durations: Sequence[int], rounds: int) -> float:
    """Least processor time for a half-bit, us."""

    def work() -> None:
        receiver = receiver_for(limits)
        receiver.feed_many(durations, 1000)
        receiver.finish()

    return min(seconds(work) for _ in range(rounds)) / len(durations) * 1e6


def main(half_bits: int = 40_000, rounds: int = 5) -> int:
    for name, (limits, signal) in WAYS.items():
        print(f"{name:52} {microseconds(limits, signal(half_bits), rounds):6.2f} us a half-bit")
    return 0


if __name__ == "__main__":
    sys.exit(main())
