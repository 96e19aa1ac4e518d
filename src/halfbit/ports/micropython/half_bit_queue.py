# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A queue of half-bit durations between an interrupt, or a hardware buffer, and the main loop.

Allocates once, when it is made; put() may run in an interrupt. A duration that finds no room is lost, and the receiver
must not go on as if nothing had been: in its place a 0 comes out, which no half-bit lasts, so that it is a fault.
"""

from array import array


class HalfBitQueue:
    """A ring of ``size`` durations, in ticks; ``size`` is a power of two."""

    def __init__(self, size):
        self.ring = array("H", bytes(2 * size))
        self.mask = size - 1
        self.head = 0  # where the next one goes
        self.tail = 0  # where the next one is taken
        self.lost = 0  # how many found no room
        self.most = 0  # how many it has held at once
        self.torn = False  # some were lost, and the 0 that says so has not yet gone in

    def put(self, duration):
        """Take a duration; what is longer than 16 bits can hold is as good as that long."""
        length = (self.head - self.tail) & self.mask
        if length + self.torn >= self.mask:
            self.lost += 1
            self.torn = True
            return
        if self.torn:
            self.torn = False
            self.ring[self.head] = 0
            self.head = (self.head + 1) & self.mask
            length += 1
        if length >= self.most:
            self.most = length + 1
        self.ring[self.head] = duration if duration < 0xFFFF else 0xFFFF
        self.head = (self.head + 1) & self.mask

    def get(self):
        """The oldest duration, -1 if there is none."""
        if self.head == self.tail:
            return -1
        duration = self.ring[self.tail]
        self.tail = (self.tail + 1) & self.mask
        return duration
