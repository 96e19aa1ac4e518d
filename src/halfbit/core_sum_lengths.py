"""The lengths of a station's bits, for the decision by sum: learned, and where bits end by them.

Nothing rests on the nominal lengths of bits. This file keeps the rules of ``core.py``, imports nothing, and runs
unmodified on MicroPython. ``core_sum.py`` explains how it is used; ``halfbit_sum_lengths.c`` mirrors it.

``Boundaries``: a polling loop sees each change up to one period late. The errors do not add up: if the bits are read
correctly, the change that ends a bit is always seen within one period after its true time. A ``Boundaries`` tracks how
late the last change can have been. A bit is a one or a zero depending on which bit's expected end is nearer. What the
loop's period cannot explain is *strain*.

``Learner``: finds the lengths that explain a block of durations best. That takes as long as some thousand bits.

Inside, times are in *units*: a timer's ticks, each ``scale`` units long. A unit is about 1/16 us, so that lengths can
be corrected by less than a tick.
"""

# As in core.py.
ONE, ZERO = 1, 2
NEVER = -1
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
#: Shares of stretched zeros, of WHOLE. Above SOME any zero may be stretched, above MANY likely; above MOST most are.
WHOLE, SOME, MANY, MOST = 1 << 15, 200, 8192, 18000
#: Lengths are corrected by 1/64 of a bit's error at first, later by less, at the end by 1/512. The powers of two.
GAIN_MIN, GAIN_MAX = 6, 9
#: One-halves in a row before every packet (S-9.2 A: 14 one-bits, 10 after a cutout), and the longest run that is used.
RUN, RUN_MAX = 20, 64
RUNS = 12  #: Number of places tried for such a run, the likeliest first; number of runs used at most.
#: Lengths of zeros tried: ZEROS of them, from 1.5 ones (190 / 122 us) to 2.25 ones (240 / 110 us; S-9.1 A, table 1).
ZEROS = 25
#: Number of half-bits after which the phase is chosen again while learning, because a lost change swaps it.
PIECE = 40
#: Most strain allowed for correct lengths: that of two lost changes.
SURE = 2 * STRAIN_MAX
CLEARLY = 64  #: How much more all other lengths must cost.
#: Cost of a stretched zero. Without it, lengths that make every zero a stretched one would look right.
STRETCHED = 12


class Length:
    """The length of a kind of bit, in units."""

    def __init__(self) -> None:
        self.begin(0)

    def begin(self, value: int) -> None:
        """Start with a value that is not known exactly yet."""
        self.value: int = value
        self.rest: int = 0  # what is left of the errors: parts of a unit
        self.gain: int = GAIN_MIN
        self.seen: int = 1 << GAIN_MIN

    def learn(self, off: int) -> int:
        """Correct the length by a bit that was too long: ``off`` is twice by how much. Returns the change."""
        gain = self.gain + 1
        rest = self.rest + off
        change = rest >> gain
        self.rest = rest - (change << gain)
        self.value += change
        if gain <= GAIN_MAX:
            self.seen += 1
            if self.seen == 1 << gain:
                self.gain = gain
        return change


