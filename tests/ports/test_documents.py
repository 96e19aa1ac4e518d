"""What docs/porting.rst shows is what the code does."""

from __future__ import annotations

import re
import textwrap

import pytest

from halfbit import core
from halfbit.vectors import cases

from ..benchmarks import port_cost, port_isolators, port_micropython
from .support_build import C, ROOT
from .support_files import load
from .support_micropython import run
from .test_c_vectors import MUTATIONS

DOCS = ROOT / "docs"
figures = load(DOCS / "port_figures.py")

#: A bit for each input: layer 3's answer and the halves, and the counts before it: ones, shifted_ones, previous_half.
INPUTS: dict[str, tuple[int, int, int, int, int, int]] = {
    "ONE": (core.ONE, 58, 58, 3, 0, 0),
    "RUN": (core.ONE, 58, 58, 9, 0, 0),
    "ZERO": (core.ZERO, 100, 100, 9, 0, 58),
    "START": (core.ZERO, 100, 100, 10, 0, 58),
    "SLIP": (core.UNPAIRED_ONE, 58, 0, 5, 5, 58),
    "FAULT": (core.GAP, 0, 77, 9, 9, 58),
}

#: The table of steps of docs/porting.rst: the states each can lead to, each with the answer there. STAY leads nowhere.
TARGETS = {
    "FIND": {("IDLE", "SYNC")},
    "OPEN": {("BYTE", "START")},
    "SHIFT": {("BYTE", "MORE"), ("SEPARATOR", "MORE")},
    "NEXT": {("BYTE", "MORE"), ("LOST", "MANY_BYTES")},
    "CLOSE": {("IDLE", "PACKET"), ("LOST", "FEW_BYTES"), ("LOST", "ERROR_BYTE")},
    "FAIL": {("LOST", "the fault")},
    "EARLY": {("LOST", "SHORT_PREAMBLE")},
}


@pytest.mark.parametrize("name", figures.FILES)
def test_figures_are_up_to_date(name: str) -> None:
    assert (DOCS / name).read_text() == figures.FILES[name](), "run python docs/port_figures.py"


def test_steps_lead_where_the_page_says() -> None:
    """Each state and input fed to the core, with packets of every length in progress."""
    seen: dict[str, set[tuple[str, str]]] = {}
    names = {getattr(core, name): name for name in ("SYNC", "START", "PACKET", "SHORT_PREAMBLE", "FEW_BYTES", "MANY_BYTES", "ERROR_BYTE", "MORE")}
    for state in figures.STATES:
        for words, (bit, first, last, ones, shifted_ones, previous) in INPUTS.items():
            for length in range(16):
                for check in (0, 1):
                    machine = core.Packets(6, 10, 3, 15)
                    machine.state, machine.ones, machine.shifted_ones, machine.previous_half = getattr(core, state), ones, shifted_ones, previous
                    machine.length, machine.check = length, check
                    machine.room = 1 + length % 2
                    if state == "BYTE" and length == 15:
                        continue  # the sixteenth byte is never begun
                    entry = words.split()[0].rstrip(",")
                    step = figures.step(state, entry)
                    answer = machine.feed(bit, first, last)
                    after = next(name for name in figures.STATES if getattr(core, name) == machine.state)
                    if step == "STAY":
                        assert (after, answer) == (state, core.MORE)
                    else:
                        seen.setdefault(step, set()).add((after, names.get(answer, "the fault")))
    assert seen == TARGETS


def test_no_cost_has_grown() -> None:
    """By 5 % or more against the page's table; a compiler of another version gets the same allowance.

    ``python -m tests.benchmarks.port_cost --check`` does the same for all rows, and `.ci/run` runs it.
    """
    made = port_cost.report(port_cost.rows(quick=True))
    assert len(port_cost.figures(made)) >= 4
    assert port_cost.grown((DOCS / "port_cost.txt").read_text(), made) == [], "python -m tests.benchmarks.port_cost"


def test_growth_is_seen() -> None:
    shown = (DOCS / "port_cost.txt").read_text()
    assert port_cost.grown(shown, shown) == []
    larger = shown.replace("  412 ", "  433 ")
    assert larger != shown and port_cost.grown(shown, larger) == ["Cortex-M0+, -Os: code 433, was 412"]
    assert port_cost.grown(shown.replace("RV32IMC, -O2 ", "RV32IMC, -O1 "), shown) == ["RV32IMC, -O2: not in docs/port_cost.txt"]


def test_the_table_of_costs_on_micropython() -> None:
    shown = (DOCS / "port_micropython.txt").read_text()
    assert shown == port_micropython.report(), "run python -m tests.benchmarks.port_micropython > docs/port_micropython.txt"


def test_the_table_of_isolators() -> None:
    shown = (DOCS / "port_isolators.txt").read_text()
    assert shown == port_isolators.report(), "run python -m tests.benchmarks.port_isolators > docs/port_isolators.txt"


def test_what_the_page_says_of_the_queue() -> None:
    """Two half-bits in five wait for good where a turn takes 2 us; 4096 places last three quarters of a second."""
    clean = port_micropython.shuttle()
    _, left = port_micropython.burst(clean, port_micropython.costs(clean), 2.0)
    assert 0.35 < left / len(clean) < 0.45
    assert 0.70 < 4096 / left * sum(clean) / 1e6 < 0.80


def test_what_the_page_says_an_avr_can_do() -> None:
    """Shares of the processor at the densest signal, mean and worst, as the table has them."""
    shares = {
        row[:20].strip(): re.findall(r"([\d.]+) %", row)
        for row in (DOCS / "port_cost.txt").read_text().splitlines()
        if row.startswith("ATmega328P, -Os ") or row.startswith("ATmega328P, -Os, sum ")
    }
    (mean, worst), (mean_sum, _) = shares["ATmega328P, -Os"], shares["ATmega328P, -Os, sum"]
    page = " ".join((DOCS / "porting.rst").read_text().split())
    assert f"needs {float(mean):.0f} % of its time, {float(worst):.0f} % at worst" in page
    assert f"cannot keep up by sum**: at the densest signal it would need {float(mean_sum):.0f} % of its time" in page
    assert float(mean_sum) > 100 > float(worst)


def test_the_program_that_measures_a_turn_runs() -> None:
    page = (DOCS / "porting.rst").read_text()
    (block,) = re.findall(r"\.\. code-block:: python\n\n((?:   .*\n|\n)+)", page)
    assert re.fullmatch(r"[\d.e-]+ us for a turn\n", run(textwrap.dedent(block), {}).output)


def test_what_the_pages_count() -> None:
    rules = {case.rule for case in cases()}
    shown = (DOCS / "vectors.rst").read_text()
    assert f"{len(cases())} cases, 0 differ; {len(rules)} of {len(rules)} rules kept" in shown
    assert len(MUTATIONS) == 19 and "Nineteen mistakes" in shown
    assert 35 <= len((C / "answers.c").read_text().splitlines()) <= 50
    assert 270 <= len((ROOT / "src" / "halfbit" / "core.py").read_text().splitlines()) <= 330


def test_every_figure_is_shown() -> None:
    page = (DOCS / "porting.rst").read_text()
    for name in (*figures.FILES, "port_cost.txt", "port_micropython.txt", "port_isolators.txt"):
        assert f":: {name}" in page or f":file: {name}" in page
