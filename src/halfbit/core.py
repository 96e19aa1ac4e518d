"""The portable core: layers 2 to 4 as integer state machines.

This file imports nothing and runs unmodified on MicroPython; the C port mirrors it name for
name. House rules, which hold for every machine in it:

- It counts in ticks: nanoseconds on a PC, a timer's ticks on a board. Limits are in the same.
- ``feed`` takes integers, answers with one of the small integers below and never raises,
  whatever integers it is given. Nothing is allocated after construction, no loop runs longer
  for a longer input, nothing recurses.
- A machine answers in one of three ways: MORE (nothing complete yet), a value (ONE to START),
  or a fault (SHORT and above). One feed, one answer.

How it works, from the bottom up
--------------------------------
``HalfBits`` puts a duration into one of two windows (S-9.1 A, table 1) or names the fault.

``Bits`` pairs half-bits. Which level change starts a bit cannot be known, so it starts with
any; where a pair disagrees the earlier half is dropped and the later one becomes the first
part of the next bit: LONE_ONE or LONE_ZERO. From the first change between ones and zeros
on, pairs are right.

``Packets`` finds preambles, bytes and ends (S-9.2 A). It must know how many *complete*
one-bits stand before a start bit, though while only ones come the pairs may be one half-bit
off, and then a pair's halves belong to two neighbouring bits, whose difference nothing
limits. So it counts both ways: ``ones`` as the bits are paired, ``skew`` as they would
be one half-bit later. When a LONE_ONE shows that the pairs were off, ``skew`` is the truth
and takes the place of ``ones``. Both counts go on inside a packet, so a preamble is
recognised though its first bits were taken for data.

What happens on each input is in one table, ``STEPS``, below.
"""

# Answers that are no fault.
MORE = 0
ONE = 1  # a half of a one-bit (layer 2), a one-bit (layer 3)
ZERO = 2  # a half of a zero-bit (layer 2), a zero-bit (layer 3)
PACKET = 3  # a packet with the right error detection byte ends with this bit
SYNC = 4  # what had been lost is over: a preamble's worth of one-bits stands complete
START = 5  # a packet start bit after a preamble

# Faults of layer 2: the half-bit is...
SHORT = 8  # shorter than any half-bit
BETWEEN = 9  # longer than a one's, shorter than a zero's
LONG = 10  # longer than any half-bit
# Faults of layer 3:
LONE_ONE = 11  # a one's half followed by a zero's
LONE_ZERO = 12  # a zero's half followed by a one's
UNEQUAL = 13  # the halves of a one-bit differ too much
STRETCHED = 14  # a whole zero-bit is too long
# Faults of layer 4:
PREAMBLE = 15  # a zero-bit after too few one-bits for a preamble
RUN = 16  # ten one-bits in a row inside a packet: it was torn, and this is a preamble
FEW_BYTES = 17  # an end bit after too few bytes
MANY_BYTES = 18  # no end bit after the most bytes allowed
ERROR_BYTE = 19  # the error detection byte disagrees with the others
# Faults that no machine here answers, numbered here so that all numbers are in one place:
CUT = 20  # the capture starts or ends inside a packet
UNCLEAR = 21  # no reading of the bits fits the times

# Eight data bits and an end bit are the most one-bits in a row a sound packet can hold
# (S-9.2 A), so one more is a preamble.
RUN_LENGTH = 10
COUNT_MAX = 255  # counts stop here, so that a port can keep them in a byte

# States of layer 4.
LOST = 0  # waiting for a preamble
IDLE = 1  # among one-bits, nothing wrong: a zero is a start bit if enough ones came before
BYTE = 2  # inside the eight bits of a byte
MARK = 3  # at the bit after a byte: another byte's start bit, or the packet end bit

# Inputs of layer 4: what a bit means once the one-bits are counted.
IN_ONE = 0
IN_RUN = 1  # a one-bit, and enough of them stand in a row for a preamble
IN_ZERO = 2
IN_START = 3  # a zero-bit, and enough ones stand before it
IN_SLIP = 4  # a one's half was dropped: the pairs were one half-bit off
IN_FAULT = 5

# Steps of layer 4.
STAY = 0
FIND = 1  # -> IDLE, answer SYNC
OPEN = 2  # -> BYTE, an empty packet; answer START
SHIFT = 3  # one more bit of the byte; -> MARK with the eighth
NEXT = 4  # -> BYTE; or -> LOST, answer MANY_BYTES
CLOSE = 5  # -> IDLE, answer PACKET; or -> LOST, answer FEW_BYTES or ERROR_BYTE
FAIL = 6  # -> LOST, answer the fault
TEAR = 7  # -> IDLE, answer RUN
EARLY = 8  # -> LOST, answer PREAMBLE

# STEPS[6 * state + input]. IN_START cannot come inside a packet (a run of ten ends it) nor
# while LOST (the run would have been found first), yet has a step: the table is total.
STEPS = bytes(
    (
        # ONE    RUN    ZERO   START  SLIP   FAULT
        STAY,    FIND,  STAY,  STAY,  STAY,  FAIL,  # LOST
        STAY,    STAY,  EARLY, OPEN,  STAY,  FAIL,  # IDLE
        SHIFT,   TEAR,  SHIFT, SHIFT, FAIL,  FAIL,  # BYTE
        CLOSE,   TEAR,  NEXT,  NEXT,  FAIL,  FAIL,  # MARK
    )
)  # fmt: skip


class HalfBits:
    """Layer 2: a duration is half of a ONE, half of a ZERO, or SHORT, BETWEEN or LONG."""

    def __init__(self, one_min: int, one_max: int, zero_min: int, zero_max: int) -> None:
        self.one_min = one_min
        self.one_max = one_max
        self.zero_min = zero_min
        self.zero_max = zero_max

    def feed(self, duration: int) -> int:
        if duration < self.zero_min:
            if duration > self.one_max:
                return BETWEEN
            return ONE if duration >= self.one_min else SHORT
        return ZERO if duration <= self.zero_max else LONG


