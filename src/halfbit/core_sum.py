"""The portable core of the decision by sum: a bit is decided by both halves together.

It imports nothing and keeps the rules of ``core.py``: integers only, nothing is allocated after construction, nothing
is raised, no loop grows with the input. It runs unmodified on MicroPython, and ``halfbit_sum.c`` mirrors it.

A polling loop sees each change up to one period late. So the time between two changes is wrong by up to one period in
either direction. The halves of a one (58 us) and of a zero (100 us) differ by 42 us, so above periods of 21 us single
halves cannot be told apart. Whole bits (116 and 200 us) differ by 84 us.

``Boundaries``: the errors do not add up. If the bits are read correctly, the change that ends a bit is always seen
within one period after its true time. A ``Boundaries`` tracks how late the last change can have been. A bit is a one or
a zero depending on which bit's expected end is nearer. What the loop's period cannot explain is *strain*.

``Sums``: whole bits do not show which change starts a bit. So two lanes run, one for each phase, each with a machine of
layer 4. Preamble, framing and error detection byte do not prove the phase: an idle packet, FF 00 FF, reads as
7F 00 7F in the wrong phase. The strain does prove it: in the wrong phase each step from ones to zeros or back moves the
end of a bit by half of the difference between a zero and a one. A packet is given if the other lane has had clearly
more strain since the packet's start bit, together with the strain from before. Strain from before counts only for a
packet that has little strain itself, and no more than the other lane, because a lost or extra change swaps the phase.
A packet whose phase is not clear yet is held.

``Learner``: nothing rests on the nominal lengths of bits. They are learned from a block of durations, and corrected
with each bit. Learning takes as long as some thousand bits. It happens once at the start, while durations are only
kept, and again if no packet has come for long.

Inside, times are in *units*: a timer's ticks, each ``scale`` units long. A unit is about 1/16 us, so that lengths can
be corrected by less than a tick.
"""

# As in core.py.
MORE = 0
ONE = 1
ZERO = 2
PACKET = 3
START = 5
SHORT = 8
LONG = 10

# What became of a packet that is complete in a lane.
GIVEN = 1  # it is right, and so is the one that was held in this lane
HELD = 2  # its phase is not clear yet
UNSURE = 3  # its phase is not clear, and will not become clear: it is lost
CHANCE = 4  # found by chance in the wrong phase, over a packet that was given

#: Units in a us, about.
UNITS = 16

# Strain. A bit that ends outside the allowed lateness adds the square of its distance from the allowed range, in 16ths
# of half the lateness. It adds at most STRAIN_MAX, so that one wrong change does not decide alone.
STRAIN_MAX = 64
#: Strain of a bit that was nearly read as the other. A packet may not have two of them, because the error detection
#: byte may miss two wrong bits.
DOUBT = 52
#: Tolerance for a change in addition to the loop's lateness, units: for a timer's steps and slightly unequal halves.
SLACK = 2 * UNITS
#: Added uncertainty of the boundary with each bit, units, because the lengths are not known exactly.
CREEP = UNITS // 4
#: Longer half-bits count as this long, units: a stretched zero's half (S-9.1 A, table 1: zeros from 95 us).
HALF_MAX = 250 * UNITS

#: The share of stretched zeros is given in parts of WHOLE. Above SOME, any zero may be stretched. Above MOST, most are.
WHOLE, SOME, MOST = 1 << 15, 1000, 18000
#: Lengths are corrected by 1/32 of a bit's error at first, later by less, at the end by 1/512: the powers of two.
GAIN_MIN, GAIN_MAX = 5, 9

#: Number of half-bits in a block. They always include one complete preamble with its packet.
BLOCK = 240
#: Most blocks without a packet before the lengths are learned again; and how many right after a packet.
PATIENCE_MAX, PATIENCE = 15, 3

#: Most strain of a packet itself.
OWN_MAX = 100
#: How much less strain a packet's lane must have than the other: during the packet, if most zeros are stretched
#: (otherwise it must only not have more); and together with the strain from before.
OWN_CLEAR, CLEAR = 1, 50
#: Most that the strain from before counts, because the phase may have swapped.
PAST_MAX = 60
#: Difference in strain from which on lengths are learned from the better lane.
TEACHER = 30
#: Sums of strain stop here.
TOTAL_MAX = 1000
#: Number of bits for which a lane holds a packet: 60 ms of one-bits.
HELD_MAX = 500
NEVER = -1


