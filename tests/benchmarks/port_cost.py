"""What the C port costs on a Cortex-M0+: ``python -m tests.benchmarks.port_cost``.

Bytes are those of the linked program; instructions are counted one by one while the chip's own instruction
set runs in an emulator. Most instructions of a Cortex-M0+ take one cycle, a load, a store or a taken branch two;
the share of a processor is given in instructions, as measured, not in cycles.
"""

from __future__ import annotations

import random
from importlib.metadata import version
from itertools import repeat

from halfbit.simulate.signal import packet_durations

from ..ports.support_chip import Chip, Cost, measure
from ..ports.support_torn import clean_signal, torn_signal

#: Half-bits in a second where all are of ones, 58 us: none can come more densely for long.
DENSEST = 1_000_000 / 58
#: Instructions a second at one for a cycle: the clock of the RP2040 as it comes (common practice, no source).
CLOCK = 125_000_000

__all__ = ["clean", "idle", "report", "torn"]


def clean(chip: Chip, packets: int = 60) -> Cost:
    """A sound signal, packets of any bytes close together."""
    return measure(chip, clean_signal(random.Random(9), packets))


def idle(chip: Chip) -> Cost:
    """Idle packets, one after the other."""
    packet = [duration // 1000 for duration in packet_durations(bytes((255, 0, 255)))]
    return measure(chip, [d for again in repeat(packet, 30) for d in again])


def torn(chip: Chip, length: int = 30_000) -> Cost:
    """Anything from sound to rubbish."""
    return measure(chip, torn_signal(1, length))


def report() -> str:
    """The table."""
    lines = [
        f"Cortex-M0+, compiled by ziglang {version('ziglang')}",
        "",
        f"{'':<8}{'code':>6}{'state':>7}{'stack':>7}   instructions for one half-bit, on average",
        f"{'':<8}{'bytes':>6}{'bytes':>7}{'bytes':>7}{'clean':>9}{'idle':>8}{'torn':>8}{'worst':>8}",
    ]
    kinds: list[str] = []
    for optimise in ("-Os", "-O2"):
        chip = Chip(optimise)
        costs = clean(chip), idle(chip), torn(chip)
        averages = "".join(f"{cost.average:>8.1f}" for cost in costs)
        worst = max(cost.worst for cost in costs)
        lines.append(f"{optimise:<8}{chip.code:>6}{chip.state:>7}{chip.stack:>7} {averages}{worst:>8}")
        if optimise == "-Os":
            share = [100 * DENSEST * count / CLOCK for count in (costs[0].average, worst)]
            kinds += ["", f"{'-Os, by what the half-bit is':<32}{'average':>8}{'worst':>8}"]
            for kind in sorted(set().union(*(cost.kinds for cost in costs))):
                found = [cost.kinds[kind] for cost in costs if kind in cost.kinds]
                average = sum(instructions for _, instructions, _ in found) / sum(feeds for feeds, _, _ in found)
                kinds.append(f"  {kind:<30}{average:>8.1f}{max(worst for _, _, worst in found):>8}")
            kinds += [
                "",
                f"At {DENSEST:,.0f} half-bits a second, of 125 million instructions a second:",
                f"  {share[0]:.2f} % on average, {share[1]:.2f} % if each were the worst",
            ]
    return "\n".join([*lines, *kinds]) + "\n"


if __name__ == "__main__":
    print(report(), end="")
