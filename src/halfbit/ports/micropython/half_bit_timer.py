# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""Half-bits timed by the RP2040's programmable I/O, so that no interrupt and no loop can lose one.

The program counts while the pin stays as it is, and hands each count over at a change, in steps of half a
microsecond. Eight counts wait in hardware until somebody takes them. A level that lasts beyond 16 ms counts as
that long. The first count is of an unknown part of a half-bit: drop it.
"""

import rp2
from machine import Pin, mem32

TICKS_PER_US = 2
FREQUENCY = 4_000_000  # two cycles for a tick

#: What the program counts down from, and the ticks from a change to the first look after it.
COUNT = 0x7FFF
AHEAD = 3
#: A duration in ticks is TOP less what comes out of the FIFO.
TOP = COUNT + AHEAD

# RP2040 datasheet (from memory): the two blocks' registers, and which one tells of a push into a full FIFO.
BLOCKS = (0x5020_0000, 0x5030_0000)
FDEBUG = 0x008


@rp2.asm_pio(fifo_join=rp2.PIO.JOIN_RX, in_shiftdir=rp2.PIO.SHIFT_LEFT)
def half_bit_timer():
    set(x, 31)  # y := COUNT, fifteen ones
    mov(isr, null)
    in_(x, 5)
    in_(x, 5)
    in_(x, 5)
    mov(y, isr)
    mov(x, y)
    label("low")
    jmp(pin, "rise")
    jmp(x_dec, "low")
    set(x, 0)  # it has run out: stay there
    jmp("low")
    label("rise")
    mov(isr, x)
    push(noblock)
    mov(x, y)[2]  # as long as the other way round
    label("high")
    jmp(pin, "still")
    mov(isr, x)
    push(noblock)
    mov(x, y)
    jmp("low")[1]
    label("still")
    jmp(x_dec, "high")
    set(x, 0)
    jmp("high")


def start(pin, number=0):
    """The state machine ``number`` timing the half-bits at a pin, running."""
    pin = Pin(pin, Pin.IN)
    machine = rp2.StateMachine(number, half_bit_timer, freq=FREQUENCY, in_base=pin, jmp_pin=pin)
    machine.active(1)
    return machine


def take(machine, queue):
    """Move what has been timed into a queue (half_bit_queue.py)."""
    while machine.rx_fifo():
        queue.put(TOP - machine.get())


def overflowed(number=0):
    """Whether counts were dropped since the last call, because the FIFO was full."""
    at = BLOCKS[number // 4] + FDEBUG
    bit = 1 << number % 4
    if not mem32[at] & bit:
        return False
    mem32[at] = bit  # writing a one takes it back
    return True
