"""The RP2040's half-bit timer in PyPI's rp2040-pio-emulator: exact to a count, and nothing lost."""

from __future__ import annotations

import random
import sys
from dataclasses import fields, replace
from typing import Any

import pioemu  # type: ignore[import-untyped]

from halfbit import core
from halfbit.simulate.distort import jittered, stretched
from halfbit.simulate.signal import Timing, packet_durations, with_error_byte

from .support_files import PORTS, load
from .support_pio import Timer, pulses, replaced, timer_module

TICK = 500  # ns


def _vehicle() -> Any:
    """The vehicle's own code, on CPython. It finds the core by a name that it has on a board only."""
    sys.modules["core"] = core
    sys.modules["instruction_size"] = load(PORTS / "_micropython" / "instruction_size.py")
    try:
        return load(PORTS / "_micropython" / "vehicle.py")
    finally:
        del sys.modules["core"], sys.modules["instruction_size"]


vehicle = _vehicle()
A, B = with_error_byte(bytes((3, 0x3F, 0xAA))), with_error_byte(bytes((9, 0x91)))


def exact(durations: list[int], counts: list[int]) -> None:
    """Each half-bit is there, in order, off by no more than a count. The first count is what came before."""
    assert len(counts) == len(durations) + 1
    for duration, count in zip(durations, counts[1:]):
        assert abs(count * TICK - duration) <= TICK, (duration, count)


def packets(counts: list[int]) -> list[bytes]:
    """Decode as the example does: windows wider by a count."""
    receiver: core.Receiver = vehicle.receiver(1_000 // TICK, tolerance=1)
    found = []
    for count in counts[1:]:
        if receiver.feed(count) == core.PACKET:
            found.append(bytes(receiver.packets.data[: receiver.packets.length]))
    return found


def test_the_emulators_states_are_replaced_as_dataclasses_are() -> None:
    before = pioemu.State(clock=9, x_register=7)
    assert not hasattr(before, "__post_init__")
    for change in ({}, {"clock": 10}, {"x_register": 1, "pin_values": 3}):
        expected, found = replace(before, **change), replaced(before, **change)
        assert type(found) is type(expected) and found == expected
        assert all(getattr(found, one.name) is getattr(expected, one.name) for one in fields(before))
    assert before == pioemu.State(clock=9, x_register=7)


def test_it_fits_and_counts_in_half_microseconds() -> None:
    module = timer_module()
    words, settings = module.half_bit_timer
    assert len(words) == 22 <= 32
    assert settings == {"fifo_join": 2, "in_shiftdir": 0}
    assert 1_000_000 * module.TICKS_PER_US * 2 == module.FREQUENCY


def test_a_clean_signal_with_odd_timing() -> None:
    durations = packet_durations(A, 16, Timing(57_130, 58_870, 99_990, 116_010)) + packet_durations(B)
    counts = Timer(durations).run().counts
    exact(durations, counts)
    assert packets(counts) == [A, B]


def test_the_densest_signal() -> None:
    """All halves at the shortest a decoder must accept, 52 and 90 us (S-9.1 A, table 1), and off the clock's beat."""
    durations = packet_durations(A, 16, Timing(52_000, 52_111, 90_000, 90_111))
    counts = Timer(durations).run().counts
    exact(durations, counts)
    assert packets(counts) == [A]


def test_jitter_and_stretched_zeros() -> None:
    rng = random.Random(4)
    durations = jittered(packet_durations(A, 14), 1_000, rng)
    durations += stretched(packet_durations(B), 0.1, 2_000_000, rng) + [58_000, 9_999_900, 100_000]
    counts = Timer(durations).run().counts
    exact(durations, counts)
    assert packets(counts) == [A, B]


def test_long_levels_stop_at_the_longest() -> None:
    """High or low they do not come back as something shorter, and what follows is timed right.

    Run with a count of a tenth, which runs out after 1.6 ms.
    """
    durations = [58_000, 1_700_000, 58_000, 100_000, 2_500_000, 100_000, 58_000]
    timer = Timer(durations, fives=3)
    counts = timer.run().counts
    assert [index for index, count in enumerate(counts) if count == timer.top] == [2, 5]
    exact([d for d in durations if d < 1_000_000], [count for count in counts if count != timer.top])
    # The program's own longest is longer than any half-bit (S-9.1 A, table 1), and so LONG.
    assert timer_module().TOP * TICK > 16_000_000


def test_every_phase_of_a_change_to_the_clock() -> None:
    """Changes at every place within a count, up and down."""
    durations = [58_000 + 63 * step for step in range(17)] * 2
    exact(durations, Timer(durations, quiet=20_011).run().counts)


def test_short_pulses_are_counted_or_missed_in_pairs() -> None:
    """1 us is less than the program's six cycles, and still tells of both its changes."""
    durations = [58_000, 1_000, 58_000, 500, 58_000]
    counts = Timer(durations).run().counts
    assert len(counts) in (2, 4, 6)
    assert abs(sum(counts[1:]) * TICK - sum(durations)) <= 3 * TICK


def test_a_full_fifo_drops_counts_and_says_so() -> None:
    """While nobody takes counts the first ones stay, later ones are dropped, and after it all is right again."""
    durations = packet_durations(A, 30)
    begin, end = 1_000, 9_000  # cycles of 250 ns: 2 ms without a look
    timed = Timer(durations).run(drained=lambda cycle: not begin < cycle < end)
    assert len(timed.counts) < len(durations)
    assert all(count * TICK in (57_500, 58_000, 58_500, 99_500, 100_000, 100_500) for count in timed.counts[1:])
    assert packets(timed.counts) == [A]  # of the preamble more than ten one-bits are left
    # The flag for it is the hardware's (FDEBUG): the example reads it, and takes it back.
    memory = {0x5020_0008: 0b0010}
    module = timer_module(memory)
    assert not module.overflowed(0) and module.overflowed(1)
    assert memory[0x5020_0008] == 0b0010  # a one is written, which the hardware takes as: clear
    memory[0x5030_0008] = 0b1000
    assert module.overflowed(7)


def test_the_quick_way_gives_the_same_counts() -> None:
    """Skipped turns of the loops change nothing, at any phase, nor where the count has run out."""
    rng = random.Random(8)
    for fives in (31, 2):
        durations = [rng.choice((rng.randint(10_100, 60_000), rng.randint(90_000, 120_000), rng.randint(900_000, 1_500_000))) for _ in range(30)]
        timer = Timer(durations, quiet=rng.randint(20_000, 30_000), fives=fives)
        assert timer.quick() == timer.run().counts
    assert timer.top in timer.quick()


def test_the_acknowledgement_lasts_6_ms() -> None:
    """S-9.2.3: 6 ms, give or take 1. Two in a row are two pulses."""
    module = timer_module(name="acknowledgement")
    cycles = module.FREQUENCY / 1_000_000
    changes = pulses([module.PULSE], 20_000)
    assert [level for _, level in changes] == [1, 0]
    assert (changes[1][0] - changes[0][0]) / cycles == 6_000
    assert [level for _, level in pulses([100, 200], 1_000)] == [1, 0, 1, 0]
