"""The C port on every processor there is an emulator for: the core's answers, at every timer.

``python -m tests.ports.test_targets`` runs 10**6 half-bits for each processor and timer; here it is a part of them.
"""

from __future__ import annotations

import random
import subprocess
from array import array
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from halfbit import core
from halfbit.vectors import cases

from . import support_avr
from .support_build import RATIOS, STRICT, ZIG, build, core_receiver, library_of, ticks, timer
from .support_chip import CORTEX_M0, RV32, Chip
from .support_torn import torn_signal

Settings = tuple[str, ...]


def host(durations: Sequence[int], settings: Settings) -> bytes:
    """This machine, zig's sanitizer of undefined behaviour on."""
    feed, at = library_of(settings)
    return bytes(map(lambda duration: feed(at, duration), durations))


def avr(durations: Sequence[int], settings: Settings) -> bytes:
    """The ATmega328P."""
    return support_avr.calls(durations, settings).answers


TARGETS: dict[str, Callable[[Sequence[int], Settings], bytes]] = {
    "host": host,
    "Cortex-M0+": lambda durations, settings: Chip(core=CORTEX_M0, settings=settings, counted=False).feed_all(durations),
    "RV32IMC": lambda durations, settings: Chip(core=RV32, settings=settings, counted=False).feed_all(durations),
    "ATmega328P": avr,
}
MARKS = {"ATmega328P": [support_avr.needed]}
each_target = pytest.mark.parametrize(
    "target", [pytest.param(name, marks=MARKS.get(name, [])) for name in TARGETS]
)


def at_ticks(signal: Sequence[int], per_us: int, us: int, seed: int) -> list[int]:
    """A signal in us as a timer would count it, now and then a tick off."""
    rng = random.Random(seed)
    off = (0, 0, 0, 0, 1, -1)
    return [min(max(duration * per_us // us + rng.choice(off), 0), 2**32 - 1) for duration in signal]


def equal(target: str, durations: Sequence[int], settings: Settings, values: dict[str, int]) -> bytes:
    """Feed port and core; their answers must be the same, and are given."""
    expected = bytes(map(core_receiver(values).feed, durations))
    answers = TARGETS[target](durations, settings)
    if answers != expected:
        at = next((i for i, (a, b) in enumerate(zip(answers, expected)) if a != b), len(answers))
        raise AssertionError(f"{target} {settings}: duration {at}: {answers[at : at + 1]!r}, not {expected[at : at + 1]!r}")
    return answers


@each_target
@pytest.mark.parametrize(("per_us", "us"), RATIOS, ids=lambda value: str(value))
def test_torn_signals_at_every_timer(target: str, per_us: int, us: int) -> None:
    durations = at_ticks(list(torn_signal(per_us * 10 + us, 20_000)), per_us, us, 1)
    answers = equal(target, durations, timer(per_us, us), ticks(per_us=per_us, us=us))
    assert answers.count(core.PACKET) > 10


@each_target
def test_all_vectors_on_every_target(target: str) -> None:
    """Each behind a silence that ends the case before, for the core in the same way."""
    durations: list[int] = []
    for case in cases():
        durations += [1_000_000, *case.durations]
    assert equal(target, durations, (), ticks()).count(core.PACKET) > 700


@each_target
@pytest.mark.parametrize(
    ("settings", "values"),
    [
        (timer(7, 3), ticks(per_us=7, us=3)),  # bounds that are no whole ticks
        (timer(2, 1, tolerance=1), ticks(per_us=2, tolerance=1)),
        (timer(5, 2, tolerance=7), ticks(per_us=5, us=2, tolerance=7)),
        ((*timer(16), "-DHALFBIT_ONE_DIFFERENCE=HALFBIT_ANY_DIFFERENCE"), ticks(per_us=16) | {"ONE_DIFFERENCE": 16 * 64}),
        (("-DHALFBIT_ZERO_TOTAL_MAX=12000", "-DHALFBIT_PACKET_MAX=6"), ticks() | {"ZERO_TOTAL_MAX": 12_000, "PACKET_MAX": 6}),
    ],
)  # fmt: skip
def test_other_limits(target: str, settings: Settings, values: dict[str, int]) -> None:
    """Bounds between ticks, a tolerance, the difference switched off, a limit for the whole zero, short packets."""
    scale = values["ZERO_MAX"] / 10_000
    durations = [min(int(scale * duration), 2**32 - 1) for duration in at_ticks(list(torn_signal(3, 20_000)), 1, 1, 2)]
    if target == "ATmega328P" and "-DHALFBIT_PACKET_MAX=6" in settings:
        expected = bytes(map(core_receiver(values).feed, durations))
        assert support_avr.calls(durations, settings, length_at=6).answers == expected
        return
    equal(target, durations, settings, values)


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (("-DHALFBIT_ONE_MAX=91",), "windows_fit"),
        (("-DHALFBIT_TOLERANCE=13",), "windows_fit"),
        (("-DHALFBIT_TICKS_PER_US=1024",), "shelves_fit"),
        (("-DHALFBIT_PREAMBLE_MIN=9",), "counts_fit"),
        (("-DHALFBIT_TICKS_PER_US=214749",), "do not fit 32 bits"),
    ],
)
def test_wrong_limits_do_not_compile(flags: Settings, words: str) -> None:
    with pytest.raises(AssertionError, match=words):
        build(ZIG, (*STRICT, "-c", *flags), suffix=".o")


@support_avr.needed
def test_limits_that_wrap_round_do_not_compile_for_16_bits() -> None:
    """A limit written without UINT32_C: 10000u * 8u is 14464 where an int has 16 bits."""
    build(support_avr.AVR, (*STRICT, "-c", "-DHALFBIT_ZERO_MAX=(UINT32_C(10000)*8u)"), suffix=".o")
    with pytest.raises(AssertionError, match="zero_max_is_whole"):
        build(support_avr.AVR, (*STRICT, "-c", "-DHALFBIT_ZERO_MAX=(10000u*8u)"), suffix=".o")


def test_the_headers_are_fit_for_cpp(tmp_path: Path) -> None:
    """A program in C++ that links with the port in C: extern "C", and nothing that C++ does not know."""
    source = tmp_path / "main.cpp"
    source.write_text("""
#include "halfbit.h"
int main()
{
    halfbit_receiver receiver;
    halfbit_receiver_init(&receiver);
    return halfbit_receiver_feed(&receiver, 77) == HALFBIT_GAP ? 0 : 1;
}
""")
    # Linked without the library of C++, which zig would first compile for a minute.
    port = build(ZIG, (*STRICT, "-c"), suffix=".o")
    main = build((*ZIG[:-1], "c++"), ("-std=c++11", "-Wall", "-Wextra", "-Werror", "-c"), (source,), suffix=".o")
    program = build(ZIG, (), (main, port))
    assert subprocess.run([program]).returncode == 0


def main() -> None:
    """10**6 half-bits for each processor and timer; prints what is done, and ends with status 1 at a difference."""
    signal = array("I", torn_signal(1_000_000, 1_000_000))
    for per_us, us in RATIOS:
        durations = at_ticks(signal, per_us, us, per_us)
        for target in TARGETS:
            if target == "ATmega328P" and support_avr.missing():
                print(f"{target}: left out, {support_avr.missing()}")
                continue
            answers = equal(target, durations, timer(per_us, us), ticks(per_us=per_us, us=us))
            print(f"{target}, {per_us / us:g} ticks/us: 1,000,000 answers equal, {answers.count(core.PACKET)} packets", flush=True)


if __name__ == "__main__":
    main()