class Bits:
    """Layer 3: pairs of half-bits.

    After an answer other than MORE, ``first`` and ``last`` are the durations of the two parts
    it is about. For LONE_ONE and LONE_ZERO ``first`` is the dropped half; for a fault of layer 2
    ``last`` is the faulty half-bit, and ``first`` one that waited and is dropped with it, 0 if none
    did. ``held`` is the kind of the half-bit that waits for its other half, MORE if none does.
    """

    def __init__(self, one_difference: int, zero_total_max: int) -> None:
        self.one_difference = one_difference
        self.zero_total_max = zero_total_max
        self.held = MORE
        self.waiting = 0  # the held half-bit's duration
        self.first = 0
        self.last = 0

    def feed(self, half: int, duration: int) -> int:
        held = self.held
        self.first = self.waiting
        self.last = duration
        if held != half and half <= ZERO:
            # The first part of a bit; if another half-bit waited, that one was odd.
            self.held = half
            self.waiting = duration
            if held == MORE:
                return MORE
            return LONE_ONE if held == ONE else LONE_ZERO
        self.held = MORE
        self.waiting = 0
        if half == ONE:
            difference = self.first - duration
            if difference > self.one_difference or -difference > self.one_difference:
                return UNEQUAL
        elif half == ZERO and self.first + duration > self.zero_total_max:
            return STRETCHED
        return half


class Packets:
    """Layer 4: preamble, start bit, bytes with their separators, end bit, error detection byte.

    After PACKET, ``data[:length]`` is the packet, error byte included, and ``preamble`` the number
    of one-bits before its start bit (COUNT_MAX for that many or more). After a fault
    ``data[:length]`` holds the bytes that were complete.
    """

    def __init__(
        self, one_difference: int, preamble_min: int, packet_min: int, packet_max: int
    ) -> None:
        self.one_difference = one_difference
        self.preamble_min = preamble_min
        self.packet_min = packet_min
        self.data = bytearray(packet_max)
        self.length = 0
        self.preamble = 0
        self.state = LOST
        self.ones = 0
        self.skew = 0
        self.before = 0  # last half of the one-bit before, 0 where none can be paired with it
        self.value = 0
        self.room = 0  # bits the byte still lacks
        self.check = 0

    def feed(self, bit: int, first: int, last: int) -> int:
        step = STEPS[6 * self.state + self.count(bit, first, last)]
        if step == STAY:
            return MORE
        if step == SHIFT:
            self.value = (self.value << 1 | (bit == ONE)) & 255
            self.room -= 1
            if self.room == 0:
                self.data[self.length] = self.value
                self.length += 1
                self.check ^= self.value
                self.state = MARK
            return MORE
        if step == NEXT:
            if self.length == len(self.data):
                self.state = LOST
                return MANY_BYTES
            self.state = BYTE
            self.room = 8
            return MORE
        if step == OPEN:
            self.state = BYTE
            self.room = 8
            self.length = 0
            self.check = 0
            return START
        if step == CLOSE:
            self.state = LOST
            if self.length < self.packet_min:
                return FEW_BYTES
            if self.check != 0:
                return ERROR_BYTE
            # The end bit counts for the next preamble, the bits before it do not (S-9.2 A). Its last
            # half stays in ``before``: where a half was lost among the packet's last one-bits, it is
            # in truth the first half of the next preamble.
            self.state = IDLE
            self.ones = 1
            self.skew = 0
            return PACKET
        if step == FIND:
            self.state = IDLE
            return SYNC
        if step == TEAR:
            self.state = IDLE
            return RUN
        self.state = LOST
        return PREAMBLE if step == EARLY else bit

    def count(self, bit: int, first: int, last: int) -> int:
        """Count the one-bits both ways, and answer what the bit means to the packet."""
        if bit == ZERO:
            self.before = 0
            self.skew = 0
            enough = self.ones >= self.preamble_min
            if self.state <= IDLE:
                self.preamble = self.ones
            self.ones = 0
            return IN_START if enough else IN_ZERO
        if bit != ONE and bit != UNEQUAL and bit != LONE_ONE:
            self.before = 0
            self.skew = 0
            self.ones = 0
            return IN_FAULT
        difference = first - self.before
        if self.before == 0 or difference > self.one_difference or -difference > self.one_difference:
            self.skew = 0
        elif self.skew < COUNT_MAX:
            self.skew += 1
        if bit == LONE_ONE:
            self.ones = self.skew
            self.skew = 0
            self.before = 0
            if self.state <= IDLE and self.ones >= self.preamble_min:
                return IN_RUN
            return IN_SLIP
        self.before = last
        run = RUN_LENGTH if self.state >= BYTE else self.preamble_min
        if bit == UNEQUAL:
            self.ones = 0
            return IN_RUN if self.skew >= run else IN_FAULT
        if self.ones < COUNT_MAX:
            self.ones += 1
        return IN_RUN if self.ones >= run or self.skew >= run else IN_ONE


class Receiver:
    """Layers 2 to 4 in one: durations in, answers of layer 4 out; ``bit`` is layer 3's."""

    def __init__(self, half_bits: HalfBits, bits: Bits, packets: Packets) -> None:
        self.half_bits = half_bits
        self.bits = bits
        self.packets = packets
        self.bit = MORE

    def feed(self, duration: int) -> int:
        bits = self.bits
        self.bit = bit = bits.feed(self.half_bits.feed(duration), duration)
        if bit == MORE:
            return MORE
        return self.packets.feed(bit, bits.first, bits.last)
