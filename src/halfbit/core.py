"""The portable core: layers 2 to 4 as integer state machines.

This file imports nothing and runs unmodified on MicroPython. The C port mirrors it name for
name. The rules of the house hold for every machine in it:

- It counts in ticks: nanoseconds on a PC, a timer's ticks on a board. Limits use the same unit.
- ``feed`` takes integers, answers with one of the small integers below and never raises,
  whatever integers it is given. It allocates nothing after construction, has no loop that
  grows with the input, and does not recurse.
- A machine answers in one of three ways: MORE (nothing is complete yet), a value (ONE to START),
  or a fault (SHORT and above). One feed, one answer.

How it works, from the bottom up
--------------------------------
``HalfBits`` puts a duration into one of two windows (S-9.1 A, table 1) or names the fault.

``Bits`` pairs half-bits. It cannot know which level change starts a bit, so it starts with
any. If the halves of a pair disagree, it drops the earlier half and the later one becomes the
first part of the next bit: UNPAIRED_ONE or UNPAIRED_ZERO. From the first change between ones
and zeros on, the pairs are right.

``Packets`` finds preambles, bytes and ends (S-9.2 A). It must know how many *complete*
one-bits come before a start bit. While only ones come, the pairs may be one half-bit off, and
then the two halves of a pair belong to two neighbouring bits, whose difference has no limit.
So it counts both ways: ``ones`` as the bits are paired, ``shifted_ones`` as they would be one
half-bit later. An UNPAIRED_ONE shows that the pairs were off: then ``shifted_ones`` is right and
takes the place of ``ones``. Both counts go on inside a packet, so that a preamble is recognised
even if its first bits were taken for data.

``STEPS``, below, is the table of what happens on each input.
"""

# Answers that are no fault.
MORE = 0
ONE = 1  # a half of a one-bit (layer 2), a one-bit (layer 3)
ZERO = 2  # a half of a zero-bit (layer 2), a zero-bit (layer 3)
PACKET = 3  # a packet with the right error detection byte ends with this bit
SYNC = 4  # a loss is over: enough one-bits for a preamble have come
START = 5  # a packet start bit after a preamble

# Faults of layer 2: the half-bit is...
SHORT = 8  # shorter than any half-bit
GAP = 9  # in the gap between the windows: too long for a one, too short for a zero
LONG = 10  # longer than any half-bit
# Faults of layer 3:
UNPAIRED_ONE = 11  # a one's half followed by a zero's
UNPAIRED_ZERO = 12  # a zero's half followed by a one's
UNEQUAL = 13  # the halves of a one-bit differ too much
ZERO_TOO_LONG = 14  # both halves of a zero-bit together are too long
# Faults of layer 4:
SHORT_PREAMBLE = 15  # a zero-bit after too few one-bits for a preamble
FEW_BYTES = 16  # an end bit after too few bytes
MANY_BYTES = 17  # no end bit after the most bytes allowed
ERROR_BYTE = 18  # the error detection byte disagrees with the others
# No machine here answers with these. They are numbered here so that all numbers are in one place:
CUT = 19  # the capture starts or ends inside a packet
UNCLEAR = 20  # no reading of the bits fits the times, or two fit about equally well

COUNT_MAX = 255  # counts stop here, so that a port can keep them in one byte

# States of layer 4.
LOST = 0  # waiting for a preamble
IDLE = 1  # among one-bits, nothing is wrong: a zero is a start bit if enough ones came before
BYTE = 2  # inside the eight bits of a byte
SEPARATOR = 3  # at the bit after a byte: the start bit of another byte, or the packet end bit

# Inputs of layer 4: what a bit means once the one-bits are counted.
IN_ONE = 0
IN_RUN = 1  # outside a packet, and in one of the pairings enough one-bits in a row for a preamble
IN_ZERO = 2
IN_START = 3  # a zero-bit, and enough ones before it
IN_SLIP = 4  # half of a one-bit was dropped: the pairs were one half-bit off
IN_FAULT = 5

