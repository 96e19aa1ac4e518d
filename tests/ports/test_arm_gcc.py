"""The C ports by Debian's gcc for Arm (gcc-arm-none-eabi): no warnings, no library but its own, the same answers."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from halfbit.ports import write
from halfbit.vectors import cases

from . import support_rp2040
from .support_build import ARM_GCC, ARM_GCC_CHIP, C, RATIOS, ROOT, STRICT, build, core_receiver, ticks, timer
from .support_chip import CORTEX_M0_GCC, Chip, measure
from .support_sum import SUM, core_sums, late_signal, marks, rounded, sum_timer
from .support_torn import torn_signal
from .test_rp2040_board import compare

missing = shutil.which(ARM_GCC[0]) is None
pytestmark = pytest.mark.skipif(missing, reason="no arm-none-eabi-gcc (Debian: gcc-arm-none-eabi)")

SOURCES = tuple(sorted(path for path in C.glob("*.c") if "answers" not in path.name))


@pytest.mark.parametrize("optimise", ["-O0", "-Os", "-O2", "-O3"])
def test_all_sources_compile_without_a_warning(optimise: str) -> None:
    """What they call is in libgcc: no function of a C library, so a board needs none."""
    made = build(ARM_GCC, (*STRICT, *ARM_GCC_CHIP, optimise, "-r"), SOURCES, suffix=".o")
    names = subprocess.check_output(["arm-none-eabi-nm", "-u", str(made)], text=True).split()[1::2]
    assert set(names) <= {"__aeabi_idiv", "__aeabi_uidiv", "__aeabi_uidivmod", "__aeabi_lmul", "__gnu_thumb1_case_uqi"}


@pytest.mark.parametrize(
    ("flags", "called"), [(("-Os",), ["__gnu_thumb1_case_uqi"]), (("-O2",), []), (("-Os", "-fno-jump-tables"), [])]
)
def test_the_receivers_one_call_of_libgcc(flags: tuple[str, ...], called: list[str]) -> None:
    """docs/porting.rst says so."""
    made = build(ARM_GCC, (*STRICT, *ARM_GCC_CHIP, *flags, "-r"), (C / "halfbit.c",), suffix=".o")
    assert subprocess.check_output(["arm-none-eabi-nm", "-u", str(made)], text=True).split()[1::2] == called


@pytest.mark.parametrize(("per_us", "us"), RATIOS)
def test_the_receivers_give_the_same_answers(per_us: int, us: int) -> None:
    chip = Chip("-O2", core=CORTEX_M0_GCC, settings=timer(per_us, us), counted=False)
    durations = rounded(list(torn_signal(per_us, 50_000)), per_us, us)
    model = core_receiver(ticks(per_us=per_us, us=us))
    assert chip.feed_all(durations) == bytes(map(model.feed, durations))
    chip = Chip("-Os", core=CORTEX_M0_GCC, settings=sum_timer(per_us, us), counted=False, program=SUM)
    durations = rounded(late_signal(per_us, 20_000), per_us, us)
    assert chip.feed_all(durations) == marks(core_sums(per_us, us), durations)


def test_vectors() -> None:
    chip = Chip("-Os", core=CORTEX_M0_GCC)
    assert sum(measure(chip, case.durations).feeds for case in cases()[::5]) > 10_000


def test_the_command_of_the_page_builds_the_boards_program(tmp_path: Path) -> None:
    write(tmp_path)
    page = (ROOT / "docs" / "howto" / "rp2040_decoder.rst").read_text()
    commands = re.findall(r"^   (arm-none-eabi-.*)$", page, re.MULTILINE)
    assert len(commands) == 2
    board = tmp_path / "c" / "boards"
    for words in map(shlex.split, commands):
        subprocess.run(words, cwd=board, check=True)
    made = (board / "decoder.bin").read_bytes()
    assert made == support_rp2040.image(support_rp2040.program(gcc=True))
    assert 6_000 < len(made) < 9_216


@support_rp2040.needed
def test_the_board_does_what_the_model_does() -> None:
    assert "no half-bit lost" in compare(4, 5, gcc=True)
