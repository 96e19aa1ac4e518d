# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A vehicle's decoder on an RP2040: half_bit_timer.py, core.py and vehicle.py joined to a motor and two lamps.

An invented railway's engine number 7. It has run with stand-ins for the hardware, not on a board. Before wiring anything
read the cautions in docs/porting.rst: the rails never go to the board, an optocoupler stands between; no ground in
common with a PC that is plugged in; a fuse and a current limit in each line; never mains, never anything people ride on
or whose failure could hurt somebody.

The loop allocates nothing, so no collection of garbage can stop it while half-bits come in. Print from it only to find a
mistake: printing takes longer than the eight half-bits that the hardware keeps.
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
    """What the engine drives."""

    def __init__(self):
        self.motor = PWM(Pin(MOTOR_PIN), freq=20_000, duty_u16=0)
        self.direction = Pin(DIRECTION_PIN, Pin.OUT)
        self.front = Pin(LAMP_PINS[0], Pin.OUT)
        self.rear = Pin(LAMP_PINS[1], Pin.OUT)

    def show(self, engine):
        """Bring motor and lamps to what the engine is asked for. Allocates nothing."""
        forward = engine.forward
        self.motor.duty_u16(65535 * engine.step // engine.steps)
        self.direction.value(forward)
        self.front.value(engine.functions & 1 and forward)
        self.rear.value(engine.functions & 1 and not forward)


class Losses:
    """How often half-bits were dropped because the loop came too late."""

    def __init__(self):
        self.count = 0


def run(timer, decoder, engine, outputs, losses, turns=-1):
    """The loop, for ``turns`` turns; for ever if negative."""
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
            feed(0)  # a fault: what comes next does not follow what came before
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
