"""What the C port costs on each processor: ``python -m tests.benchmarks.port_cost`` prints the table.

``--check`` compares it with docs/port_cost.txt and ends with status 1 if a figure has grown by 5 % or more.

Bytes are those of the linked program (for the decision by sum with halfbit.c in it), stack included in nothing else.
Instructions and cycles are counted one by one while the processor's own instruction set runs in an emulator. "Worst" is the
worst that has been seen, on torn signals and all vectors: it is no proof that there is nothing worse. For the decision by
sum it is the worst of a half-bit with which nothing is learned.
"""

from __future__ import annotations

import random
import re
import sys
from collections.abc import Iterable
from importlib.metadata import version
from itertools import repeat
from pathlib import Path

import attrs

from halfbit.simulate.signal import packet_durations
from halfbit.vectors import cases

from ..ports import support_avr, support_rp2040
from ..ports.support_chip import CORTEX_M0, RV32, Chip, Core, Cost, measure, sections
from ..ports.support_torn import clean_signal, torn_signal
from . import port_sum_cost

#: Half-bits in a second if all bits are ones of 58 us. No signal is denser than this for long.
DENSEST = 1_000_000 / 58
#: Clocks, Hz (common practice, no source): an RP2040, and a crystal often put beside an ATmega328P.
CLOCKS = {"Cortex-M0+": 125_000_000, "ATmega328P": 16_000_000}
SHOWN = Path(__file__).parents[2] / "docs" / "port_cost.txt"
#: A figure may grow by this share before it is refused.
GROWTH = 0.05

__all__ = ["Row", "clean", "grown", "idle", "report", "rows", "torn"]


@attrs.frozen
class Row:
    """One processor with one set of compiler flags."""

    name: str
    code: int
    state: int
    stack: int
    unit: str
    #: For one half-bit, on average: a sound signal, torn ones; and the worst seen.
    clean: float
    torn: float
    worst: int
    compiler: str
    #: What learning the lengths of bits costs, for the decision by sum; 0 for the decision by halves.
    learning: int = 0

    @property
    def learned(self) -> str:
        """The line about learning."""
        clock = CLOCKS.get(self.name.split(",")[0])
        time = f", {1000 * self.learning / clock:.1f} ms at {clock // 1_000_000} MHz" if clock and self.unit == "cycles" else ""
        return f"{self.name}: learning takes {self.learning} {self.unit}{time}"

    @property
    def share(self) -> str:
        """Of the processor's time, on average and if each half-bit were the worst seen; empty if cycles are not known."""
        clock = CLOCKS.get(self.name.split(",")[0])
        if self.unit != "cycles" or clock is None:
            return ""
        mean, worst = (100 * DENSEST * count / clock for count in (self.clean, self.worst))
        return f"{mean:5.2f} %{worst:7.2f} %  of {clock // 1_000_000} MHz"

    def __str__(self) -> str:
        numbers = f"{self.code:>6}{self.state:>7}{self.stack:>7}  {self.unit:<13}{self.clean:>6.1f}{self.torn:>7.1f}{self.worst:>7}"
        return f"{self.name:<21}{numbers}  {self.share}".rstrip()


def clean(chip: Chip, packets: int = 40) -> Cost:
    """A sound signal, packets of any bytes close together."""
    return measure(chip, clean_signal(random.Random(9), packets))


