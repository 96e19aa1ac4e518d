"""The decision by sum on every processor: the core's answers, and on this machine all that it remembers.

``python -m tests.ports.test_sum`` runs 10**6 half-bits for each processor and timer, or for those that its options name;
here it is a part of them.
"""

from __future__ import annotations

import argparse
import re
import subprocess
from array import array
from collections.abc import Callable, Sequence
from functools import cache

import pytest

from halfbit import core_sum, core_sum_lengths
from halfbit.decision import SumReceiver
from halfbit.event import Packet
from halfbit.vectors import cases, check
from halfbit.vectors.case import SUM as LIMITS

from . import support_avr
from .support_build import C, RATIOS, STRICT, ZIG, build
from .support_chip import CORTEX_M0, RV32, Chip
from .support_files import PORTS
from .support_micropython import CORE, run
from .support_sum import HERE, MARKED, SUM, SUM_SOURCES, CSum, core_sums, late_signal, marks, numbers_of, rounded, sum_timer
from .test_c_vectors import COMPILERS

PROGRAM = (*SUM_SOURCES, C / "sum_answers.c")
Settings = tuple[str, ...]

each_timer = pytest.mark.parametrize(("per_us", "us"), RATIOS, ids=str)


@pytest.mark.parametrize("compiler", COMPILERS)
@pytest.mark.parametrize("per_us", [1, 4])
def test_all_vectors(compiler: str, per_us: int) -> None:
    command, flags = COMPILERS[compiler]
    program = build(command, (*STRICT, *flags, f"-DHALFBIT_TICKS_PER_US={per_us}u"), PROGRAM)
    report = check([str(program)], cases("sum"), ticks_per_us=per_us)
    assert not report.differences, [(d.case.id, d.text) for d in report.differences[:5]]


@pytest.mark.parametrize("compiler", COMPILERS)
def test_signals_seen_late_under_the_sanitizers(compiler: str) -> None:
    command, flags = COMPILERS[compiler]
    program = build(command, (*STRICT, *flags), PROGRAM)
    text = "".join(f"{duration}\n" for duration in late_signal(77, 100_000))
    done = subprocess.run([str(program)], input=text, capture_output=True, text=True)
    assert done.returncode == 0 and done.stderr == "", done.stderr
    assert len(done.stdout.splitlines()) > 300


def remembers_the_same(durations: Sequence[int], settings: Settings, machine: core_sum.Sums) -> int:
    """Feed C and core; give the number of packets. What they remember is compared now and then, and at each packet."""
    port = CSum(settings)
    packets = 0
    for index, duration in enumerate(durations):
        answer = machine.feed(duration)
        assert port.feed(duration) == answer, f"{settings}, duration {index}"
        if answer:
            packets += 1
            assert port.packet == (machine.preamble, bytes(machine.data[: machine.length])), f"duration {index}"
        if answer or not machine.count or index % 13 == 0:
            assert port.numbers == numbers_of(machine), f"{settings}, duration {index}"
    assert port.unharmed
    return packets


#: The limits as they are, with each timer; two other settings with every other timer.
REMEMBERED = [
    (per_us, us, change)
    for change in ({}, {"recent": 960}, {"late": 15})
    for per_us, us in (RATIOS[::2] if change else RATIOS)
]


@pytest.mark.parametrize(("per_us", "us", "change"), REMEMBERED, ids=str)
def test_c_remembers_what_the_core_does(per_us: int, us: int, change: dict[str, int]) -> None:
    durations = rounded(late_signal(per_us, 35_000), per_us, us)
    assert remembers_the_same(durations, sum_timer(per_us, us, **change), core_sums(per_us, us, **change)) > 50


def test_the_library_gives_the_packets_of_the_port() -> None:
    """With as many durations kept; a whole us is a whole number of the library's units."""
    durations = list(late_signal(9, 60_000))
    port, library = CSum(sum_timer(recent=960)), SumReceiver(LIMITS)
    seen = [port.packet for duration in durations if port.feed(duration)]
    events = library.feed_many(durations, 1000)
    assert seen == [(event.preamble, event.data) for event in events if isinstance(event, Packet)]
    assert len(seen) > 300


def micropython(durations: Sequence[int], per_us: int, us: int) -> bytes:
    """The core on MicroPython. The heap is locked while it decodes."""
    script = f"""
import gc, micropython, sys; gc.disable()
from array import array
import sum_receiver
receiver = sum_receiver.receiver(40, {per_us}, {us})
block, answers = array("I", bytes(16384)), bytearray(4096)
def mark():
    value = receiver.preamble
    for at in range(receiver.length):
        value += (at + 1) * receiver.data[at]
    return value & 63 | 64
def go(n):
    for i in range(n):
        answers[i] = mark() if receiver.feed(block[i]) else 0
with open("durations", "rb") as file:
    while True:
        n = file.readinto(block) // 4
        if not n:
            break
        micropython.heap_lock()
        go(n)
        micropython.heap_unlock()
        sys.stdout.buffer.write(memoryview(answers)[:n])
"""
    files = {path.name: path for path in (*(PORTS / "_micropython").glob("*.py"), *CORE.parent.glob("core*.py"))}
    # Above 2**30 - 1 an integer is an object on the heap. That is no duration that a timer's driver gives.
    small = array("I", [min(duration, 2**30 - 1) for duration in durations])
    return run(script, {**files, "durations": small.tobytes()}).output.encode("latin-1")


def chip(core: object) -> Callable[[Sequence[int], int, int], bytes]:
    return lambda durations, per_us, us: Chip(
        core=core, settings=sum_timer(per_us, us), counted=False, program=SUM  # type: ignore[arg-type]
    ).feed_all(durations)


