"""Counters on a board: the same as the histogram of the library's survey, and what they show of an isolator."""

from __future__ import annotations

import ctypes
import functools
from array import array
from collections.abc import Sequence
from pathlib import Path

import pytest

from halfbit import edges_from_durations
from halfbit.limits import RECEIVE
from halfbit.survey import survey
from halfbit.survey.histogram import Histogram

from ..benchmarks.port_isolators import signal
from .support_build import C, STRICT, ZIG, build, timer
from .support_micropython import EXAMPLES, run
from .support_torn import torn_signal

CLASSES, CLASS_US = 64, 2


class _Counters(ctypes.Structure):
    _fields_ = [("counts", ctypes.c_uint16 * CLASSES * 2), ("level", ctypes.c_uint8), ("full", ctypes.c_uint8)]  # noqa: RUF012


@functools.cache
def library(per_us: int, us: int) -> ctypes.CDLL:
    """The counters in C, undefined behaviour trapped."""
    flags = (*STRICT, *timer(per_us, us), "-O1", "-shared", "-fPIC", "-fsanitize=undefined", "-fsanitize-trap=undefined")
    return ctypes.CDLL(str(build(ZIG, flags, (C / "counters.c",), suffix=".so")))


def in_c(ticks: Sequence[int], per_us: int = 2, us: int = 1) -> list[list[int]]:
    """Counts of both levels."""
    counters = _Counters.from_buffer_copy(b"\xee" * ctypes.sizeof(_Counters))
    loaded = library(per_us, us)
    loaded.halfbit_counters_init(ctypes.byref(counters))
    for duration in ticks:
        loaded.halfbit_counters_add(ctypes.byref(counters), ctypes.c_uint32(duration))
    return [list(level) for level in counters.counts]


def on_micropython(ticks: Sequence[int], per_us: int = 2, us: int = 1) -> list[list[int]]:
    """The same there, with the heap locked."""
    script = f"""
import gc, micropython; gc.disable()
from array import array
from counters import Counters
with open("ticks", "rb") as file:
    ticks = array("I", file.read())
counters = Counters({per_us}, {us})
def go():
    for i in range(len(ticks)):
        counters.add(ticks[i])
micropython.heap_lock()
go()
micropython.heap_unlock()
for level in counters.counts:
    print(*level)
"""
    files: dict[str, bytes | Path] = {"counters.py": EXAMPLES / "counters.py", "ticks": array("I", ticks).tobytes()}
    return [list(map(int, line.split())) for line in run(script, files).output.splitlines()]


@pytest.mark.parametrize(("per_us", "us"), [(1, 1), (2, 1), (5, 2), (16, 1)])
def test_the_same_as_the_survey(per_us: int, us: int) -> None:
    """All durations of a torn signal: C, MicroPython and the histogram have the same counts, class for class."""
    ticks = [one * per_us // us for one in (min(d, 20_000) for d in torn_signal(12, 20_000))]
    histogram = Histogram(RECEIVE)
    histogram.add([one * us * 1_000 // per_us for one in ticks])
    counts = in_c(ticks, per_us, us)
    assert counts == on_micropython(ticks, per_us, us)
    both = [one + other for one, other in zip(*counts)]
    grouped = [number for _, number in histogram.grouped(CLASS_US, CLASS_US * (CLASSES - 1))]
    assert both == [*grouped, histogram.count - sum(grouped)]
    assert sum(counts[0]) == sum(counts[1]) == 10_000 and both[29] > 1_000


@pytest.mark.parametrize("delay", [0, 2, 4, 8])
def test_an_isolator_that_delays_one_direction(delay: int) -> None:
    """The peaks of the two levels are twice the delay apart, and the survey says the same."""
    ticks = signal(delay, 0)
    peaks = [max(range(20, 40), key=level.__getitem__) for level in in_c(ticks)]
    assert abs(peaks[0] - peaks[1]) * CLASS_US == 2 * delay
    fit = survey(edges_from_durations([one * 500 for one in ticks], "ns")).fit
    assert fit is not None and abs(fit.difference - 2_000 * delay) <= 1_000


def test_a_counter_at_its_end() -> None:
    """Nothing is counted any more, so that the others stay in proportion."""
    counts = in_c([116] * 140_000)
    assert (counts[0][29], counts[1][29]) == (65_535, 65_534)
    script = "from counters import Counters\nc = Counters()\nfor i in range(140000):\n    c.add(58)\nc.show()"
    assert run(script, {"counters.py": EXAMPLES / "counters.py"}).output == " 58 us 65535 65534\n"


def test_what_micropython_shows() -> None:
    script = "from counters import Counters\nc = Counters()\nfor d in (58, 59, 101, 58, 5000):\n    c.add(d)\nc.show()"
    assert run(script, {"counters.py": EXAMPLES / "counters.py"}).output == " 58 us     1     2\n100 us     1     0\n126 us     1     0\n"
