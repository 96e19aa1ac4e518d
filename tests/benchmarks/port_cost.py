"""What the C port costs on a Cortex-M0+: ``python -m tests.benchmarks.port_cost``.

Bytes are those of the linked program; instructions are counted one by one while the chip's own instruction
set runs in an emulator. Most instructions of a Cortex-M0+ take one cycle, a load, a store or a taken branch two;
the share of a processor is given in instructions, as measured, not in cycles.
"""

from __future__ import annotations

import random
from itertools import repeat

from halfbit.signal import packet_durations

from ..ports.support_chip import Chip, Cost, measure
from ..ports.support_torn import clean_signal, torn_signal

#: Half-bits in a second where all are of ones, 58 us: none can come more densely for long.
DENSEST = 1_000_000 / 58
#: Instructions a second at one for a cycle: the clock of the RP2040 as it comes (common practice, no source).
CLOCK = 125_000_000

__all__ = ["clean", "idle", "torn"]


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


def main() -> None:
    print(f"{'Cortex-M0+':<12}{'code':>6}{'state':>7}{'stack':>7}   instructions for one half-bit: average")
    print(f"{'':<12}{'bytes':>6}{'bytes':>7}{'bytes':>7}{'clean':>9}{'idle':>8}{'torn':>8}{'worst':>8}")
    for optimise in ("-Os", "-O2"):
        chip = Chip(optimise)
        costs = clean(chip), idle(chip), torn(chip)
        averages = "".join(f"{cost.average:>8.1f}" for cost in costs)
        worst = max(cost.worst for cost in costs)
        print(f"zig {optimise:<8}{chip.code:>6}{chip.state:>7}{chip.stack:>7} {averages}{worst:>8}")
        share = [100 * DENSEST * count / CLOCK for count in (costs[0].average, worst)]
        print(f"{'':<12}at {DENSEST:,.0f} half-bits a second: {share[0]:.2f} % of 125 million instructions a second, "
              f"{share[1]:.2f} % if each were the worst")  # fmt: skip


if __name__ == "__main__":
    main()