# Steps of layer 4.
STAY = 0
FIND = 1  # -> IDLE, answer SYNC
OPEN = 2  # -> BYTE, an empty packet; answer START
SHIFT = 3  # one more bit of the byte; -> SEPARATOR with the eighth
NEXT = 4  # -> BYTE; or -> LOST, answer MANY_BYTES
CLOSE = 5  # -> IDLE, answer PACKET; or -> LOST, answer FEW_BYTES or ERROR_BYTE
FAIL = 6  # -> LOST, answer the fault
EARLY = 7  # -> LOST, answer SHORT_PREAMBLE

# STEPS[6 * state + input]. Some pairs cannot occur and have a step all the same, so that the table
# is total: IN_RUN and IN_START inside a packet, IN_START while LOST (IN_RUN comes first).
STEPS = bytes(
    (
        # ONE    RUN    ZERO   START  SLIP   FAULT
        STAY,    FIND,  STAY,  STAY,  STAY,  FAIL,  # LOST
        STAY,    STAY,  EARLY, OPEN,  STAY,  FAIL,  # IDLE
        SHIFT,   SHIFT, SHIFT, SHIFT, FAIL,  FAIL,  # BYTE
        CLOSE,   CLOSE, NEXT,  NEXT,  FAIL,  FAIL,  # SEPARATOR
    )
)  # fmt: skip


class HalfBits:
    """Layer 2: a duration is half of a ONE, half of a ZERO, or SHORT, GAP or LONG."""

    def __init__(self, one_min: int, one_max: int, zero_min: int, zero_max: int) -> None:
        self.one_min = one_min
        self.one_max = one_max
        self.zero_min = zero_min
        self.zero_max = zero_max

    def feed(self, duration: int) -> int:
        """Classify one duration, in ticks: ONE, ZERO, SHORT, GAP or LONG (S-9.1 A, table 1)."""
        if duration < self.zero_min:
            if duration > self.one_max:
                return GAP
            return ONE if duration >= self.one_min else SHORT
        return ZERO if duration <= self.zero_max else LONG


class Bits:
    """Layer 3: pairs of half-bits.

    After an answer other than MORE, ``first`` and ``last`` are the durations of the two halves it is
    about, in ticks. For UNPAIRED_ONE and UNPAIRED_ZERO ``first`` is the dropped half. For a fault of
    layer 2 ``last`` is the faulty half-bit, and ``first`` the half-bit that waited and is dropped
    with it (0 if nothing waited). ``held`` is the kind of the half-bit that waits for its other half,
    MORE if nothing waits.
    """

    def __init__(self, one_difference: int, zero_total_max: int) -> None:
        self.one_difference = one_difference
        self.zero_total_max = zero_total_max
        self.held: int = MORE
        self.waiting: int = 0  # the held half-bit's duration
        self.first: int = 0
        self.last: int = 0

    def feed(self, half: int, duration: int) -> int:
        """Take layer 2's answer ``half`` and its duration, in ticks.

        Answers MORE, ONE, ZERO, UNPAIRED_ONE, UNPAIRED_ZERO, UNEQUAL, ZERO_TOO_LONG (S-9.1 A, table 1), or the
        fault of layer 2 as it came.
        """
        held = self.held
        self.first = self.waiting
        self.last = duration
        if held != half and half <= ZERO:
            # The first half of a bit. If another half-bit waited, that one has no partner.
            self.held = half
            self.waiting = duration
            if held == MORE:
                return MORE
            return UNPAIRED_ONE if held == ONE else UNPAIRED_ZERO
        self.held = MORE
        self.waiting = 0
        if half == ONE:
            difference = self.first - duration
            if difference > self.one_difference or -difference > self.one_difference:
                return UNEQUAL
        elif half == ZERO and self.first + duration > self.zero_total_max:
            return ZERO_TOO_LONG
        return half


