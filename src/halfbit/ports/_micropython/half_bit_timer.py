"""Times half-bits with the RP2040's programmable I/O. No interrupt is needed, so none can be late.

The program counts while the level does not change, in steps of half a microsecond, and outputs the count at each
change. The hardware holds up to eight counts until they are read; half_bit_ring.py has room for more. Levels longer
than 16 ms count as 16 ms. The first count is an unknown part of a half-bit.
"""

import rp2
from machine import Pin, mem32

TICKS_PER_US = 2
FREQUENCY = 4_000_000  # two cycles per tick

COUNT = 0x7FFF  # start value of the count-down
AHEAD = 3  # ticks from a change to the first sample after it
TOP = COUNT + AHEAD  # a duration in ticks is TOP - value from the FIFO

# RP2040 datasheet (from memory): for each PIO block, the register whose lowest bits show that a push found the FIFO
# full. The addresses are made once: above 2**30, MicroPython would allocate an object each time.
FDEBUG = (0x5020_0008, 0x5030_0008)


@rp2.asm_pio(fifo_join=rp2.PIO.JOIN_RX, in_shiftdir=rp2.PIO.SHIFT_LEFT)
def half_bit_timer():
    """The program of the state machine: counts down until the level changes, then outputs the count."""
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
    set(x, 0)  # the count has run out: stay at 0
    jmp("low")
    label("rise")
    mov(isr, x)
    push(noblock)
    mov(x, y)[2]  # same delay as for the other edge
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
    """Start state machine ``number`` on a pin and return it. It times the half-bits at the pin."""
    pin = Pin(pin, Pin.IN)
    machine = rp2.StateMachine(number, half_bit_timer, freq=FREQUENCY, in_base=pin, jmp_pin=pin)
    machine.active(1)
    return machine


def overflowed(number=0):
    """True if counts were lost since the last call because the FIFO was full. Allocates no memory."""
    at = FDEBUG[number >> 2]
    bit = 1 << (number & 3)
    if not mem32[at] & bit:
        return False
    mem32[at] = bit  # writing a one clears the flag
    return True