def sanitized(durations: Sequence[int], per_us: int, us: int) -> bytes:
    """On this machine, under the sanitizers of the best compiler there is."""
    command, flags = COMPILERS.get("system", COMPILERS["zig"])
    sources = (*SUM_SOURCES, HERE / "sum_feed_all.c", HERE / "sum_feed_file.c")
    program = build(command, (*STRICT, *flags, *sum_timer(per_us, us)), sources)
    done = subprocess.run([str(program)], input=array("I", durations).tobytes(), capture_output=True)
    assert done.returncode == 0 and not done.stderr, done.stderr.decode()[-2000:]
    return done.stdout


TARGETS: dict[str, Callable[[Sequence[int], int, int], bytes]] = {
    "host, sanitizers": sanitized,
    "Cortex-M0+": chip(CORTEX_M0),
    "RV32IMC": chip(RV32),
    "ATmega328P": lambda durations, per_us, us: support_avr.calls(durations, sum_timer(per_us, us), 0, MARKED).answers,
    "MicroPython": micropython,
}
MARKS = {"ATmega328P": [support_avr.needed]}


@cache
def answers_of_core(durations: tuple[int, ...], per_us: int, us: int) -> bytes:
    """The core's answers. They are the same for all processors, and take longer than most of these."""
    return marks(core_sums(per_us, us), durations)


def equal(target: str, durations: Sequence[int], per_us: int, us: int, expected: bytes | None = None) -> int:
    """Feed port and core; their answers must be the same. Give the number of packets.

    :param expected: the core's answers, if they are known.
    """
    expected = expected or answers_of_core(tuple(durations), per_us, us)
    answers = TARGETS[target](durations, per_us, us)
    if answers != expected:
        at = next((i for i, (a, b) in enumerate(zip(answers, expected)) if a != b), len(answers))
        got, wanted = answers[at : at + 1], expected[at : at + 1]
        raise AssertionError(f"{target}, {per_us}/{us}: duration {at}: {got!r}, not {wanted!r}")
    return len(expected) - expected.count(0)


@pytest.mark.parametrize("target", [pytest.param(name, marks=MARKS.get(name, [])) for name in TARGETS])
@each_timer
def test_signals_seen_late_at_every_timer(target: str, per_us: int, us: int) -> None:
    assert equal(target, rounded(late_signal(3, 12_000), per_us, us), per_us, us) > 20


@pytest.mark.parametrize("target", [pytest.param(name, marks=MARKS.get(name, [])) for name in TARGETS])
def test_vectors_on_every_processor(target: str) -> None:
    """Some of all cases, one after the other: each is another station for the one before."""
    durations = [duration for case in cases("sum")[::4] for duration in (*case.durations, 100_000)]
    assert equal(target, durations, 1, 1) > 100


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (("-DHALFBIT_SUM_LATE=62",), "late_fits"),
        (("-DHALFBIT_SUM_RECENT=250",), "recent_fits"),
        (("-DHALFBIT_SUM_RECENT=1200",), "recent_fits"),
        (("-DHALFBIT_TICKS_PER_US=17",), "scale_fits"),
        (("-DHALFBIT_SUM_ONE_MIN=0",), "windows_fit"),
        (("-DHALFBIT_SUM_ONE_MAX=101",), "windows_fit"),
    ],
)
def test_wrong_limits_do_not_compile(flags: Settings, words: str) -> None:
    build(ZIG, (*STRICT, "-shared", "-fPIC"), SUM_SOURCES, suffix=".so")
    with pytest.raises(AssertionError, match=words):
        build(ZIG, (*STRICT, "-shared", "-fPIC", *flags), SUM_SOURCES, suffix=".so")


def test_the_constants_are_the_cores() -> None:
    """By the same names; PIECE and the like as #define, others in an enum."""
    found = 0
    for name, module in (("halfbit_sum", core_sum), ("halfbit_sum_lengths", core_sum_lengths)):
        text = (C / f"{name}.c").read_text()
        pairs = re.findall(r"#define ([A-Z_]+) (\d+)u$", text, re.MULTILINE) + re.findall(r"\b([A-Z_]+) = (\d+)", text)
        for constant, value in pairs:
            assert getattr(module, constant) == int(value), constant
            found += 1
    assert found >= 25
    assert "#define HALF_MAX ((uint16_t)(4000u / SCALE))" in text and core_sum_lengths.HALF_MAX == 4000


def main() -> None:
    """Half-bits for each timer and processor; ends with an error at a difference."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--timer", type=int, action="append", choices=range(len(RATIOS)), help=f"place in {RATIOS}; all")
    parser.add_argument("--target", action="append", choices=TARGETS, help="all")
    parser.add_argument("--length", type=int, default=1_000_000, help="half-bits (default: %(default)s)")
    args = parser.parse_args()
    for per_us, us in [RATIOS[place] for place in args.timer or range(len(RATIOS))]:
        durations = rounded(late_signal(1_000_000, args.length), per_us, us)
        expected = marks(core_sums(per_us, us), durations)
        for target in args.target or TARGETS:
            if target == "ATmega328P" and support_avr.missing():
                print(f"{target}: left out, {support_avr.missing()}")
                continue
            packets = equal(target, durations, per_us, us, expected)
            print(f"{target}, {per_us / us:g} ticks/us: {args.length:,} answers equal, {packets} packets", flush=True)
        if args.target is None:
            remembers_the_same(durations, sum_timer(per_us, us), core_sums(per_us, us))
            print(f"host, {per_us / us:g} ticks/us: what it remembers is equal now and then, and at each packet", flush=True)


if __name__ == "__main__":
    main()
