"""A complete vehicle decoder on an RP2040: input pin, motor, lamps, CVs and acknowledgement.

This was tested with simulated hardware, not on a board. Before you wire anything, read the cautions in
docs/porting.rst. TRACK POWER CAN HURT BOARDS AND PEOPLE. Never connect the rails to the board: put an optocoupler
between them. Never share a ground with a PC that is plugged in. Put a fuse and a current limit into each line. Never
use mains. Never use it for anything that people ride on, or whose failure could hurt somebody. Local codes and the
advice of qualified people come first.

Each half-bit is timed by programmable I/O and stored by DMA, so nothing is lost while MicroPython collects garbage or
writes a file. The loop itself allocates no memory; saving CVs does.
"""

import acknowledgement
import core
import half_bit_ring
import half_bit_timer
from cvs import Cvs
from machine import PWM, Pin
from motion import Motion
from time import ticks_ms
from vehicle import MASK, Vehicle, receiver

OPTOCOUPLER_PIN = 16
MOTOR_PIN = 17  # to a motor driver's enable input
DIRECTION_PIN = 18  # to its direction input
LAMP_PINS = 19, 20  # FL forward, FL reverse: each through a transistor
FUNCTION_PINS = 10, 11, 12, 13  # F1 to F4, each through a transistor
ACKNOWLEDGEMENT_PIN = 21  # a load of 60 mA on the track, through its own isolator

BATCH = 32  # most half-bits between two looks at the ring
SHOW_MS = 5  # time between two looks at motor and lamps
SAVE_MS = 10  # CVs that changed are saved after this time; soon, because power may go off after a session


class Engine(Vehicle):
    """The vehicle with its hardware."""

    def __init__(self, cvs):
        super().__init__(cvs, ticks_ms())
        self.motion = Motion()
        self.motor = PWM(Pin(MOTOR_PIN), freq=20_000, duty_u16=0)
        self.direction_pin = Pin(DIRECTION_PIN, Pin.OUT)
        self.front = Pin(LAMP_PINS[0], Pin.OUT)
        self.rear = Pin(LAMP_PINS[1], Pin.OUT)
        self.pins = [Pin(number, Pin.OUT) for number in FUNCTION_PINS]
        self.pulse = acknowledgement.start(ACKNOWLEDGEMENT_PIN)
        self.shown = ticks_ms()
        self.unsaved = -1  # time of the first change that is not saved; -1 if all is saved

    def acknowledge(self):
        """Start the pulse. It ends by itself."""
        self.pulse.put(acknowledgement.PULSE)

    def show(self, now):
        """Let time pass for vehicle and motor."""
        if (now - self.shown) & MASK < SHOW_MS:
            return
        self.shown = now
        self.tick(now)
        level = self.motion.tick(self, now)
        if not level:
            self.motor.duty_u16(0)
        self.direction_pin.value(self.motion.forward)
        if level:
            self.motor.duty_u16(257 * level)
        forward = self.forward()
        self.front.value(self.functions[0] & forward)
        self.rear.value(self.functions[0] & ~forward)
        for i in range(4):
            self.pins[i].value(self.functions[i + 1])

    def save(self, now):
        """Save the CVs, if the first change is old enough. This allocates memory and takes some ten ms."""
        if self.unsaved < 0:
            self.unsaved = now
        elif (now - self.unsaved) & MASK >= SAVE_MS:
            self.unsaved = -1
            self.cvs.save()


def run(ring, decoder, engine, turns=-1):
    """The main loop: ``turns`` turns, or for ever if negative.

    A packet's time is when it was on the track, not when it is read: while the ring is not empty, the durations tell
    the time. So a stop of the loop does not look like a pause on the track, which would end service mode.
    """
    feed, packets = decoder.feed, decoder.packets
    words, first = ring.words, ring.first
    mask, top, done = half_bit_ring.SIZE - 1, half_bit_timer.TOP, core.PACKET
    per_ms = 1000 * half_bit_timer.TICKS_PER_US
    now = ticks_ms()
    passed = -1  # ticks since ``now``; -1 if the ring was empty then
    while turns:
        turns -= 1
        waiting = ring.look()
        if waiting <= 0:
            if waiting:
                feed(0)  # a fault: half-bits are missing here
            clock = ticks_ms()
            if not (clock - now) & 0x2000_0000:  # never go back
                now = clock
            passed = -1
            engine.show(now)
            if not waiting and engine.cvs.changed:
                engine.save(now)
            continue
        at = ring.taken
        if passed < 0:  # the first half-bit after an empty ring began before ``now``: it does not count
            passed = words[first + (at & mask)] - top
        end = at + (waiting if waiting < BATCH else BATCH)
        answer = 0
        while at < end and answer != done:
            duration = top - words[first + (at & mask)]
            at += 1
            passed += duration
            answer = feed(duration)
        ring.taken = at
        if not ring.whole():
            feed(0)
            now = ticks_ms()
            passed = -1
        elif answer == done:
            now = (now + passed // per_ms) & MASK
            passed %= per_ms
            engine.take(packets.data, packets.length, now)
            engine.show(now)


def main():
    """Run for ever."""
    cvs = Cvs()
    if not cvs.load():
        cvs.save()  # the first start
    ring = half_bit_ring.HalfBitRing(half_bit_timer.start(OPTOCOUPLER_PIN))
    decoder = receiver(half_bit_timer.TICKS_PER_US, tolerance=1)
    engine = Engine(cvs)
    try:
        run(ring, decoder, engine)
    finally:
        engine.motor.duty_u16(0)  # a program that has ended must not leave the motor on


if __name__ == "__main__":
    main()
