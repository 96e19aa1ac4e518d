"""The portable core of the decision by sum: a bit is decided by both halves together.

It imports nothing and keeps the rules of ``core.py``: integers only, nothing is allocated after construction, nothing
is raised, no loop grows with the input. It runs unmodified on MicroPython, and ``halfbit_sum.c`` mirrors it.

A polling loop sees each change up to one period late. So the time between two changes is wrong by up to one period in
either direction. The halves of a one (58 us) and of a zero (100 us) differ by 42 us, so above periods of 21 us single
halves cannot be told apart. Whole bits (116 and 200 us) differ by 84 us.

How a bit is decided, and how the lengths of bits are learned, is in ``core_sum_lengths.py``. What the loop's period
cannot explain in the times of a reading is its *strain*.

Whole bits do not show which change starts a bit. So two lanes run, one for each phase, each with a machine of
layer 4. Preamble, framing and error detection byte do not prove the phase: an idle packet, FF 00 FF, reads as
7F 00 7F in the wrong phase. The strain does prove it: in the wrong phase each step from ones to zeros or back moves the
end of a bit by half of the difference between a zero and a one. A packet is given if the other lane has had clearly
more strain since the packet's start bit, together with the strain from before. Strain from before counts only for a
packet that has little strain itself, because a lost or extra change swaps the phase, and only as far as the lane's
packets have proved it since its last fault: noise strains both lanes by chance. A packet whose phase is not clear
yet is held. If many zeros are stretched, so is the first packet after a fault, until the next proves its lengths.

At the start durations are only kept, until lengths are learned that fit them. If there is no more room, the oldest are
given up. Then two are decoded with each one that comes, until none is left. Lengths are learned again if no packet has
come for long. Learning takes as long as some thousand bits, all else is short.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:  # names for type checkers; never imported
    from .core import Packets
    from .core_sum_lengths import Boundaries, Learner, Lengths

# As in core.py.
MORE = 0
PACKET = 3
START = 5
SHORT = 8
LONG = 10

# What became of a packet that is complete in a lane.
GIVEN = 1  # it is right, and so is the one that was held in this lane
HELD = 2  # its phase is not clear yet
UNSURE = 3  # its phase is not clear, and will not become clear: it is lost
CHANCE = 4  # found by chance in the wrong phase, over a packet that was given

#: Number of half-bits in a block. They always include one complete preamble with its packet.
BLOCK = 240
#: Most blocks without a packet before the lengths are learned again; and how many right after a packet.
PATIENCE_MAX, PATIENCE = 15, 3

#: Most strain of a packet itself: that of one change that the loop cannot explain (STRAIN_MAX), and nothing besides.
#: After a lost or extra change all bits are read in the other phase, and the error detection byte may miss that. More
#: if many zeros are stretched: their lengths say little, and untouched packets strain.
OWN_MAX, OWN_MAX_STRETCHED = 64, 100
#: How much less strain a packet's lane must have than the other: during the packet, if many zeros are stretched; and
#: together with the strain from before, which is more if many zeros are stretched. By lengths that are wrong, learned
#: from noise or from another station, zeros look stretched, and in the right phase two bits of an idle packet may be
#: doubtful. During the packet it must always have at most half of the other's: if both lanes strain, the lengths are
#: wrong.
OWN_CLEAR, CLEAR, CLEAR_STRETCHED = 1, 50, 110
#: Most that the strain from before counts, because the phase may have swapped. A lane that is proved needs no more.
PAST_MAX = 120
#: Difference in strain from which on lengths are learned from the better lane.
TEACHER = 30
#: Sums of strain stop here.
TOTAL_MAX = 1000
#: Number of bits for which a lane holds a packet: 60 ms of one-bits.
HELD_MAX = 500
NEVER = -1


class Lane:
    """One phase.

    :param packets: its machine of layer 4.
    :param boundaries: its Boundaries.
    """

    def __init__(self, packets: "Packets", boundaries: "Boundaries") -> None:
        self.packets = packets
        self.boundaries = boundaries
        # For the packet that has begun: own strain and the other lane's strain since its start bit, and how much more
        # strain the other lane had before.
        self.own = 0
        self.others = 0
        self.past = 0
        #: How much less strain it had than the other lane during its packets since its last fault.
        self.proof = 0
        #: True if the other lane has given a packet since the start bit.
        self.chance = False
        # The packet that is held, if ``held`` is True, and the number of bits since.
        self.held: bool = False
        self.age: int = 0
        self.data: bytearray = bytearray(len(packets.data))
        self.length: int = 0
        self.preamble: int = 0

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
    ``lane`` took ``bit`` and answered ``answer``; for a packet, ``verdict`` is what became of it. ``dropped`` is True
    if the packet that the lane held was given up.

    :param first: a machine of layer 4 (``core.Packets``) that never searches the phase: its ``one_difference`` is -1.
    :param second: another one.
    :param learner: a Learner. Its ``recent`` keeps the durations; its length is a multiple of BLOCK.
    :param zero_max: longest half of a zero-bit.
    """

    def __init__(self, first: "Packets", second: "Packets", learner: "Learner", zero_max: int) -> None:
        self.learner = learner
        self.lengths: Lengths = learner.known
        self.lanes: tuple[Lane, Lane] = (Lane(first, learner.boundaries()), Lane(second, learner.boundaries()))
        self.recent: list[int] = learner.recent
        self.shortest: int = 2 * learner.one_min
        self.zero_max = zero_max
        #: True when the lengths are known. Until then durations are only kept.
        self.known: bool = False
        #: Number of durations that are kept and not taken yet.
        self.behind: int = 0
        self.at: int = 0  # where the next duration is kept
        self.count: int = 0  # durations kept in this block
        self.blocks: int = 0  # blocks since the last packet, and how many there may be
        self.patience: int = 0
        self.turn: int = 0
        self.before: int = NEVER
        #: Strain of the second lane minus strain of the first.
        self.balance: int = 0
        self.due: int = 0  # packets that ``lane`` has still to give
        self.lane: Lane = self.lanes[0]
        self.bit: int = MORE
        self.answer: int = MORE
        self.verdict: int = MORE
        self.dropped: bool = False
        self.data: bytearray = first.data
        self.length: int = 0
        self.preamble: int = 0

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
            full = self.behind == len(self.recent)
            if learner.sure or full and learner.fit:
                self.begin()
            elif full:
                self.behind -= BLOCK
            return
        self.blocks += 1
        if self.blocks <= self.patience:
            return
        self.blocks = 0
        self.patience = 2 * self.patience + 1 if 2 * self.patience < PATIENCE_MAX else PATIENCE_MAX
        learner.learn(start, count)
        if learner.sure and learner.better(start, count):
            self.begin()

    def finish(self) -> None:
        """The signal ends: learn from the last durations, however few, if need be. They can be taken then."""
        if not self.known:
            count = self.behind if self.behind < BLOCK else BLOCK
            self.learner.learn(self.at - count, count)
            if self.learner.fit:
                self.begin()

    def begin(self) -> None:
        """Use the lengths that were learned."""
        learner = self.learner
        self.lengths.begin(learner.one, learner.zero, learner.stretches)
        for lane in self.lanes:
            lane.boundaries.lose()
            lane.proof = 0
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
        self.dropped = False
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
            bit = boundaries.bit(before, half)
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
        if lane.held and lane.age <= HELD_MAX:
            lane.age += 1
        self.answer = answer = lane.packets.feed(bit, 0, 0)
        if answer == START:
            self.start(turn, lane, other)
        elif answer == PACKET:
            self.verdict = self.judge(lane, other)
        if answer >= SHORT or answer == PACKET and self.verdict == UNSURE:
            # A fault: the phase may have swapped.
            lane.proof = 0
            self.dropped = lane.held
            lane.held = False

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
        stretches = self.lengths.many_stretched()
        own_max = OWN_MAX_STRETCHED if stretches else OWN_MAX
        if lane.own > own_max or clear < lane.own or clear < OWN_CLEAR and stretches:
            return UNSURE
        # By wrong lengths a bit may be read wrong without strain. Such lengths bring faults.
        after_fault = stretches and not lane.proof
        past = lane.past if lane.past < lane.proof else lane.proof
        lane.proof = lane.proof + clear if lane.proof + clear < PAST_MAX else PAST_MAX
        if after_fault or clear + past < (CLEAR_STRETCHED if stretches else CLEAR):
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
