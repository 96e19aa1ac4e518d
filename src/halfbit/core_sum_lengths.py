"""Learns the lengths of bits, for the decision by sum.

It imports nothing and keeps the rules of ``core.py`` and ``core_sum.py``, to which it belongs.
"""

NEVER = -1
# As in core_sum.py.
SLACK = 32
HALF_MAX = 4000
STRAIN_MAX = 64
#: Number of half-bits from which lengths are learned. They always include one complete preamble with its packet.
LEARN = 240
#: Number of one-halves in a row before every packet: a preamble is 14 one-bits (S-9.2 A), 10 after a cutout; and the
#: longest run that is used.
RUN, RUN_MAX = 20, 64
#: Number of places tried for such a run, the likeliest first; number of runs used at most.
RUNS = 12
#: Lengths of zeros tried: ZEROS of them, from 1.5 ones (190 / 122 us) to 2.25 ones (240 / 110 us; S-9.1 A, table 1).
ZEROS = 25
#: Number of half-bits after which the phase is chosen again while learning, because a lost change swaps it.
PIECE = 40
#: Most strain allowed for correct lengths: that of two lost changes.
SURE = 2 * STRAIN_MAX
#: How much more all other lengths must cost.
CLEARLY = 64
#: Cost of a stretched zero. Without it, lengths that make every zero a stretched one would look right.
STRETCHED = 12


class Learner:
    """Learns the lengths of bits from a block of durations. All durations are in ticks.

    After :meth:`learn`, ``one`` and ``zero`` are the lengths that fit best, in units; ``stretches`` is True if some
    zeros are stretched; ``sure`` is True if all other lengths fit clearly worse. After :meth:`try_lengths`, ``cost``,
    ``strain`` and ``stretched`` tell how well some lengths fit.

    :param recent: the durations. The caller fills it.
    :param lengths: Lengths and two Boundaries of ``core_sum`` with them, for trials.
    :param one_min: shortest and longest half of a one-bit.
    :param late: longest time from a change until it is seen, minus the shortest.
    :param one: half of a one-bit and of a zero-bit, if they cannot be learned.
    :param scale: units in a tick.
    """

    def __init__(  # type: ignore[no-untyped-def]
        self, recent, lengths, first, second, one_min: int, one_max: int, late: int, one: int, zero: int, scale: int
    ) -> None:
        self.recent = recent
        self.lengths = lengths
        self.phases = (first, second)
        self.one_min = one_min
        self.one_max = one_max
        self.late = late
        self.nominal_one = one
        self.nominal_zero = zero
        self.scale = scale
        self.half_max = HALF_MAX // scale
        self.reached = [0] * RUNS
        self.costs = [0] * (ZEROS + 1)
        self.total = self.weight = 0
        self.best = self.cost = self.strain = self.stretched = 0
        self.one = self.zero = 0
        self.stretches = self.sure = False

    def learn(self, start: int, count: int) -> None:
        """Learn from ``recent[start : start + count]``."""
        self.one = one = self.run(start, count)
        best = best_strain = best_stretched = 0
        zero = 0
        for index in range(ZEROS + 1):
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
        for index in range(ZEROS + 1):
            tried = self.zero_tried(index)
            if tried - zero > one >> 3 or zero - tried > one >> 3:
                if rival == NEVER or self.costs[index] < rival:
                    rival = self.costs[index]
        self.zero = zero
        self.best = best
        self.stretches = best_stretched > count >> 6
        self.sure = best_strain <= SURE and 2 * rival >= 3 * best + 2 * CLEARLY

    def better(self, start: int, count: int, known) -> bool:  # type: ignore[no-untyped-def]
        """True if the lengths that were just learned fit clearly better than those that are known."""
        self.lengths.begin(known.one, known.zero, False)
        self.lengths.stretching = known.stretching
        self.try_lengths(start, count)
        return self.cost >= self.best + CLEARLY

    def zero_tried(self, index: int) -> int:
        """A length of zeros to try: the nominal one, then those from 1.5 to 2.25 ones."""
        if index == 0:
            return self.nominal_zero * self.scale
        return self.one + (self.one >> 1) + (index - 1) * (self.one >> 5)

    def try_lengths(self, start: int, count: int) -> None:
        """Read the durations with ``lengths``. For each piece the better phase counts."""
        recent = self.recent
        half_max = self.half_max
        scale = self.scale
        self.cost = self.strain = self.stretched = 0
        first, second = self.phases
        first.lose()
        second.lose()
        end = start + count
        piece = start
        while piece < end - 1:
            best = strain = stretched = NEVER
            for phase in self.phases:
                sum_strain = sum_stretched = 0
                at = piece if phase is first else piece + 1
                last = at + PIECE if at + PIECE < end else end
                while at + 1 < last:
                    half = recent[at]
                    last_half = recent[at + 1]
                    phase.bit(
                        (half if half < half_max else half_max) * scale,
                        (last_half if last_half < half_max else half_max) * scale,
                    )
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
        """Length of a one-bit, in units, from runs of equal halves. The nominal length if there is no run."""
        total = weights = runs = 0
        span = index = NEVER
        low = RUN * self.one_min - self.late
        high = RUN * self.one_max + self.late
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
        if weights == 0:
            return self.nominal_one * self.scale
        return 2 * total * self.scale // weights

    def near(self, begin: int, runs: int) -> bool:
        """True if a run that was used begins near ``begin``."""
        for index in range(runs):
            if -2 * RUN < begin - self.reached[index] < 2 * RUN:
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
            if half > self.half_max:
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
            if off < low:
                low = off
            if off > high:
                high = off
        return high - low <= 16 * (self.late * self.scale + SLACK)