class Packets:
    """Layer 4: preamble, start bit, bytes with their separators, end bit, error detection byte.

    After PACKET, ``data[:length]`` is the packet with its error detection byte, and ``preamble`` the
    number of one-bits before its start bit (COUNT_MAX for that many or more). After a fault
    ``data[:length]`` holds the bytes that were complete.
    """

    def __init__(self, one_difference: int, preamble_min: int, packet_min: int, packet_max: int) -> None:
        self.one_difference = one_difference
        self.preamble_min = preamble_min
        self.packet_min = packet_min
        self.data: bytearray = bytearray(packet_max)
        self.length: int = 0
        self.preamble: int = 0
        self.state: int = LOST
        self.ones: int = 0
        self.shifted_ones: int = 0
        self.previous_half: int = 0  # last half of the one-bit before; 0 if it cannot be paired with the next half
        self.value: int = 0
        self.room: int = 0  # bits still missing from the byte
        self.check: int = 0

    def feed(self, bit: int, first: int, last: int) -> int:
        """Take layer 3's answer ``bit`` (not MORE) and the durations of its halves, in ticks.

        Answers MORE, SYNC, START, PACKET, SHORT_PREAMBLE, FEW_BYTES, MANY_BYTES, ERROR_BYTE (S-9.2 A), or the fault
        of layer 2 or 3 as it came.
        """
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
                self.state = SEPARATOR
            return MORE
        if step == FAIL:
            self.state = LOST
            return bit
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
            # half stays in ``previous_half``: if a half was lost among the packet's last one-bits, it is
            # really the first half of the next preamble.
            self.state = IDLE
            self.ones = 1
            self.shifted_ones = 0
            return PACKET
        if step == FIND:
            self.state = IDLE
            return SYNC
        self.state = LOST  # EARLY
        return SHORT_PREAMBLE

    def count(self, bit: int, first: int, last: int) -> int:
        """Count the one-bits in both pairings, and answer with the input of layer 4 the bit stands for."""
        if bit == ZERO:
            self.previous_half = 0
            self.shifted_ones = 0
            enough = self.ones >= self.preamble_min
            if self.state <= IDLE:
                self.preamble = self.ones
            self.ones = 0
            return IN_START if enough else IN_ZERO
        if bit != ONE and bit != UNEQUAL and bit != UNPAIRED_ONE:
            self.previous_half = 0
            self.shifted_ones = 0
            self.ones = 0
            return IN_FAULT
        difference = first - self.previous_half
        if self.previous_half == 0 or difference > self.one_difference or -difference > self.one_difference:
            self.shifted_ones = 0
        elif self.shifted_ones < COUNT_MAX:
            self.shifted_ones += 1
        outside = self.state <= IDLE
        if bit == UNPAIRED_ONE:
            self.ones = self.shifted_ones
            self.shifted_ones = 0
            self.previous_half = 0
            return IN_RUN if outside and self.ones >= self.preamble_min else IN_SLIP
        self.previous_half = last
        if bit == UNEQUAL:
            self.ones = 0
            return IN_RUN if outside and self.shifted_ones >= self.preamble_min else IN_FAULT
        if self.ones < COUNT_MAX:
            self.ones += 1
        if outside and (self.ones >= self.preamble_min or self.shifted_ones >= self.preamble_min):
            return IN_RUN
        return IN_ONE


class Receiver:
    """Layers 2 to 4 in one: durations in, answers of layer 4 out. ``bit`` is layer 3's last answer."""

    def __init__(self, half_bits: HalfBits, bits: Bits, packets: Packets) -> None:
        self.half_bits = half_bits
        self.bits = bits
        self.packets = packets
        self.bit: int = MORE

    def feed(self, duration: int) -> int:
        """Take one duration, in ticks; answers as :meth:`Packets.feed`, and MORE while a bit is incomplete."""
        bits = self.bits
        self.bit = bit = bits.feed(self.half_bits.feed(duration), duration)
        if bit == MORE:
            return MORE
        return self.packets.feed(bit, bits.first, bits.last)
