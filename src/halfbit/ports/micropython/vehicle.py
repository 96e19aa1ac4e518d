# mypy: ignore-errors
# (MicroPython's modules have no types here.)
"""A vehicle's decoder: half-bits from a queue, through halfbit's core, to speed and functions.

Keep core.py (halfbit/core.py as it is) and instruction_table.py beside it. Nothing is allocated after
construction. It has no service mode and no CVs: the C port's vehicle.c does.
"""

import core
import instruction_table as table


def receiver(ticks=1, us=1, tolerance=0, any_difference=False):
    """The core with what a decoder must accept (S-9.1 A, table 1), for a timer of ``ticks`` ticks in ``us`` us.

    ``tolerance`` is by how many ticks a duration may be measured wrong: the windows are wider by that much on each side, and
    the difference of two halves by twice as much. ``any_difference`` switches the rule for the halves' difference off.
    """
    one_min = (52 * ticks + us - 1) // us - tolerance
    one_max = 64 * ticks // us + tolerance
    zero_min = (90 * ticks + us - 1) // us - tolerance
    zero_max = 10000 * ticks // us + tolerance
    difference = one_max if any_difference else 6 * ticks // us + 2 * tolerance
    return core.Receiver(
        core.HalfBits(one_min, one_max, zero_min, zero_max),
        core.Bits(difference, 2 * zero_max),
        core.Packets(difference, 10, 3, 15),  # ten one-bits are a preamble, three bytes a packet (S-9.2 A)
    )


class Vehicle:
    """What is asked of the vehicle at ``address``: a short one 1 to 127, or with ``long`` a long one 0 to 10239.

    ``steps`` is what CV 29 bit 1 says for speed and direction: 28, or 14 with FL in it.
    """

    def __init__(self, address, long=False, steps=28):
        self.address = address
        self.long = long
        self.table_steps = steps
        self.forward = True
        self.step = 0
        self.steps = steps  # of how many; 126 after a 128 step speed
        self.emergency = False
        self.functions = 0  # bit 0 FL, bit n Fn, up to F28
        self.packets = 0  # how many were for this address, broadcast included
        self.changed = True  # set if speed, direction or functions are not as they were; whoever acts on it clears it

    def take(self, data, length):
        """Take a packet, error detection byte included and right. Whether it was for this vehicle."""
        first = data[0]
        at = 1
        if first == 0:
            lists = table.BROADCAST
        elif self.long:
            if length < 4 or not 192 <= first < 232 or (first & 63) << 8 | data[1] != self.address:
                return False
            lists = table.LONG
            at = 2
        else:
            if first != self.address:
                return False
            lists = table.SHORT
        self.packets += 1
        end = length - 1
        once = 0
        while at < end:
            entry, size = -1, 0
            place = lists[data[at]]
            while table.LISTS[place] != 255:
                size = self.matches(table.LISTS[place], data, at, end, once)
                if size:
                    entry = table.LISTS[place]
                    break
                place += 1
            if entry < 0:
                break
            if table.ROWS[start(entry) + 3] & 2:
                once = 1
            self.act(entry, data, at)
            at += size
        return True

    def matches(self, entry, data, at, end, once):
        """How many bytes the instruction takes at ``data[at]``, 0 if it is another."""
        row = start(entry)
        rows = table.ROWS
        size = rows[row]
        left = end - at
        if left < size + rows[row + 1] or (once and rows[row + 3] & 2):
            return 0
        if not self.long and not rows[row + 4] <= data[0] <= rows[row + 5]:
            return 0
        mask = row + 6
        i = 0
        while i < size:
            if data[at + i] & rows[mask + i] != rows[mask + size + i]:
                return 0
            i += 1
        behind = left - size
        if behind > rows[row + 2] != 255:
            behind = rows[row + 2]
        return size + behind

    def act(self, entry, data, at):
        """Do what an instruction asks for (S-9.2 B, S-9.2.1 C), and note whether anything is otherwise than before."""
        step, steps, forward = self.step, self.steps, self.forward
        emergency, functions = self.emergency, self.functions
        self.obey(entry, data, at)
        if step != self.step or steps != self.steps or forward is not self.forward:
            self.changed = True
        elif emergency is not self.emergency or functions != self.functions:
            self.changed = True

    def obey(self, entry, data, at):
        if entry == table.I_128_SPEED_STEP_CONTROL:
            code = field(table.F_128_SPEED_STEP_CONTROL_CODE, data, at)
            self.forward = field(table.F_128_SPEED_STEP_CONTROL_FORWARD, data, at) == 1
            self.steps = 126
            self.step = code - 1 if code > 1 else 0
            self.emergency = code == 1
        elif entry == table.I_SPEED_AND_DIRECTION:
            code = field(table.F_SPEED_AND_DIRECTION_CODE, data, at)
            half = code & 15
            self.forward = field(table.F_SPEED_AND_DIRECTION_FORWARD, data, at) == 1
            self.steps = self.table_steps
            self.emergency = half == 1
            if half < 2:
                self.step = 0
            elif self.table_steps == 28:
                self.step = 2 * half - 3 + (code >> 4)
            else:
                self.step = half - 1
            if self.table_steps == 14:
                self.switch(code >> 4, 0, 1)
        elif entry == table.I_BROADCAST_STOP:
            self.step = 0
            self.emergency = field(table.F_BROADCAST_STOP_EMERGENCY, data, at) == 1
        elif entry == table.I_FUNCTION_GROUP_ONE:
            self.switch(field(table.F_FUNCTION_GROUP_ONE_STATES, data, at), 1, 4)
            if self.table_steps == 28:
                self.switch(field(table.F_FUNCTION_GROUP_ONE_BIT4, data, at), 0, 1)
        elif entry == table.I_FUNCTION_GROUP_TWO_F5_TO_F8:
            self.switch(field(table.F_FUNCTION_GROUP_TWO_F5_TO_F8_STATES, data, at), 5, 4)
        elif entry == table.I_FUNCTION_GROUP_TWO_F9_TO_F12:
            self.switch(field(table.F_FUNCTION_GROUP_TWO_F9_TO_F12_STATES, data, at), 9, 4)
        elif entry == table.I_F13_TO_F20:
            self.switch(field(table.F_F13_TO_F20_STATES, data, at), 13, 8)
        elif entry == table.I_F21_TO_F28:
            self.switch(field(table.F_F21_TO_F28_STATES, data, at), 21, 8)
        elif entry == table.I_DIGITAL_DECODER_RESET or entry == table.I_DIGITAL_DECODER_RESET_PACKET:
            self.step = 0
            self.emergency = False
            self.functions = 0

    def switch(self, states, first, count):
        """Functions from ``first`` up, one bit each."""
        mask = ((1 << count) - 1) << first
        self.functions = self.functions & ~mask | states << first


def start(entry):
    """Where an instruction's row starts."""
    return table.STARTS[2 * entry] | table.STARTS[2 * entry + 1] << 8


def field(layout, data, at):
    """The value of a field of the instruction at ``data[at]``."""
    value = 0
    run = 3
    while run < len(layout):
        bits = data[at + layout[run]] >> layout[run + 1] & (1 << layout[run + 2]) - 1
        value |= bits << layout[run + 3]
        run += 4
    return (value ^ layout[0]) + layout[1]


def drain(queue, receiver, vehicle, most):
    """Decode up to ``most`` half-bits that wait in the queue; how many there were."""
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
