"""The loop of main.py by hand: what is lost in the ring, or overwritten while it is read, is a fault, and no packet."""

from __future__ import annotations

from array import array
from collections.abc import Sequence

import pytest

from .support_micropython import FILES, run
from .support_railway import packets

#: The board's modules.
MODULES = """
import sys
class Module: pass
rp2, machine, time = Module(), Module(), Module()
class Pio: JOIN_RX, SHIFT_LEFT, OUT_LOW = 2, 0, 0
class StateMachine:
    def __init__(self, number, program, freq, in_base=None, jmp_pin=None, set_base=None):
        self.on = 0
    def active(self, on): self.on = on
    def put(self, number): note(0xFF, b"", 0, sim.ms)
class Pin:
    IN, OUT = 0, 1
    def __init__(self, number, mode=0): self.level = 0
    def value(self, level): self.level = level
class PWM:
    def __init__(self, pin, freq, duty_u16): self.duty = 0
    def duty_u16(self, duty): self.duty = duty
rp2.PIO, rp2.StateMachine = Pio, StateMachine
rp2.asm_pio = lambda **settings: lambda program: "program"
machine.Pin, machine.PWM, machine.mem32 = Pin, PWM, {0x50200008: 0, 0x50300008: 0}
sys.modules["rp2"], sys.modules["machine"], sys.modules["time"] = rp2, machine, time
"""

#: A DMA that stores what it is given: when it starts, at once, or while the loop reads. Prints the packets obeyed.
BY_HAND = """
import uctypes
from array import array
class DMA:
    late = fifo = ()
    def pack_ctrl(self, **fields): pass
    def config(self, read, write, count, ctrl, trigger):
        self.left, self.words = count, uctypes.bytearray_at(write, 8192)
        self.put(self.fifo)
    def put(self, counts):
        for ticks in counts:
            assert self.left > 0
            at = 2 * ((1 << 29) - self.left) & 8191
            self.words[at : at + 2] = (32770 - ticks).to_bytes(2, "little")
            self.left -= 1
    @property
    def count(self):
        left, late, self.late = self.left, self.late, ()
        self.put(late)
        return left
rp2.DMA = DMA
time.ticks_ms = lambda: 0
import main, half_bit_ring
from cvs import Cvs
from vehicle import receiver
class Logged(main.Engine):
    def take(self, data, length, now): print(bytes(data[:length]))
with open("counts", "rb") as file:
    counts = array("H", file.read())
ring, decoder, engine = half_bit_ring.HalfBitRing(main.half_bit_timer), receiver(2, tolerance=1), Logged(Cvs())
def go(late=()):
    ring.dma.late = late
    main.run(ring, decoder, engine, 200)
"""


def by_hand(script: str, counts: Sequence[int]) -> list[str]:
    """Run the loop by hand; what it printed."""
    return run(MODULES + BY_HAND + script, {**FILES, "counts": array("H", counts).tobytes()}).output.splitlines()


def test_a_lost_half_bit_is_a_fault() -> None:
    """5000 half-bits come while the loop stands still, in the middle of a packet. What is left would be a packet."""
    whole = [d // 500 for d in packets((7, 0x3F, 0x90))]
    there = 2 * (16 + 1 + 9)  # behind the first byte and its separator
    assert by_hand(f"ring.dma.put(counts[:{there}]); go(); ring.dma.put(counts[{there}:]); go()", whole) == ["b'\\x07?\\x90\\xa8'"]
    script = f"""
ring.dma.put(counts[:{there}]); go()
ring.dma.put(array("H", bytes(10000))); go()
ring.dma.put(counts[{there}:]); go()
print(ring.lost)
ring.dma.put(counts); go()
"""
    assert by_hand(script, whole) == ["5000", "b'\\x07?\\x90\\xa8'"]


@pytest.mark.parametrize("rest", [0, 8])
def test_half_bits_that_are_overwritten_while_they_are_read(rest: int) -> None:
    """The DMA comes round between the look and the reading. What it writes, with the rest after it, would be a packet."""
    whole = [d // 500 for d in packets((7, 0x3F, 0x90))]
    there = len(whole) - 20
    script = f"""
ring.dma.put(counts[:{there}]); go()
other = counts[{there} : {len(whole) - rest}]
ring.dma.put(array("H", bytes(2 * len(other)))); go(array("H", bytes(2 * (4096 - len(other)))) + other)
ring.dma.put(counts[{len(whole) - rest} :]); go()
print(ring.lost)
ring.dma.put(counts); go()
"""
    assert by_hand(script, whole) == ["4096", "b'\\x07?\\x90\\xa8'"]


def test_the_dma_is_started_again() -> None:
    script = "ring.dma.put(counts[:50]); go(); ring.dma.left = 0; ring.taken = 1 << 29; go(); ring.dma.put(counts); go(); print(ring.lost)"
    assert by_hand(script, [d // 500 for d in packets((7, 0x3F, 0x90))]) == ["b'\\x07?\\x90\\xa8'", "0"]


#: The FIFO is full: it has kept eight half-bits of the preamble, and all but the last seven one-bits of it were dropped.
FULL = "DMA.fifo, machine.mem32[0x50200008] = counts[:8], 1"
AFTER = """
DMA.fifo, machine.mem32[0x50200008] = (), 0
ring.dma.put(counts[18:]); go()
print(ring.lost)
ring.dma.put(counts); go()
"""


def test_half_bits_that_are_dropped_before_the_dma_runs() -> None:
    """What the FIFO kept does not belong to what comes after: the preamble would be long enough then."""
    script = f"{FULL}; ring = half_bit_ring.HalfBitRing(main.half_bit_timer)" + AFTER
    assert by_hand(script, [d // 500 for d in packets((7, 0x3F, 0x90))]) == ["0", "b'\\x07?\\x90\\xa8'"]


def test_half_bits_that_are_dropped_until_the_dma_is_started_again() -> None:
    script = f"ring.dma.left = 0; ring.taken = 1 << 29; {FULL}; go()" + AFTER
    assert by_hand(script, [d // 500 for d in packets((7, 0x3F, 0x90))]) == ["9", "b'\\x07?\\x90\\xa8'"]


def test_the_motor_stops_if_the_program_ends() -> None:
    """By a mistake, or by Ctrl-C."""
    script = """
def ended(ring, decoder, engine):
    engine.motor.duty_u16(9)
    print(engine.motor.duty)
    main.made = engine
    raise KeyboardInterrupt
main.run = ended
try:
    main.main()
except KeyboardInterrupt:
    print(main.made.motor.duty)
"""
    assert by_hand(script, [116]) == ["9", "0"]
