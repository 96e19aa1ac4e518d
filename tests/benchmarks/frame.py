"""The frame the benchmarks share: rows, the plain loop they are measured against, the signal."""

from __future__ import annotations

import importlib
import pkgutil
import random
import statistics
import time
from collections.abc import Callable, Iterator, Sequence

import attrs

from halfbit.simulate.signal import packet_durations, with_error_byte

__all__ = ["Measured", "Row", "all_rows", "measure", "plain_loop", "row", "signal"]

#: Takes the durations, us, and gives back work to be timed. What comes before is not timed.
Prepare = Callable[[list[int]], Callable[[], object]]


@attrs.frozen
class Row:
    """One thing that is measured."""

    name: str
    prepare: Prepare


@attrs.frozen
class Measured:
    """What came of a row, medians over the rounds."""

    name: str
    seconds: float
    half_bits_per_second: float
    #: How many times as long as the plain loop.
    ratio: float


_ROWS: list[Row] = []


def row(name: str) -> Callable[[Prepare], Prepare]:
    """Add a row: the function takes durations in us, and returns the work to be timed."""

    def add(prepare: Prepare) -> Prepare:
        _ROWS.append(Row(name, prepare))
        return prepare

    return add


def all_rows() -> Iterator[Row]:
    """The rows of every ``rows*.py`` in this package."""
    package = importlib.import_module(__package__ or "tests.benchmarks")
    for module in sorted(found.name for found in pkgutil.iter_modules(package.__path__)):
        if module.startswith("rows"):
            importlib.import_module(f"{package.__name__}.{module}")
    return iter(_ROWS)


def signal(half_bits: int, seed: int = 1) -> list[int]:
    """At least so many durations, us, of what runs on an invented layout: a few packets again and again."""
    rng = random.Random(seed)
    sent = [bytes([255, 0, 255])]
    for address in range(3, 23):
        sent.append(with_error_byte(bytes([address, 0x3F, 0x80 | rng.randrange(2, 128)])))
        sent.append(with_error_byte(bytes([address, 0x80 | rng.randrange(32)])))
    durations: list[int] = []
    while len(durations) < half_bits:
        durations += [duration // 1000 for duration in packet_durations(rng.choice(sent), 16)]
    return durations


def plain_loop(durations: Sequence[int]) -> Callable[[], object]:
    """What everything is measured against: one comparison for each duration."""

    def work() -> int:
        n = 0
        for d in durations:
            if 52 <= d <= 64:
                n += 1
        return n

    return work


def measure(one: Row, durations: list[int], rounds: int) -> Measured:
    """Time a row in turn with the plain loop. The ratio is that of each pair, in the middle."""
    loop = plain_loop(durations)
    times = []
    ratios = []
    for _ in range(rounds):
        against = _seconds(loop)
        times.append(_seconds(one.prepare(durations)))
        ratios.append(2 * times[-1] / (against + _seconds(loop)))
    seconds = statistics.median(times)
    return Measured(one.name, seconds, len(durations) / seconds, statistics.median(ratios))


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
