"""The C port on a Cortex-M0+: that it fits, and that it is fast enough."""

from __future__ import annotations

import pytest

from halfbit.vectors import cases

from ..benchmarks import port_cost
from .support_build import CHIP, SOURCES, STRICT, ZIG, build
from .support_chip import CORTEX_M0, RV32, Chip, Core, Cost, measure, sections
from .support_decoder import SOURCES as DECODER
from .support_torn import torn_signal

#: What the port must keep to, -Os.
CODE, STATE, AVERAGE, WORST = 420, 32, 32, 66


@pytest.fixture(scope="module")
def chip() -> Chip:
    return Chip("-Os")


def test_it_fits(chip: Chip) -> None:
    assert 100 < chip.code <= CODE
    assert 16 < chip.state <= STATE


@pytest.mark.parametrize("core", [CORTEX_M0, RV32], ids=lambda core: str(core.name))
def test_the_decoder_needs_no_library_and_fits(core: Core) -> None:
    """It is linked with nothing else but what a compiler may always call (memory functions), and has no global state."""
    flags = (*STRICT, *core.target, "-Os", "-Wl,-e,halfbit_multi_function_init", "-Wl,--build-id=none")
    sizes = sections(build(ZIG, flags, (*DECODER, *SOURCES), suffix=".elf").read_bytes())
    assert set(sizes) <= {".text", ".rodata", ".ARM.exidx", ".data.rel.ro", ".eh_frame"}, sizes
    assert 3_000 < sizes[".text"] + sizes[".rodata"] < 8_000, sizes


def test_the_receiver_has_no_global_state() -> None:
    flags = (*STRICT, *CHIP, "-Os", "-Wl,-e,halfbit_receiver_feed", "-Wl,--build-id=none")
    assert set(sections(build(ZIG, flags, suffix=".elf").read_bytes())) <= {".text", ".rodata", ".ARM.exidx"}


def test_a_clean_signal(chip: Chip) -> None:
    cost = port_cost.clean(chip)
    assert cost.feeds > 4_000
    assert 10 < cost.average <= AVERAGE
    assert cost.worst <= WORST


def test_idle_packets(chip: Chip) -> None:
    assert port_cost.idle(chip).average <= AVERAGE


def test_the_worst_of_torn_signals(chip: Chip) -> None:
    cost = port_cost.torn(chip)
    assert cost.worst <= WORST
    assert cost.stack <= 32


def test_counting_by_stretches_is_counting_singly(chip: Chip) -> None:
    durations = list(torn_signal(8, 3_000))
    singly = measure(Chip("-Os", singly=True), durations)
    assert singly.instructions < singly.cycles < 2 * singly.instructions
    assert measure(chip, durations) == singly
    # Few of a RISC-V's instructions may lower its stack pointer: with -O2 it lies 16 bytes deep.
    durations = durations[:500]
    singly = measure(Chip("-O2", singly=True, core=RV32), durations)
    assert measure(Chip("-O2", core=RV32), durations) == singly and singly.stack == 16


@pytest.mark.parametrize("part", range(4))
def test_the_worst_of_all_vectors(chip: Chip, part: int) -> None:
    cost = Cost()
    for case in cases()[part::4]:
        measure(chip, case.durations, cost)
    assert cost.feeds > 30_000
    assert cost.worst <= WORST


def test_faster_code_gives_the_same_answers() -> None:
    assert port_cost.torn(Chip("-O2"), 10_000).worst <= WORST
