"""What the decision by sum costs on each processor: a part of :mod:`.port_cost`."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import attrs

from halfbit import core_sum
from halfbit.simulate.distort import polled
from halfbit.vectors import cases

from ..ports import support_avr
from ..ports.support_build import ZIG, build
from ..ports.support_chip import CORTEX_M0, RV32, Chip, Core, sections
from ..ports.support_sum import SUM, core_sums, late_signal
from ..ports.support_torn import clean_signal

__all__ = ["SumCost", "avr_cost", "chip_cost"]

HERE = Path(__file__).parents[1] / "ports"
#: A feed of more instructions or cycles than this has learned.
LEARNED = 20_000
#: Number of half-bits that are not counted in the means.
START = 2 * core_sum.BLOCK


@attrs.frozen
class SumCost:
    """Bytes, and the cost of a half-bit: clean and torn signals on average, the worst without learning; of learning."""

    code: int
    state: int
    stack: int
    clean: float
    torn: float
    worst: int
    learning: int


def clean() -> list[int]:
    """Packets of any bytes close together, seen up to 40 us late."""
    sent = [duration * 1000 for duration in clean_signal(random.Random(9), 10)]
    return [seen // 1000 for seen in polled(sent, (38_000, 40_000), random.Random(2))]


def torn() -> list[int]:
    """Stations of every kind, seen late, with tears."""
    return list(late_signal(5, 1_500))


def vectors() -> list[int]:
    """Three of the shorter cases."""
    return [duration for case in cases("sum")[:180:60] for duration in (100_000, *case.durations)]


def _cost(costs: Sequence[Sequence[int]], code: int, state: int, stack: int) -> SumCost:
    short = [[cost for cost in signal if cost < LEARNED] for signal in costs]
    # At the start nothing is decoded, and then two half-bits with each that comes.
    means = [sum(signal[START:]) / len(signal[START:]) for signal in short]
    most = max(max(signal) for signal in costs)
    return SumCost(code, state, stack, means[0], means[1], max(map(max, short)), most)


def _cycles(chip: Chip, durations: Sequence[int]) -> list[int]:
    """For each half-bit: cycles, or instructions if cycles are not counted. The answers must be the core's."""
    chip.call(chip.program.init)
    machine = core_sums()
    found = []
    for duration in durations:
        answer, instructions = chip.feed(duration)
        assert answer & 255 == machine.feed(duration)
        found.append(chip.cycles if chip.core.mark else instructions)
    return found


def chip_cost(core: Core, optimise: str) -> SumCost:
    """For a core that is emulated: cycles of a Cortex-M0+, else instructions."""
    chip = Chip(optimise, core=core, program=SUM)
    costs = [_cycles(chip, signal) for signal in (clean(), torn(), vectors())]
    state = build(ZIG, (*core.target, "-std=c99", "-c", "-fno-common"), (HERE / "sum_state.c",), suffix=".o")
    return _cost(costs, chip.code, sections(state.read_bytes())[".bss"], chip.stack)


def avr_cost() -> SumCost:
    """For the ATmega328P, in cycles."""
    ran = [support_avr.calls(signal, (), 0, SUM) for signal in (clean(), torn(), vectors())]
    costs = [[*one.cycles, one.most] for one in ran]
    return _cost(costs, ran[0].code, support_avr.state("sum_state.c"), max(one.stack for one in ran))


CORES = ((CORTEX_M0, "-Os"), (CORTEX_M0, "-O2"), (RV32, "-Os"), (RV32, "-O2"))
