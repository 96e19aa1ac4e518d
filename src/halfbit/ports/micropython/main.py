# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A vehicle's decoder on an RP2040: connects half_bit_timer.py, core.py and vehicle.py to a motor and two lamps.

Engine number 7 of an invented railway. This was tested with simulated hardware, not on a board. Before you wire
anything, read the cautions in docs/porting.rst. Never connect the rails to the board: put an optocoupler between them.
Never share a ground with a PC that is plugged in. Put a fuse and a current limit into each line. Never use mains. Never
use it for anything that people ride on, or whose failure could hurt somebody.

The loop allocates no memory, so garbage collection cannot stop it while half-bits arrive. Print from it only to find a
mistake: printing takes longer than the eight half-bits that the hardware holds.
"""

import core
import half_bit_timer
from machine import PWM, Pin
from vehicle import Vehicle, receiver

OPTOCOUPLER_PIN = 16
MOTOR_PIN = 17  # to a motor driver's enable input
DIRECTION_PIN = 18  # to its direction input
LAMP_PINS = 19, 20  # FL forward, FL reverse: each to a transistor


class Outputs:
    """The engine's motor and lamps."""

    def __init__(self):
        self.motor = PWM(Pin(MOTOR_PIN), freq=20_000, duty_u16=0)
        self.direction = Pin(DIRECTION_PIN, Pin.OUT)
        self.front = Pin(LAMP_PINS[0], Pin.OUT)
        self.rear = Pin(LAMP_PINS[1], Pin.OUT)

    def show(self, engine):
        """Set motor and lamps to the engine's state. Allocates no memory."""
        forward = engine.forward
        self.motor.duty_u16(65535 * engine.step // engine.steps)
        self.direction.value(forward)
        self.front.value(engine.functions & 1 and forward)
        self.rear.value(engine.functions & 1 and not forward)


class Losses:
    """Counts how often half-bits were lost because the loop was too late."""

    def __init__(self):
        self.count = 0


def run(timer, decoder, engine, outputs, losses, turns=-1):
    """The main loop: ``turns`` turns, or for ever if negative."""
    waiting, get = timer.rx_fifo, timer.get
    feed, packets = decoder.feed, decoder.packets
    top, full, done = half_bit_timer.TOP, half_bit_timer.DEPTH, core.PACKET
    while turns:
        turns -= 1
        count = waiting()
        if not count:
            continue
        if count == full and half_bit_timer.overflowed():
            half_bit_timer.drop(timer)
            losses.count += 1
            feed(0)  # a fault: half-bits are missing here
            continue
        if feed(top - get()) == done:
            engine.take(packets.data, packets.length)
            if engine.changed:
                engine.changed = False
                outputs.show(engine)


def main():
    """Run for ever."""
    timer = half_bit_timer.start(OPTOCOUPLER_PIN)
    decoder = receiver(half_bit_timer.TICKS_PER_US, tolerance=1)
    run(timer, decoder, Vehicle(7), Outputs(), Losses())


if __name__ == "__main__":
    main()
