# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A vehicle's decoder on an RP2040: half_bit_timer.py, half_bit_queue.py, core.py and vehicle.py joined.

An invented railway's engine number 7. Before wiring anything read the cautions in docs/porting.rst: the rails
never go to the board, an optocoupler stands between; no ground in common with a PC that is plugged in; a fuse and a
current limit in each line; never mains, never anything people ride on or whose failure could hurt somebody.
"""

import half_bit_timer
from half_bit_queue import HalfBitQueue
from vehicle import Vehicle, drain, receiver

OPTOCOUPLER_PIN = 16


def main(turns=-1):
    """Run, for so many turns; for ever if negative."""
    timer = half_bit_timer.start(OPTOCOUPLER_PIN)
    queue = HalfBitQueue(1024)
    decoder = receiver(half_bit_timer.TICKS_PER_US, off=1)
    engine = Vehicle(7)
    before = None
    dropped = 0
    while turns:
        half_bit_timer.take(timer, queue)
        # No more at a time than the FIFO can wait for: eight half-bits are 464 us at the densest.
        drain(queue, decoder, engine, 1)
        if half_bit_timer.overflowed():
            dropped += 1
            print("half-bits dropped,", dropped, "times")
        if (engine.step, engine.forward, engine.functions) != before:
            before = engine.step, engine.forward, engine.functions
            print("step", engine.step, "of", engine.steps, "forward" if engine.forward else "reverse", bin(engine.functions))
        turns -= 1
    return engine


if __name__ == "__main__":
    main()
