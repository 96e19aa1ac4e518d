"""Captures with a polling loop, for boards without a suitable timer. Writes durations to a text file.

The capture shows if there is a signal, and ``halfbit decode --limits auto`` can decode it from the sums of half-bits.
It is too coarse to tell single halves of ones and zeros apart: an interpreter samples only every 30 to 40 us, sometimes
every 80 us (common practice, no source). Pulses shorter than that are not seen. The loop allocates no memory, so
garbage collection cannot stop it. For wiring, and for what you must never wire, see docs/porting.rst.
"""

from array import array
from time import ticks_diff, ticks_us


def capture(level, durations):
    """Fill ``durations`` with the times between changes of ``level()``, us; 65535 for 65535 us or more."""
    count = len(durations)
    index = 0
    old = level()
    while level() == old:
        pass
    before = ticks_us()
    old = 1 - old
    while index < count:
        if level() != old:
            now = ticks_us()
            old = 1 - old
            passed = ticks_diff(now, before)
            durations[index] = passed if passed < 65535 else 65535
            index += 1
            before = now


def save(durations, name="capture.txt"):
    """Write one duration per line, us. ``halfbit decode`` reads this file directly."""
    with open(name, "w") as file:
        for duration in durations:
            file.write("%d\n" % duration)


def main(pin=16, count=8000):
    """Capture at a pin and save the durations. 8000 durations are a second of signal or less."""
    from machine import Pin

    durations = array("H", bytes(2 * count))
    capture(Pin(pin, Pin.IN).value, durations)
    save(durations)
