"""The C port against the vectors: clean under the sanitizers, and every mutation found and named."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import attrs
import pytest

from halfbit.vectors import SETS, cases
from halfbit.vectors import check

from .support_build import C, SOURCES, STRICT, ZIG, build, core_receiver, defines, system_compiler, ticks
from .support_torn import torn_signal

PROGRAM = (C / "halfbit.c", C / "answers.c")
UNDEFINED = ("-O1", "-g", "-fsanitize=undefined", "-fno-sanitize-recover=all")
ADDRESS = ("-fsanitize=address",)

#: Each compiler there is, with the sanitizers it has. Zig's has none for addresses.
COMPILERS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {"zig": (ZIG, UNDEFINED)}
_system = system_compiler()
if _system:
    COMPILERS["system"] = ((_system,), UNDEFINED + ADDRESS)


@pytest.mark.parametrize("compiler", COMPILERS)
@pytest.mark.parametrize("limits", ("receive", "transmit"))
@pytest.mark.parametrize("per_us", [1, 4])
def test_all_vectors(compiler: str, limits: str, per_us: int) -> None:
    command, flags = COMPILERS[compiler]
    settings = (f"-DHALFBIT_TICKS_PER_US={per_us}u",) if limits == "receive" else defines(ticks(SETS[limits], per_us))
    program = build(command, (*STRICT, *flags, *settings), PROGRAM)
    report = check([str(program)], cases(limits), ticks_per_us=per_us)
    assert not report.differences, [(d.case.id, d.text) for d in report.differences[:5]]


def test_without_a_system_compiler_it_is_said(capfd: pytest.CaptureFixture[str]) -> None:
    """The run then lacks the address sanitizer: whoever reads its output must know."""
    if "system" in COMPILERS:
        assert ADDRESS[0] in COMPILERS["system"][1]
    else:
        with capfd.disabled():
            print("\nC port: no system compiler, so it ran WITHOUT an address sanitizer", file=sys.stderr)


@pytest.mark.parametrize("compiler", COMPILERS)
def test_torn_signals_under_the_sanitizers(compiler: str) -> None:
    """Every kind of damage, and durations up to 2**32 - 1: no undefined behaviour, and the core's answers."""
    command, flags = COMPILERS[compiler]
    program = build(command, (*STRICT, *flags), PROGRAM)
    durations = list(torn_signal(77, 100_000))
    text = "".join(f"{duration}\n" for duration in durations)
    done = subprocess.run([str(program)], input=text, capture_output=True, text=True)
    assert done.returncode == 0 and done.stderr == "", done.stderr
    model = core_receiver(ticks())
    expected = [(at, answer) for at, answer in enumerate(map(model.feed, durations), 1) if answer]
    answers = [line.split() for line in done.stdout.splitlines()]
    assert [(int(line[0]), int(line[1])) for line in answers] == expected


@attrs.frozen
class Mutation:
    """A mistake a porter makes, and the rule it breaks."""

    name: str
    before: str
    after: str
    rule: str
    header: bool = False


MUTATIONS = (
    Mutation("shortest one off by one", "(52)", "(53)", "half-bit windows", header=True),
    Mutation("longest one off by one", "(64)", "(63)", "half-bit windows", header=True),
    Mutation("shortest zero off by one", "(90)", "(89)", "half-bit windows", header=True),
    Mutation("longest zero off by one", "(10000)", "(9999)", "half-bit windows", header=True),
    Mutation("difference of the station's column", "(6)", "(3)", "halves of a one-bit", header=True),
    Mutation("difference unchecked", "(6)", "(12)", "halves of a one-bit", header=True),
    Mutation(
        "phase never found again: both halves of an odd pair dropped",
        "r->waiting = (uint16_t)(HELD_ZERO + (TOTAL_LIMITED ? duration : 0u));",
        "r->waiting = (uint16_t)(waiting < (word)HELD_ONE_LOWEST ? HELD_ZERO : NONE);",
        "phase",
    ),
    Mutation(
        "one-bits of the other pairing not counted",
        "ones = r->shifted_ones; /*", "ones = 0; /*", "phase",
    ),
    Mutation(
        "preamble not counted inside a packet",
        "            r->length = (uint8_t)(length + 1u);",
        "            r->ones = 0; r->length = (uint8_t)(length + 1u);",
        "preamble after an error",
    ),
    Mutation("preamble of eleven", "PREAMBLE_MIN 10", "PREAMBLE_MIN 11", "preamble length", header=True),
    Mutation("end bit does not count", "r->ones = 1;", "r->ones = 0;", "end bit counts"),
    Mutation("data bits count after a packet", "r->ones = 1;", "", "end bit counts"),
    Mutation("error byte not checked", "if (r->check == 0) {", "{", "error detection byte"),
    Mutation("two bytes are enough", "PACKET_MIN 3", "PACKET_MIN 2", "packet lengths", header=True),
    Mutation("fourteen bytes are the most", "PACKET_MAX 15", "PACKET_MAX 14", "packet lengths", header=True),
    Mutation("least significant bit first: ones and zeros swapped", "+ HALFBIT_ZERO - bit", "+ bit - HALFBIT_ONE", "bytes"),
    Mutation("count of one-bits runs over", "ones = (word)(ones - (ones >> 8));", "", "counts stop"),
    Mutation("durations cut to 16 bits", "word waiting = r->waiting;", "word waiting = r->waiting; duration &= 0xFFFF;",
             "half-bit windows"),
    Mutation("count of a packet's one-bits kept for the next preamble", "r->shifted_ones = 0;\n                state = IDLE;",
             "state = IDLE;", "phase"),
)  # fmt: skip


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda mutation: mutation.name)
def test_a_mutation_is_found_and_its_rule_named(mutation: Mutation, tmp_path: Path) -> None:
    names = [SOURCES[0].name, "halfbit.h", "halfbit_rom.h", "answers.c"]
    texts = {name: (C / name).read_text() for name in names}
    spoiled = "halfbit.h" if mutation.header else "halfbit.c"
    assert texts[spoiled].count(mutation.before) == 1
    texts[spoiled] = texts[spoiled].replace(mutation.before, mutation.after)
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    sources = (tmp_path / "halfbit.c", tmp_path / "answers.c")
    program = build(ZIG, ("-std=c99", "-O1"), sources, include=tmp_path)
    report = check([str(program)], cases())
    assert mutation.rule in report.broken, list(report.broken)
    # A porter sees what to look at: it is among the few rules that cost packets, or the few at all.
    costly = [rule for rule, first in report.broken.items() if first.packets]
    named = costly if mutation.rule in costly else list(report.broken)
    assert len(named) <= 16 or mutation.rule == "bytes", named
