"""A vehicle's decoder: what packets make it do, in operations and in service mode.

The rules are the same as in the C decoder (decoder.c, multi_function.c), and tests compare it with halfbit's Python
model. It drives no hardware: read its state, and override acknowledge() and the others below it. After construction it
allocates no memory, except for a first write to an indexed CV. Keep core.py (an unchanged copy of halfbit/core.py),
cvs.py and instruction_size.py in the same folder.
"""

import core
from instruction_size import REST, UNKNOWN, class_of, extended_access, instruction_size

OPERATIONS = 0
SERVICE_MODE = 1
LEFT = 2  # service mode is over, but operations have not resumed

OWN = 1  # the kinds of the vehicle's addresses that match a packet; OWN and CONSIST can both match
CONSIST = 2
ALL = 4

REVERSED = 0x01  # CV 29 (S-9.2.2)
STEPS_28 = 0x02
EXTENDED = 0x20

MASK = 0x3FFF_FFFF  # times are ms, and wrap at 2**30 like MicroPython's ticks_ms()
HOLD_MS = 20  # service mode ends after this time without its packets (S-9.2.3 E)
TIMEOUT_MS = 1000  # per count of CV 11. The unit is in S-9.2.4, which we have not read: 1 s is an assumption.
LONGEST = 15  # bytes of the longest packet that is remembered


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


class Heard:
    """A remembered packet, and how many times in a row it came (3 for three or more)."""

    def __init__(self):
        self.data = bytearray(LONGEST)
        self.length = 0
        self.run = 0

    def note(self, data, length):
        """Note a packet and return its run. Repeats of packets that are too long are not recognized."""
        mine = self.data
        i = 0
        if length == self.length and length <= LONGEST:
            while i < length and data[i] == mine[i]:
                i += 1
            if i == length:
                if self.run < 3:
                    self.run += 1
                return self.run
        self.length = length
        self.run = 1
        while i < length and i < LONGEST:
            mine[i] = data[i]
            i += 1
        return 1


