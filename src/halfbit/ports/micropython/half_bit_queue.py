# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A queue of half-bit durations between an interrupt, or a hardware buffer, and the main loop.

It allocates memory only when it is created. put() may run in an interrupt. If the queue is full, a duration is lost,
and the receiver must notice this. So the queue gives a 0 in its place. No half-bit lasts 0 ticks, so the receiver
reports a fault.
"""

from array import array


class HalfBitQueue:
    """A ring of ``size`` durations, in ticks; ``size`` is a power of two."""

    def __init__(self, size):
        self.ring = array("H", bytes(2 * size))
        self.mask = size - 1
        self.head = 0  # where the next duration is written
        self.tail = 0  # where the next duration is read
        self.lost = 0  # number of lost durations
        self.most = 0  # most durations held at the same time
        self.torn = False  # durations were lost, and the 0 for them is not yet in the queue

    def put(self, duration):
        """Add a duration, in ticks. Durations above 65535 are stored as 65535: both are too long for a half-bit."""
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
        """Remove and return the oldest duration, in ticks; -1 if the queue is empty."""
        if self.head == self.tail:
            return -1
        duration = self.ring[self.tail]
        self.tail = (self.tail + 1) & self.mask
        return duration
