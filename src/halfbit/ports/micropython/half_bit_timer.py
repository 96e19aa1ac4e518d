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

# RP2040 datasheet (from memory): for each block the register whose lowest bits say that a push found the FIFO full. The
# addresses are made once: beyond 2**30 each new one would be an object of its own.
FDEBUG = (0x5020_0008, 0x5030_0008)
#: Counts that the hardware keeps.
DEPTH = 8


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


def drop(machine, number=0):
    """After a loss: throw away what waits, on either side of it, and forget the loss. Then feed the receiver a 0."""
    while machine.rx_fifo():
        machine.get()
    overflowed(number)


def start(pin, number=0):
    """The state machine ``number`` timing the half-bits at a pin, running."""
    pin = Pin(pin, Pin.IN)
    machine = rp2.StateMachine(number, half_bit_timer, freq=FREQUENCY, in_base=pin, jmp_pin=pin)
    machine.active(1)
    return machine


def overflowed(number=0):
    """True if counts were dropped since the last call, because the FIFO was full. Allocates nothing."""
    at = FDEBUG[number >> 2]
    bit = 1 << (number & 3)
    if not mem32[at] & bit:
        return False
    mem32[at] = bit  # writing a one takes it back
    return True