class Vehicle:
    """``cvs``: see cvs.py. ``now``: ms, from a counter that wraps at 2**30."""

    def __init__(self, cvs, now=0):
        self.cvs = cvs
        self.last = Heard()  # the last valid packet
        self.own = Heard()  # the last packet to this vehicle in operations mode
        self.after_reset = False
        self.mode = OPERATIONS  # no decoder powers up in service mode
        self.valid = now  # time of the last valid packet
        self.kept = now  # time of the last packet that keeps service mode active
        self.page = 1
        self.functions = bytearray(69)  # 1 if on; the first is FL
        self.power_up()

    # Override these. The answer is for bi-directional communication only; the current pulse would jerk a running train.

    def acknowledge(self):
        """Service mode: load the track with 60 mA for 6 ms +- 1 ms (S-9.2.3). Return at once."""

    def answer(self, cv, value):
        """Operations mode: the answer to a CV access."""

    def binary(self, number, on, long):
        """A binary state is set. Number 0: all states of the form, short or long."""

    def analog(self, output, value):
        """An analog output is set."""

    def power_up(self):
        """Go back to the state at power-up; only the CVs stay."""
        self.step = 0
        self.steps = 0  # number of steps: 14, 28 or 126; 0 for stop
        self.emergency = False
        self.direction = 1  # the last direction bit
        self.restriction = -1  # bits 0 to 5 of a restricted speed step; -1 if not restricted
        for i in range(69):
            self.functions[i] = 0

    def consist(self):
        """The consist's address; 0 if there is none."""
        return self.cvs.values[18] & 0x7F

    def forward(self):
        """1 if the vehicle must run forward. Depends on direction, CV 29 bit 0 and, in a consist, CV 19 bit 7."""
        values = self.cvs.values
        turned = values[28] & REVERSED
        if values[18] > 0x80:
            turned ^= 1
        return self.direction ^ turned

    def tick(self, now):
        """Let time pass. Call this every few ms."""
        if self.mode == SERVICE_MODE and (now - self.kept) & MASK >= HOLD_MS:
            self.leave(LEFT)
        limit = self.cvs.values[10] * TIMEOUT_MS
        if limit and self.step and (now - self.valid) & MASK >= limit:  # packet time-out (CV 11)
            self.step = 0
            self.steps = 0

    def take(self, data, length, now):
        """Take a packet, with a correct error detection byte."""
        self.tick(now)
        reset = length == 3 and not data[0] and not data[1]
        form = 3 <= length <= 4 and data[0] >> 4 == 7  # like a service mode packet (S-9.2.3 E)
        if form:
            if self.after_reset and self.mode != SERVICE_MODE:
                self.mode = SERVICE_MODE
                self.own.length = 0
            if self.mode == SERVICE_MODE:
                self.kept = now
        elif reset:
            self.kept = now
            if self.mode == LEFT:
                self.mode = OPERATIONS
        else:
            self.leave(OPERATIONS)
        self.after_reset = reset
        self.valid = now
        run = self.last.note(data, length)
        if self.mode == OPERATIONS:
            self.obey(data, length - 1)
        elif form and self.mode == SERVICE_MODE and run == 2:
            self.serve(data, length - 1)

    def leave(self, mode):
        """Leave service mode. The page register is then 1 again (common practice, no source)."""
        self.mode = mode
        self.page = 1

    # Service mode (S-9.2.3 E)

    def serve(self, data, length):
        """Act on the second of two identical packets in service mode. ``length``: without the error byte."""
        byte = data[0]
        if length == 3:
            self.access(data, 0, True)
            return
        value = data[1]
        number = (byte & 7) + 1
        write = byte >> 3 & 1
        if byte == 0x7F and value == 8:
            if not self.cvs.locked():
                self.cvs.defaults()
                self.page = 1
                self.power_up()
                self.acknowledge()
        elif number == 6:  # the page register
            if write:
                self.page = value
            if self.page == value:
                self.acknowledge()
        else:  # registers 1 to 4 are in a page, and page 0 counts as page 256 (from memory)
            cv = 29 if number == 5 else number if number > 6 else (self.page - 1 & 255) * 4 + number
            self.in_service(cv, write, value, -1)

    def access(self, data, at, second):
        """CV access: CCVV (the low four bits of the first byte) VVVVVVVV DDDDDDDD (S-9.2.1 C, S-9.2.3 E)."""
        kind = data[at] >> 2 & 3
        cv = ((data[at] & 3) << 8 | data[at + 1]) + 1
        value = data[at + 2]
        bit = -1
        write = kind == 3
        if kind == 2:  # 111CDBBB
            if value < 0xE0:
                return
            bit = value & 7
            write = value & 0x10
            value = value >> 3 & 1
        if kind and self.mode == SERVICE_MODE:
            self.in_service(cv, write, value, bit)
        elif kind:
            self.in_operations(cv, write, value, bit, second)

    def in_service(self, cv, write, value, bit):
        """Write or verify a CV. Acknowledge a write that was done and a verify that matches."""
        held = self.cvs.get(cv)
        if held < 0:
            return
        if write:
            done = self.cvs.write(cv, self.cvs.after(cv, value, bit))
        elif bit < 0:
            done = held == value
        else:
            done = held >> bit & 1 == value
        if done:
            self.acknowledge()

    def in_operations(self, cv, write, value, bit, second):
        """Verify at once; write with the second identical packet. Both are answered."""
        held = self.cvs.get(cv)
        if held < 0:
            return
        if write:
            if not second:
                return
            held = self.cvs.after(cv, value, bit)
            if not self.cvs.write(cv, held):
                return
        self.answer(cv, held)

    # Operations (S-9.2 B, S-9.2.1 C)

    def obey(self, data, end):
        """Act on a packet in operations mode. ``end``: its length without the error byte."""
        first = data[0]
        values = self.cvs.values
        at = 1
        to = 0
        if not values[0]:  # CV 1 = 0: no digital mode
            return
        if not first:
            to = ALL
        elif first < 128:
            if first == values[0] and not values[28] & EXTENDED:
                to = OWN
            if first == self.consist():
                to |= CONSIST
        elif 192 <= first < 232 and values[28] & EXTENDED and first == values[16] and data[1] == values[17]:
            to = OWN
            at = 2
        if not to:
            return
        second = self.own.note(data, end + 1) == 2
        if at < end and extended_access(to == ALL, data, at, end - at):
            return
        classes = 0
        while at < end:
            size = instruction_size(to == ALL, data, at, end - at, classes)
            if size == UNKNOWN or size == REST:
                break
            classes |= class_of(data[at])
            self.operate(to, data, at, size, second)
            at += size
            if to == ALL:  # a broadcast has only one instruction (S-9.2.1 B)
                break

    def operate(self, to, data, at, size, second):
        """Act on an instruction of ``size`` bytes."""
        byte = data[at]
        if byte < 0x20:
            self.control(byte, data[at + 1])
        elif byte < 0x40:
            self.advanced(to, data, at, size)
        elif byte < 0x80:
            self.speed_and_direction(to, byte)
        elif byte < 0xA0:  # function group one
            if self.cvs.values[28] & STEPS_28:
                self.switch(to, 0, 1, byte >> 4)
            self.switch(to, 1, 4, byte)
        elif byte < 0xC0:
            self.switch(to, 5 if byte & 0x10 else 9, 4, byte)
        elif byte < 0xE0:
            self.expansion(to, data, at)
        elif byte < 0xF0:
            if not to & CONSIST:
                self.access(data, at, second)
        elif byte & 0xFE == 0xF2:  # short form: CV 23, 24
            self.in_operations(23 + (byte & 1), True, data[at + 1], -1, True)
        elif byte & 0xFE == 0xF4:  # CV 17 and 18, 31 and 32 (RCN-214, from memory)
            cv = 31 if byte & 1 else 17
            if self.cvs.write(cv, data[at + 1]):
                self.in_operations(cv + 1, True, data[at + 2], -1, True)

    def control(self, byte, number):
        """Class 000."""
        values = self.cvs.values
        if byte == 0x01 and not self.cvs.locked():
            self.cvs.hard_reset()
        if byte < 2:
            self.power_up()
        elif byte & 0xFE == 0x0A:  # extended addressing
            self.cvs.write(29, values[28] | EXTENDED if byte & 1 else values[28] & ~EXTENDED)
        elif byte & 0xFE == 0x12 and number < 128:  # consist control
            self.cvs.write(19, number | (byte & 1) << 7 if number else 0)

    def advanced(self, to, data, at, size):
        """Class 001."""
        byte = data[at]
        value = data[at + 1]
        if byte == 0x3E:  # restricted speed step
            if to != OWN or not self.consist():
                self.restriction = -1 if value & 0x80 else value & 0x3F
        elif byte == 0x3D:
            if to != CONSIST:
                self.analog(value, data[at + 2])
        else:  # 0x3F: 128 speed steps; 0x3C: with functions (RCN-212, from memory)
            code = value & 0x7F
            self.speed(to, code - 1 if code > 1 else 0, 126, code == 1, value >> 7)
            for i in range(2, size):
                self.switch(to, 8 * (i - 2), 8, data[at + i])

    def expansion(self, to, data, at):
        """Class 110."""
        byte = data[at]
        value = data[at + 1]
        if byte == 0xDD or byte == 0xC0:  # binary state, short and long form
            if to != CONSIST:
                number = value & 0x7F
                if byte == 0xC0:
                    number |= data[at + 2] << 7
                self.binary(number, value >> 7, byte == 0xC0)
        elif byte >= 0xDE:
            self.switch(to, 13 if byte == 0xDE else 21, 8, value)
        elif byte >= 0xD8:
            self.switch(to, 29 + 8 * (byte - 0xD8), 8, value)

    def speed_and_direction(self, to, byte):
        """28 steps, or 14 steps with FL, depending on CV 29 bit 1. Also broadcast stop."""
        half = byte & 15
        c = byte >> 4 & 1
        if self.cvs.values[28] & STEPS_28:
            self.speed(to, 2 * half - 3 + c if half > 1 else 0, 28, half == 1, byte >> 5 & 1)
        elif self.speed(to, half - 1 if half > 1 else 0, 14, half == 1, byte >> 5 & 1):
            self.switch(to, 0, 1, c)

    def speed(self, to, step, steps, emergency, direction):
        """Set speed and direction. False if the address does not control them: in a consist, the own address."""
        if to == OWN and self.consist():
            return False
        self.step = step
        self.steps = steps if step else 0
        self.emergency = emergency
        self.direction = direction
        return True

    def switch(self, to, first, count, states):
        """Switch ``count`` functions from ``first`` up; ``first`` is bit 0 of ``states``."""
        for i in range(count):
            if to != CONSIST or self.obeys_consist(first + i):
                self.functions[first + i] = states >> i & 1

    def obeys_consist(self, number):
        """CV 21: F1 to F8; CV 22: FL forward, FL reverse, F9 to F12 (S-9.2.2)."""
        values = self.cvs.values
        if not number:
            return values[21] >> (0 if self.forward() else 1) & 1
        if number < 9:
            return values[20] >> number - 1 & 1
        return number < 13 and values[21] >> number - 7 & 1