class Lengths:
    """The lengths of the station's bits and the scatter of the board's times, in units.

    :param late: longest time from a change until it is seen, minus the shortest, in ticks.
    :param scale: units in a tick.
    """

    def __init__(self, late: int, scale: int) -> None:
        self.scale = scale
        #: Longer half-bits count as this long, ticks.
        self.half_max: int = HALF_MAX // scale
        #: How far a bit's end may be from the expected time without strain.
        self.most: int = late * scale // 2 + SLACK
        self.sixteenth: int = self.most // 16
        #: A bit's end is doubtful if it is near the middle between a one's and a zero's end. Twice that distance.
        self.doubt: int = self.most // 2
        self.one: Length = Length()
        self.zero: Length = Length()
        self.begin(0, 0, False)

    def begin(self, one: int, zero: int, stretches: bool) -> None:
        """Start with lengths of a one-bit and of a zero-bit that is not stretched.

        :param stretches: True if some zeros are stretched.
        """
        self.one.begin(one)
        self.zero.begin(zero)
        self.both: int = one + zero
        #: By how much a half must be shorter than the middle between a one's and a zero's half for a strain of 1.
        self.shorter: int = max(self.most * self.most // (3 * max(zero - one, 1)), 1)
        self.stretching = WHOLE // 2 if stretches else 0

    def many_stretched(self) -> bool:
        """True if many zeros are stretched, so that their lengths say little."""
        return self.stretching > MANY

    def learn(self, bit: int, off: int) -> int:
        """Correct the length of a kind of bit, as :meth:`Length.learn`."""
        change = (self.one if bit == ONE else self.zero).learn(off)
        self.both += change
        return change


class Boundaries:
    """Tracks the bits of one phase. After a bit, ``strain`` is its strain, ``stretched`` True if it is stretched."""

    def __init__(self, lengths: Lengths) -> None:
        self.lengths = lengths
        self.strain: int = 0
        self.stretched: bool = False
        #: True if lengths are learned from this phase.
        self.teaches = False
        # Lower and upper bound of how late the last change was seen, relative to the middle of the possible range.
        self.low: int = -lengths.most
        self.high: int = lengths.most
        #: The lower bound if no zero was stretched without a trace. It decides bits as much as ``low``, and lengths are
        #: learned by it: with ``low``, ones would become too short and zeros too long.
        self.likely: int = -lengths.most

    def lose(self) -> None:
        """Not a bit: the place of the next bit is unknown."""
        self.strain = STRAIN_MAX
        self.stretched = False
        self.low = self.likely = -self.lengths.most
        self.high = self.lengths.most

    def bit(self, first: int, last: int) -> int:
        """Take the two halves of a bit, in ticks; return ONE or ZERO."""
        lengths = self.lengths
        most = lengths.most
        if first > lengths.half_max:
            first = lengths.half_max
        if last > lengths.half_max:
            last = lengths.half_max
        duration = (first + last) * lengths.scale
        low = self.low + duration
        high = self.high + duration
        beyond = (self.low + self.likely) // 2 + duration + high - lengths.both
        if beyond <= 0:
            bit = ONE
            length = lengths.one.value
        else:
            bit = ZERO
            length = lengths.zero.value
        self.strain = DOUBT if -lengths.doubt < beyond < lengths.doubt else 0
        self.stretched = False
        low -= length + CREEP
        high -= length - CREEP
        likely = self.likely + duration - length - CREEP
        if low > most or high < -most:
            self.astray(bit, low, high, (first if first < last else last) * lengths.scale)
            return bit
        if self.teaches:
            if bit == ZERO:
                lengths.stretching -= lengths.stretching >> 5
            if high - likely <= most and likely <= most:
                # If the start of a bit is not well known, it would only confirm what was assumed.
                change = lengths.learn(bit, likely + high)
                low -= change
                high -= change
                likely -= change
        if bit == ZERO and lengths.stretching > SOME:
            low = -most
            if lengths.stretching > MANY:
                likely = low
        self.low = low if low > -most else -most
        self.high = high if high < most else most
        self.likely = likely if self.low < likely <= most else self.low
        return bit

    def astray(self, bit: int, low: int, high: int, half: int) -> None:
        """Handle a bit whose end is outside the allowed lateness; ``half`` is its shorter half, in units."""
        lengths = self.lengths
        most = lengths.most
        if bit == ONE or low < 0 and lengths.stretching <= MOST:
            over = low - most if low > 0 else -most - high
            steps = over // lengths.sixteenth
            self.strain += steps * steps if steps < 8 else STRAIN_MAX
            self.low = self.likely = most // 2 if low > 0 else -most
            self.high = most if low > 0 else -(most // 2)
            return
        # A stretched zero. The lateness of its end is unknown.
        self.stretched = True
        if self.teaches:
            lengths.stretching += (WHOLE - lengths.stretching) >> 5
        self.low = self.likely = -most
        self.high = most
        # Its shorter half is as long as a normal zero's half. In the wrong phase it may be the half of a one.
        short = (lengths.both >> 1) - 2 * half
        if short > 0:
            steps = short // lengths.shorter
            self.strain += steps if steps < STRAIN_MAX else STRAIN_MAX


class Learner:
    """Learns the lengths of bits from a block of durations. All durations are in ticks.

    After :meth:`learn`, ``one`` and ``zero`` are the lengths that fit best, in units; ``stretches`` is True if some
    zeros are stretched; ``fit`` is True if they explain the durations; ``sure`` is True if all others explain them
    clearly worse. After :meth:`try_lengths`, ``cost``, ``strain`` and ``stretched`` say how well ``lengths`` fit.

    :param recent: the durations. The caller fills it.
    :param one_min: shortest and longest half of a one-bit.
    :param late: longest time from a change until it is seen, minus the shortest.
    :param scale: units in a tick.
    """

    def __init__(self, recent: list[int], one_min: int, one_max: int, late: int, scale: int) -> None:
        self.recent = recent
        #: The lengths in use, and those that are tried.
        self.known: Lengths = Lengths(late, scale)
        self.lengths: Lengths = Lengths(late, scale)
        self.phases: tuple[Boundaries, Boundaries] = (Boundaries(self.lengths), Boundaries(self.lengths))
        self.one_min: int = one_min
        self.one_max: int = one_max
        self.late: int = late
        self.scale: int = scale
        self.reached: list[int] = [0] * RUNS
        self.costs: list[int] = [0] * ZEROS
        self.total: int = 0
        self.weight: int = 0
        self.best: int = 0
        self.cost: int = 0
        self.strain: int = 0
        self.stretched: int = 0
        self.one: int = 0
        self.zero: int = 0
        self.stretches: bool = False
        self.fit: bool = False
        self.sure: bool = False

    def learn(self, start: int, count: int) -> None:
        """Learn from ``recent[start : start + count]``."""
        self.one = one = self.run(start, count)
        self.fit = self.sure = False
        if not one:
            return  # no run of ones, so no preamble and no packet
        best = best_strain = best_stretched = zero = 0
        for index in range(ZEROS):
            tried = self.zero_tried(index)
            self.lengths.begin(one, tried, False)
            self.try_lengths(start, count)
            self.costs[index] = self.cost
            if index == 0 or self.cost < best or self.cost == best and self.strain < best_strain:
                best = self.cost
                best_strain = self.strain
                best_stretched = self.stretched
                zero = tried
        rival = NEVER
        for index in range(ZEROS):
            tried = self.zero_tried(index)
            if abs(tried - zero) > one >> 3 and (rival == NEVER or self.costs[index] < rival):
                rival = self.costs[index]
        self.zero = zero
        self.best = best
        self.stretches = best_stretched > count >> 6
        self.fit = best_strain <= SURE
        self.sure = self.fit and 2 * rival >= 3 * best + 2 * CLEARLY

    def boundaries(self) -> Boundaries:
        """Boundaries with the lengths in use."""
        return Boundaries(self.known)

    def better(self, start: int, count: int) -> bool:
        """True if the lengths that were just learned fit clearly better than those in use."""
        self.lengths.begin(self.known.one.value, self.known.zero.value, False)
        self.lengths.stretching = self.known.stretching
        self.try_lengths(start, count)
        return self.cost >= self.best + CLEARLY

    def zero_tried(self, index: int) -> int:
        """A length of zeros to try, from 1.5 to 2.25 ones."""
        return self.one + (self.one >> 1) + index * (self.one >> 5)

    def try_lengths(self, start: int, count: int) -> None:
        """Read the durations with ``lengths``. For each piece the better phase counts."""
        recent = self.recent
        self.cost = self.strain = self.stretched = 0
        first, second = self.phases
        first.lose()
        second.lose()
        end = start + count
        piece = start
        while piece < end - 1:
            best = NEVER
            for phase in self.phases:
                sum_strain = sum_stretched = 0
                at = piece if phase is first else piece + 1
                last = at + PIECE if at + PIECE < end else end
                while at + 1 < last:
                    phase.bit(recent[at], recent[at + 1])
                    sum_strain += phase.strain
                    sum_stretched += phase.stretched
                    at += 2
                cost = sum_strain + STRETCHED * sum_stretched
                if best == NEVER or cost < best:
                    best = cost
                    strain = sum_strain
                    stretched = sum_stretched
            self.cost += best
            self.strain += strain
            self.stretched += stretched
            piece += PIECE

    def run(self, start: int, count: int) -> int:
        """Length of a one-bit, in units, from runs of equal halves; 0 if there is no run."""
        total = weights = runs = 0
        span = index = NEVER
        low, high = RUN * self.one_min - self.late, RUN * self.one_max + self.late
        for _ in range(RUNS):
            # The next shortest stretch of RUN durations that is none of those before and not near one that was used.
            shortest = at = NEVER
            length = 0
            for place in range(count):
                length += self.recent[start + place]
                begin = place + 1 - RUN
                if begin < 0:
                    continue
                if low <= length <= high and (length > span or length == span and begin > index):
                    if (shortest == NEVER or length < shortest) and not self.near(begin, runs):
                        shortest = length
                        at = begin
                length -= self.recent[start + begin]
            if shortest == NEVER:
                break
            span = shortest
            index = at
            begin = at
            end = at + RUN
            if not self.fits(start + begin, start + end):
                continue
            self.reached[runs] = at
            runs += 1
            while begin > 1 and end - begin < RUN_MAX and self.fits(start + begin - 2, start + end):
                begin -= 2
            while end < count - 1 and end - begin < RUN_MAX and self.fits(start + begin, start + end + 2):
                end += 2
            self.fits(start + begin, start + end)
            total += self.total
            weights += self.weight
        return 2 * total * self.scale // weights if weights else 0

    def near(self, begin: int, runs: int) -> bool:
        """True if a run that was used begins near ``begin``."""
        for index in range(runs):
            if abs(begin - self.reached[index]) < 2 * RUN:
                return True
        return False

    def fits(self, start: int, end: int) -> bool:
        """True if the durations can be halves of ones.

        The best-fitting line through the changes must meet them all within the lateness. Its slope is the half,
        ``total / weight`` ticks. The weight grows with the cube of the length, as the precision of a slope does.
        """
        recent = self.recent
        count = end - start
        total = 0
        for place in range(count):
            half = recent[start + place]
            if half > self.lengths.half_max:
                return False
            total += half * ((place + 1) * (count - place))
        self.total = total
        self.weight = weight = count * (count + 1) * (count + 2) // 6
        fine = 16 * self.scale  # parts of a tick
        half = total * fine // weight
        if half < self.one_min * fine or half > self.one_max * fine:
            return False
        low = high = off = 0
        for place in range(start, end):
            off += recent[place] * fine - half
            low = min(low, off)
            high = max(high, off)
        return high - low <= 16 * (self.late * self.scale + SLACK)
