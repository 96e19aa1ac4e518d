# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A vehicle's decoder: turns half-bits from a queue into speed and functions, with halfbit's core.

Keep core.py (an unchanged copy of halfbit/core.py) in the same folder. After construction it allocates no memory. It
has no service mode and no CVs; the decoder in C has them.
"""

import core


def receiver(ticks=1, us=1, tolerance=0, any_difference=False):
    """The core with the limits of a decoder (S-9.1 A, table 1), for a timer with ``ticks`` ticks in ``us`` us.

    ``tolerance`` is the largest measuring error of a duration, in ticks: each window is wider by it on both sides, and
    the allowed difference of two halves by twice as much. ``any_difference`` switches this rule off.
    """
    one_min = (52 * ticks + us - 1) // us - tolerance
    one_max = 64 * ticks // us + tolerance
    zero_min = (90 * ticks + us - 1) // us - tolerance
    zero_max = 10000 * ticks // us + tolerance
    difference = one_max if any_difference else 6 * ticks // us + 2 * tolerance
    return core.Receiver(
        core.HalfBits(one_min, one_max, zero_min, zero_max),
        core.Bits(difference, 2 * zero_max),
        core.Packets(difference, 10, 3, 15),  # at least ten one-bits and three bytes (S-9.2 A)
    )


class Vehicle:
    """The requested state of the vehicle at ``address``: short, 1 to 127, or with ``long`` long, 0 to 10239.

    ``steps`` is the meaning of speed and direction (CV 29 bit 1): 28 steps, or 14 steps with FL.
    """

    def __init__(self, address, long=False, steps=28):
        self.address = address
        self.long = long
        self.table_steps = steps
        self.forward = True
        self.step = 0
        self.steps = steps  # number of steps; 126 after a 128 speed step control
        self.emergency = False
        self.functions = 0  # bit 0 FL, bit n Fn, up to F28
        self.packets = 0  # packets for this address, broadcast included
        self.changed = True  # set when speed, direction or functions change; the caller clears it

    def take(self, data, length):
        """Take a packet, with a correct error detection byte. Returns True if it was for this vehicle."""
        first = data[0]
        at = 1
        if first and not self.long:
            if first != self.address:
                return False
        elif first:
            if length < 4 or not 192 <= first < 232 or (first & 63) << 8 | data[1] != self.address:
                return False
            at = 2
        self.packets += 1
        step, steps, forward = self.step, self.steps, self.forward
        emergency, functions = self.emergency, self.functions
        end = length - 1
        while at < end:
            size = self.obey(data, at, end - at)
            at += size
            if not size or not first:  # the rest is not known; broadcast has one instruction (S-9.2.1 B)
                break
        if step != self.step or steps != self.steps or forward is not self.forward:
            self.changed = True
        elif emergency is not self.emergency or functions != self.functions:
            self.changed = True
        return True

    def obey(self, data, at, left):
        """Obey the instruction at ``data[at]`` (S-9.2 B, S-9.2.1 C). Returns its number of bytes; 0 to stop here."""
        byte = data[at]
        if 0x40 <= byte < 0x80:
            self.speed(byte)
            return 1
        if 0x80 <= byte < 0xA0:
            self.switch(byte & 15, 1, 4)
            if self.table_steps == 28:
                self.switch(byte >> 4 & 1, 0, 1)
            return 1
        if 0xA0 <= byte < 0xC0:
            self.switch(byte & 15, 5 if byte & 16 else 9, 4)
            return 1
        if byte == 0x3F and left > 1:
            code = data[at + 1] & 127
            self.forward = data[at + 1] > 127
            self.steps = 126
            self.step = code - 1 if code > 1 else 0
            self.emergency = code == 1
            return 2
        if (byte == 0xDE or byte == 0xDF) and left > 1:
            self.switch(data[at + 1], 13 if byte == 0xDE else 21, 8)
            return 2
        if byte == 0:
            self.step = 0
            self.emergency = False
            self.functions = 0
            self.forward = True
            return 1
        return self.passed_over(byte, left)

    def passed_over(self, byte, left):
        """The number of bytes of an instruction that this vehicle ignores; 0 if not known."""
        if byte & 0xFE in (0x0A, 0x0E):
            size = 1
        elif byte & 0xFE in (0x06, 0x12, 0xF2) or byte == 0x3E or 0xD8 <= byte < 0xDE:
            size = 2
        elif byte in (0x3D, 0xC0) or 0xE0 <= byte < 0xF0 or byte & 0xFE == 0xF4:
            size = 3
        else:
            size = 0
        return size if size <= left else 0

    def speed(self, byte):
        """Obey speed and direction, or broadcast stop: 28 steps, or 14 with FL (S-9.2 B)."""
        half = byte & 15
        c = byte >> 4 & 1
        self.forward = byte & 32 != 0
        self.steps = self.table_steps
        self.emergency = half == 1
        if half < 2:
            self.step = 0
        elif self.table_steps == 28:
            self.step = 2 * half - 3 + c
        else:
            self.step = half - 1
        if self.table_steps == 14:
            self.switch(c, 0, 1)

    def switch(self, states, first, count):
        """Set ``count`` functions from ``first`` up, one bit each; ``first`` is bit 0 of ``states``."""
        mask = ((1 << count) - 1) << first
        self.functions = self.functions & ~mask | states << first


def drain(queue, receiver, vehicle, most):
    """Decode up to ``most`` half-bits from the queue. Returns the number decoded."""
    packets = receiver.packets
    taken = 0
    while taken < most:
        duration = queue.get()
        if duration < 0:
            break
        if receiver.feed(duration) == core.PACKET:
            vehicle.take(packets.data, packets.length)
        taken += 1
    return taken