class Lengths:
    """The lengths of the station's bits and the scatter of the board's times, in units. Learned from the signal.

    :param late: longest time from a change until it is seen, minus the shortest.
    """

    def __init__(self, late: int) -> None:
        #: How far a bit's end may be from the expected time without strain.
        self.most = late // 2 + SLACK
        self.sixteenth = self.most // 16
        #: A bit's end is doubtful if it is near the middle between a one's and a zero's end. Twice that distance.
        self.doubt = self.most // 2
        self.one = 0
        self.zero = 0
        self.begin(116 * UNITS, 200 * UNITS, False)

    def begin(self, one: int, zero: int, stretches: bool) -> None:
        """Start with lengths of a one-bit and of a zero-bit that is not stretched.

        :param stretches: True if some zeros are stretched.
        """
        self.one = one
        self.zero = zero
        self.one_and_zero = one + zero
        #: By how much a half must be shorter than the middle between a one's and a zero's half for a strain of 1.
        self.shorter = max(self.most * self.most // (3 * max(zero - one, 1)), 1)
        self.stretching = WHOLE // 2 if stretches else 0
        self.one_gain = self.zero_gain = GAIN_MIN
        self.ones = self.zeros = 1 << GAIN_MIN
        # What is left of the errors, in parts of a unit.
        self.one_rest = self.zero_rest = 0

    def learn(self, bit: int, off: int) -> int:
        """Correct the length of a kind of bit.

        :param off: twice as much as the bit was longer than expected.
        :returns: the change of the length.
        """
        if bit == ONE:
            gain = self.one_gain + 1
            rest = self.one_rest + off
            change = rest >> gain
            self.one_rest = rest - (change << gain)
            self.one += change
            self.one_and_zero += change
            if gain <= GAIN_MAX:
                self.ones += 1
                if self.ones == 1 << gain:
                    self.one_gain = gain
            return change
        if off > 0:
            # Some of these zeros are stretched a little. Their share grows with the share of stretched zeros.
            off = off * (64 - (self.stretching >> 9)) >> 6
        gain = self.zero_gain + 1
        rest = self.zero_rest + off
        change = rest >> gain
        self.zero_rest = rest - (change << gain)
        self.zero += change
        self.one_and_zero += change
        if gain <= GAIN_MAX:
            self.zeros += 1
            if self.zeros == 1 << gain:
                self.zero_gain = gain
        return change


class Boundaries:
    """Tracks the bits of one phase. After each bit, ``strain`` is the strain of it, ``stretched`` if it is stretched."""

    def __init__(self, lengths: Lengths) -> None:
        self.lengths = lengths
        self.strain = 0
        self.stretched = False
        #: True if lengths are learned from this phase.
        self.teaches = False
        # Lower and upper bound of how late the last change was seen, relative to the middle of the possible range.
        self.low = -lengths.most
        self.high = lengths.most

    def lose(self) -> None:
        """Not a bit: the place of the next bit is unknown."""
        self.strain = STRAIN_MAX
        self.stretched = False
        self.low = -self.lengths.most
        self.high = self.lengths.most

    def bit(self, first: int, last: int) -> int:
        """Take the two halves of a bit, in units; return ONE or ZERO."""
        lengths = self.lengths
        most = lengths.most
        duration = first + last
        low = self.low + duration
        high = self.high + duration
        beyond = low + high - lengths.one_and_zero
        if beyond <= 0:
            bit = ONE
            length = lengths.one
        else:
            bit = ZERO
            length = lengths.zero
        self.strain = DOUBT if -lengths.doubt < beyond < lengths.doubt else 0
        self.stretched = False
        low -= length + CREEP
        high -= length - CREEP
        if low > most or high < -most:
            self.astray(bit, low, high, first if first < last else last)
            return bit
        if self.teaches:
            if bit == ZERO:
                lengths.stretching -= lengths.stretching >> 5
            if high - low <= most:
                # If the start of a bit is not well known, it would only confirm what was assumed.
                change = lengths.learn(bit, low + high)
                low -= change
                high -= change
        if bit == ZERO and lengths.stretching > SOME:
            low = -most
        self.low = low if low > -most else -most
        self.high = high if high < most else most
        return bit

    def astray(self, bit: int, low: int, high: int, half: int) -> None:
        """Handle a bit whose end is outside the allowed lateness; ``half`` is its shorter half."""
        lengths = self.lengths
        most = lengths.most
        if bit == ONE or low < 0 and lengths.stretching <= MOST:
            over = low - most if low > 0 else -most - high
            steps = over // lengths.sixteenth
            self.strain += steps * steps if steps < 8 else STRAIN_MAX
            if low > 0:
                self.low = most // 2
                self.high = most
            else:
                self.low = -most
                self.high = -(most // 2)
            return
        # A stretched zero. The lateness of its end is unknown.
        self.stretched = True
        if self.teaches:
            lengths.stretching += (WHOLE - lengths.stretching) >> 5
        self.low = -most
        self.high = most
        # Its shorter half is as long as a normal zero's half. In the wrong phase it may be the half of a one.
        short = (lengths.one_and_zero >> 1) - 2 * half
        if short > 0:
            steps = short // lengths.shorter
            self.strain += steps if steps < STRAIN_MAX else STRAIN_MAX


class Lane:
    """One phase.

    :param packets: its machine of layer 4.
    """

    def __init__(self, lengths: Lengths, packets) -> None:  # type: ignore[no-untyped-def]
        self.packets = packets
        self.boundaries = Boundaries(lengths)
        # For the packet that has begun: own strain and the other lane's strain since its start bit, and how much more
        # strain the other lane had before.
        self.own = 0
        self.others = 0
        self.past = 0
        #: True if the other lane has given a packet since the start bit.
        self.chance = False
        # The packet that is held, if ``held`` is True, and the number of bits since.
        self.held = False
        self.age = 0
        self.data = bytearray(len(packets.data))
        self.length = 0
        self.preamble = 0

    def hold(self) -> None:
        """Hold the packet that is complete."""
        packets = self.packets
        for index in range(packets.length):
            self.data[index] = packets.data[index]
        self.length = packets.length
        self.preamble = packets.preamble
        self.age = 0
        self.held = True


class Sums:
    """The receiver by sum: durations in, packets out. All durations and limits are in ticks.

    After PACKET, ``data[:length]`` is the packet with its error detection byte, and ``preamble`` the number of one-bits
    before its start bit.

    ``feed`` is all that a board needs. The library calls ``keep`` and ``take`` and looks at what each bit was:
    ``lane`` took ``bit`` and answered ``answer``; for a packet, ``verdict`` is what became of it, and ``dropped`` is True
    if the packet that its lane held was given up.

    :param first: a machine of layer 4 (``core.Packets``) that never searches the phase: its ``one_difference`` is -1.
    :param second: another one.
    :param learner: a Learner. Its ``recent`` keeps the durations; its length is a multiple of BLOCK.
    :param one_min: shortest half of a one-bit.
    :param zero_max: longest half of a zero-bit.
    :param late: longest time from a change until it is seen, minus the shortest.
    :param scale: units in a tick.
    """

    def __init__(self, first, second, learner, one_min: int, zero_max: int, late: int, scale: int) -> None:  # type: ignore[no-untyped-def]
        self.lengths = Lengths(late * scale)
        self.lanes = (Lane(self.lengths, first), Lane(self.lengths, second))
        self.learner = learner
        self.recent = learner.recent
        self.shortest = 2 * one_min
        self.zero_max = zero_max
        self.scale = scale
        self.half_max = HALF_MAX // scale
        #: True when the lengths are known. Until then durations are only kept.
        self.known = False
        #: Number of durations that are kept and not taken yet.
        self.behind = 0
        self.at = 0  # where the next duration is kept
        self.count = 0  # durations kept in this block
        self.blocks = 0  # blocks since the last packet, and how many there may be
        self.patience = 0
        self.turn = 0
        self.before = NEVER
        #: Strain of the second lane minus strain of the first.
        self.balance = 0
        self.due = 0  # packets that ``lane`` has still to give
        self.lane = self.lanes[0]
        self.bit = MORE
        self.answer = MORE
        self.verdict = MORE
        self.dropped = False
        self.data = first.data
        self.length = 0
        self.preamble = 0

    def feed(self, duration: int) -> int:
        """Take one duration; answers MORE or PACKET."""
        self.keep(duration)
        if not self.due and self.known:
            self.take()
            if self.behind and not self.due:
                self.take()
        return self.give() if self.due else MORE

    def keep(self, duration: int) -> None:
        """Keep a duration, to be taken later. After each block, learn if it is time to."""
        self.recent[self.at] = duration if duration <= self.zero_max else self.zero_max + 1
        self.at += 1
        self.behind += 1
        self.count += 1
        if self.count == BLOCK:
            self.learn()
        if self.at == len(self.recent):
            self.at = 0

    def learn(self) -> None:
        """Learn from the last block if no packet has come for long."""
        learner = self.learner
        count = self.count
        start = self.at - count
        self.count = 0
        if not self.known:
            learner.learn(start, count)
            if learner.sure or self.behind == len(self.recent):
                self.begin()
            return
        self.blocks += 1
        if self.blocks <= self.patience:
            return
        self.blocks = 0
        self.patience = 2 * self.patience + 1 if 2 * self.patience < PATIENCE_MAX else PATIENCE_MAX
        learner.learn(start, count)
        if learner.sure and learner.better(start, count, self.lengths):
            self.begin()

    def finish(self) -> None:
        """The signal ends: learn from the last durations, however few. They can be taken then."""
        count = self.behind if self.behind < BLOCK else BLOCK
        self.learner.learn(self.at - count, count)
        self.begin()

    def begin(self) -> None:
        """Use the lengths that were learned."""
        learner = self.learner
        self.lengths.begin(learner.one, learner.zero, learner.stretches)
        for lane in self.lanes:
            lane.boundaries.lose()
        self.known = True
        self.balance = 0

    def take(self) -> None:
        """Take the oldest duration that is kept."""
        at = self.at - self.behind
        half = self.recent[at if at >= 0 else at + len(self.recent)]
        self.behind -= 1
        before = self.before
        self.before = half
        self.answer = MORE
        if before == NEVER:
            return
        turn = self.turn
        self.turn = 1 - turn
        self.lane = lane = self.lanes[turn]
        other = self.lanes[1 - turn]
        boundaries = lane.boundaries
        if before > self.zero_max or half > self.zero_max:
            bit = LONG
            boundaries.lose()
        elif before + half < self.shortest:
            bit = SHORT
            boundaries.lose()
        else:
            half_max = self.half_max
            scale = self.scale
            bit = boundaries.bit(
                (before if before < half_max else half_max) * scale, (half if half < half_max else half_max) * scale
            )
        self.bit = bit
        strain = boundaries.strain
        if strain:
            if lane.own < TOTAL_MAX:
                lane.own += strain
            if other.others < TOTAL_MAX:
                other.others += strain
            balance = self.balance + (strain if turn else -strain)
            if -TOTAL_MAX < balance < TOTAL_MAX:
                self.balance = balance
        if lane.held:
            lane.age += 1
        self.answer = answer = lane.packets.feed(bit, 0, 0)
        if answer == START:
            self.start(turn, lane, other)
        elif answer == PACKET:
            self.verdict = self.judge(lane, other)

    def start(self, turn: int, lane: Lane, other: Lane) -> None:
        """A packet begins in a lane: its strain counts from its start bit on."""
        own = lane.boundaries
        others = other.boundaries
        lane.own = own.strain
        lane.others = others.strain
        last = own.strain - others.strain if turn else others.strain - own.strain
        balance = self.balance - last
        if balance > PAST_MAX:
            balance = PAST_MAX
        elif balance < -PAST_MAX:
            balance = -PAST_MAX
        self.balance = balance + last
        lane.past = past = -balance if turn else balance
        lane.chance = False
        own.teaches = past >= TEACHER
        others.teaches = past <= -TEACHER

    def judge(self, lane: Lane, other: Lane) -> int:
        """Decide about a packet that is complete in a lane."""
        if lane.chance:
            return CHANCE
        clear = lane.others - lane.own
        if lane.own > OWN_MAX or clear < (OWN_CLEAR if self.lengths.stretching > MOST else 0):
            return UNSURE
        if clear + lane.past < CLEAR:
            self.dropped = lane.held
            lane.hold()
            return HELD
        self.dropped = lane.held and lane.age > HELD_MAX
        self.due = 2 if lane.held and not self.dropped else 1
        lane.held = False
        other.held = False
        other.chance = True
        self.blocks = 0
        self.patience = PATIENCE
        return GIVEN

    def give(self) -> int:
        """Show the next packet that is due; answers PACKET."""
        self.due -= 1
        packet = self.lane if self.due else self.lane.packets
        self.data = packet.data
        self.length = packet.length
        self.preamble = packet.preamble
        return PACKET
