"""How many packets the C port decodes behind isolators of all sorts: ``python -m tests.benchmarks.port_isolators``.

A slow optocoupler delays one direction of change by some us more than the other: every second half-bit is longer, the others
shorter by as much. A comparator with noise moves each change by chance. The timer counts two ticks a us.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import accumulate

from halfbit import core
from halfbit.simulate.signal import packet_durations, with_error_byte

from ..ports.support_build import library_of, timer

__all__ = ["SETTINGS", "report", "share"]

PACKETS = 200
ANY = "-DHALFBIT_ONE_DIFFERENCE=HALFBIT_ANY_DIFFERENCE"
#: What a column is called, and the compiler's flags for it.
SETTINGS: dict[str, tuple[str, ...]] = {
    "strict": timer(2),
    "tol. 1 us": timer(2, 1, 2),
    "tol. 2 us": timer(2, 1, 4),
    "any diff.": (*timer(2), ANY),
    "any, 2 us": (*timer(2, 1, 4), ANY),
    "any, 4 us": (*timer(2, 1, 8), ANY),
}


def signal(delay: float, jitter: float, seed: int = 1) -> list[int]:
    """Packets behind an isolator, ticks of half a us.

    :param delay: by how much one direction of change is later than the other, us.
    :param jitter: by how much each change may be early or late, us.
    """
    rng = random.Random(seed)
    durations: list[int] = []
    for _ in range(PACKETS):
        data = with_error_byte(bytes(rng.randrange(256) for _ in range(2)))
        durations += packet_durations(data, 14)
    edges = [time / 1000 for time in accumulate(durations, initial=0)]
    seen = [time + (delay if index & 1 else 0.0) + rng.uniform(-jitter, jitter) for index, time in enumerate(edges)]
    counts = [int(2 * time) for time in seen]
    return [after - before for before, after in zip(counts, counts[1:])]


def share(durations: Sequence[int], settings: tuple[str, ...]) -> float:
    """The share of the packets that is decoded."""
    feed, at = library_of(settings)
    return sum(feed(at, max(0, duration)) == core.PACKET for duration in durations) / PACKETS


def report() -> str:
    """The table, packets decoded in percent."""
    lines = ["one direction later by, us / each change off by up to, us", f"{'':<14}" + "".join(f"{name:>11}" for name in SETTINGS)]
    for delay, jitter in [(0, 0), (2, 0), (3, 0), (4, 0), (6, 0), (8, 0), (10, 0), (0, 1), (0, 2), (0, 3), (4, 1), (6, 2)]:
        durations = signal(delay, jitter)
        cells = "".join(f"{100 * share(durations, settings):>11.1f}" for settings in SETTINGS.values())
        lines.append(f"{f'{delay} / {jitter}':<14}{cells}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(report(), end="")
