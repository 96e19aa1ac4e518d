"""The acknowledgement pulse of service mode, 6 ms, by the RP2040's programmable I/O: nothing can make it longer."""

import rp2
from machine import Pin

FREQUENCY = 1_000_000
PULSE = 6_000 - 2  # us (S-9.2.3: 6 ms +- 1 ms); the program adds two cycles


@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW)
def pulse():
    """The program of the state machine: each number put into its FIFO turns the pin on for that time, us."""
    pull()
    mov(x, osr)
    set(pins, 1)
    label("on")
    jmp(x_dec, "on")
    set(pins, 0)


def start(pin, number=1):
    """Start state machine ``number`` and return it; ``put(PULSE)`` makes a pulse at the pin."""
    machine = rp2.StateMachine(number, pulse, freq=FREQUENCY, set_base=Pin(pin, Pin.OUT))
    machine.active(1)
    return machine
