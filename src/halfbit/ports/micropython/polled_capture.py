# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A capture with a polled loop, for boards without a timer that could do it: durations to a text file.

What it can do: show whether there is a signal, and be decoded by the sums of its half-bits
(``halfbit decode --limits auto``). What it cannot do: tell a one's half from a zero's one by
one, since a loop of an interpreter looks only every 30 to 40 us, now and then every 80 (common practice, no source).
Pulses shorter than a turn are not seen. The loop allocates nothing, so that no collection of
garbage can stop it. For wiring, and what must never be wired, see docs/porting.rst.
"""

from array import array
from time import ticks_diff, ticks_us


def capture(level, durations):
    """Fill ``durations`` with the us between changes of ``level()``, 65535 for that long or longer."""
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
    """One duration to a line, us: what ``halfbit decode`` reads as it is."""
    with open(name, "w") as file:
        for duration in durations:
            file.write("%d\n" % duration)


def main(pin=16, count=8000):
    """Capture at a pin, and save: a second or less of signal."""
    from machine import Pin

    durations = array("H", bytes(2 * count))
    capture(Pin(pin, Pin.IN).value, durations)
    save(durations)