def idle(chip: Chip) -> Cost:
    """Idle packets, one after the other."""
    packet = [duration // 1000 for duration in packet_durations(bytes((255, 0, 255)))]
    return measure(chip, [d for again in repeat(packet, 30) for d in again])


def torn(chip: Chip, length: int = 6_000) -> Cost:
    """Anything from sound to rubbish."""
    return measure(chip, torn_signal(1, length))


def _vectors() -> list[int]:
    """Some of all cases, one after the other."""
    return [duration for case in cases()[::9] for duration in (1_000_000, *case.durations)]


def _emulated(core: Core, optimise: str) -> Row:
    """A row for a core that instructions, and for some cycles, are counted for."""
    chip = Chip(optimise, core=core)
    costs = clean(chip), torn(chip), measure(chip, _vectors())
    compiler = f"ziglang {version('ziglang')}"
    name = f"{core.name}, {optimise}"
    stack = chip.stack
    if core.mark:
        worst = max(cost.worst_cycles for cost in costs)
        means = [cost.cycles / cost.feeds for cost in costs]
        return Row(name, chip.code, chip.state, stack, "cycles", means[0], means[1], worst, compiler)
    worst = max(cost.worst for cost in costs)
    return Row(name, chip.code, chip.state, stack, "instructions", costs[0].average, costs[1].average, worst, compiler)


def _avr() -> Row:
    """The row for the ATmega328P."""
    ran = [
        support_avr.calls(signal)
        for signal in (clean_signal(random.Random(9), 40), list(torn_signal(1, 6_000)), _vectors())
    ]
    means = [sum(one.cycles) / len(one.cycles) for one in ran]
    worst = max(max(one.cycles) for one in ran)
    stack = max(one.stack for one in ran)
    return Row("ATmega328P, -Os", ran[0].code, support_avr.state(), stack, "cycles", means[0], means[1], worst, support_avr.compiler_version())


def _sum(name: str, unit: str, cost: port_sum_cost.SumCost, compiler: str) -> Row:
    """A row for the decision by sum."""
    c = cost
    return Row(f"{name}, sum", c.code, c.state, c.stack, unit, c.clean, c.torn, c.worst, compiler, c.learning)


def rows(*, quick: bool = False) -> list[Row]:
    """Every row that can be made here.

    :param quick: only those for ``-Os``, and of those by sum only the quickest. All take a minute.
    """
    made = [_emulated(core, optimise) for core in (CORTEX_M0, RV32) for optimise in ("-Os", "-O2")[: 1 if quick else 2]]
    zig = made[0].compiler
    if not support_avr.missing():
        made.append(_avr())
    for core, optimise in [(RV32, "-Os")] if quick else port_sum_cost.CORES:
        unit = "cycles" if core.mark else "instructions"
        made.append(_sum(f"{core.name}, {optimise}", unit, port_sum_cost.chip_cost(core, optimise), zig))
    if not quick and not support_avr.missing():
        made.append(_sum("ATmega328P, -Os", "cycles", port_sum_cost.avr_cost(), support_avr.compiler_version()))
    return made


def whole() -> str:
    """What the program of boards/rp2040.c takes; it runs from RAM, so code is in both."""
    sizes = sections(support_rp2040.program().read_bytes())
    ram = sum(size for name, size in sizes.items() if name != ".boot")
    flash, ring = sizes[".boot"] + sizes[".image"], sizes[".ring"]
    return f"whole decoder, RP2040, -Os: {flash} bytes of flash memory, {ram} of RAM ({ring} the ring)"


def report(made: Iterable[Row] | None = None) -> str:
    """The table."""
    made = list(rows() if made is None else made)
    lines = [
        f"{'':<21}{'code':>6}{'state':>7}{'stack':>7}  one half-bit costs     worst  share of the processor at the",
        f"{'':<21}{'bytes':>6}{'bytes':>7}{'bytes':>7}{'':15}{'clean':>6}{'torn':>7}{'seen':>7}  densest signal, mean and worst",
        *map(str, made),
        "",
        *(row.learned for row in made if row.learning),
        "",
        whole(),
        "",
        *(f"compiled by {compiler}" for compiler in dict.fromkeys(row.compiler for row in made)),
    ]
    return "\n".join(lines) + "\n"


def figures(text: str) -> dict[str, list[float]]:
    """A table's rows by name: code, state, stack, means and worst; for the decision by sum, learning too; of a whole
    decoder, flash memory and RAM."""
    found = {}
    for line in text.splitlines():
        parts = re.match(r"(\S+, -O\S(?:, sum)?)\s+(\d+)\s+(\d+)\s+(\d+)  \w+\s+([\d.]+)\s+([\d.]+)\s+(\d+)", line)
        if parts:
            found[parts[1]] = [float(number) for number in parts.groups()[1:]]
        program = re.match(r"(whole decoder, \S+, -O\S): (\d+) bytes of flash memory, (\d+) of RAM", line)
        if program:
            found[program[1]] = [float(number) for number in program.groups()[1:]]
        learning = re.match(r"(\S+, -O\S, sum): learning takes (\d+) ", line)
        if learning:
            found[learning[1]].append(float(learning[2]))
    return found


def grown(shown: str, made: str) -> list[str]:
    """A message for each figure that has grown too much from one table to another, and for each new row."""
    words = []
    before = figures(shown)
    for name, numbers in figures(made).items():
        if name not in before:
            words.append(f"{name}: not in docs/port_cost.txt")
            continue
        labels = ("code", "state", "stack", "clean", "torn", "worst", "learning") if len(numbers) > 2 else ("flash memory", "RAM")
        for label, old, new in zip(labels, before[name], numbers):
            if new >= old * (1 + GROWTH) and new > old:
                words.append(f"{name}: {label} {new:g}, was {old:g}")
    return words


def main() -> int:
    """Print the table, or check it. What is left out is said on standard error."""
    made = report()
    if support_avr.missing():
        print(f"ATmega328P left out: {support_avr.missing()}", file=sys.stderr)
    print(made, end="")
    if "--check" not in sys.argv:
        return 0
    words = grown(SHOWN.read_text(), made)
    print("\n".join(words) or "no figure has grown by 5 %", file=sys.stderr)
    return 1 if words else 0


if __name__ == "__main__":
    sys.exit(main())
