"""Tracks where the bits of one phase begin and end, although changes are seen late.

A polling loop sees each change up to one period late. So times scatter, but the errors do not add
up: if the bits are read correctly, the change that ends a bit is always seen within one period after
its true time. :class:`Boundaries` tracks the true time. A bit is a one or a zero depending on which
bit's expected end is nearer.

A reading in the wrong phase has its boundaries in the middle of the bits. There, each step from ones
to zeros or back moves the end by half of the difference between a zero and a one. The loop's period
cannot explain that. This unexplained error is called *strain*.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

from .. import core
from ..limits import US, Limits
from .lengths import NOMINAL

__all__ = ["CLEARLY", "WHOLE", "Boundaries", "Lengths", "cost_of", "learned"]

# Strain. A bit that ends outside the allowed lateness adds the square of its distance from the allowed range, in 16ths
# of half the lateness. It adds at most STRAIN_MAX, so that one wrong change does not decide alone.
STRAIN_MAX = 64
#: Strain of a bit that was nearly read as the other. A packet may not have two of them, because the error detection
#: byte may miss two wrong bits.
DOUBT = 52
#: Tolerance for a change in addition to the loop's lateness, ns: for a timer's steps and slightly unequal halves.
SLACK = 2 * US
#: Added uncertainty of the boundary with each bit, ns, because the lengths are not known exactly.
CREEP = 250

# Learning while bits arrive.
#: Weight of the lengths learned at the start, as a number of ones and of zeros.
LEARNED = (40, 30)
#: Greatest weight, in bits. From there on each bit corrects the length by the same fraction of its error.
LEARN_MAX = 500
#: The share of stretched zeros is given in parts of WHOLE. Above SOME, any zero may be stretched. Above MOST, most
#: zeros are.
WHOLE, SOME, MOST = 1 << 16, 2000, 36000

# Learning at the start.
#: Number of one-halves in a row before every packet: a preamble is 14 one-bits (S-9.2 A), 10 after a cutout.
RUN = 20
#: Number of places tried for such a run, the likeliest first.
RUNS = 30
#: Lengths of zeros tried, relative to a one: from 1.5 (190 / 122 us) to 2.25 (240 / 110 us; S-9.1 A, table 1).
ZERO_PARTS = 32
ZEROS = range(48, 73)
#: Number of half-bits after which the phase is chosen again, because a lost change swaps it.
PIECE = 40
#: Most strain allowed for correct lengths: that of two lost changes.
SURE = 2 * STRAIN_MAX
#: How much more all other lengths must cost.
CLEARLY = 64
#: Cost of a stretched zero. Without it, lengths that make every zero a stretched one would look right.
STRETCHED = 12


class Lengths:
    """The lengths of the station's bits and the scatter of the board's times, ns. Learned from the signal.

    :param one: length of a one-bit, ns.
    :param zero: length of a zero-bit that is not stretched, ns.
    :param late: longest time from a change until it is seen, minus the shortest, ns.
    """

    def __init__(self, one: int, zero: int, late: int) -> None:
        self.one = one
        self.zero = zero
        self.late = late
        self.one_and_zero = one + zero
        #: Share of the zeros that are stretched, in parts of WHOLE.
        self.stretching = 0
        #: How far a bit's end may be from the expected time without strain, ns.
        self.most = late // 2 + SLACK
        #: A bit's end is doubtful if it is near the middle between a one's and a zero's end. Twice that distance, ns.
        self.doubt = self.most // 2
        self.variance = self.most**2 // 3
        #: The phase from which lengths are learned: the one with less strain.
        self.teacher: Boundaries | None = None
        self._ones, self._zeros = LEARNED

    @property
    def mostly_stretches(self) -> bool:
        """True if most zeros are stretched, so that their lengths say little."""
        return self.stretching > MOST

    def copied(self) -> Lengths:
        """A copy without a teacher."""
        copied = Lengths(self.one, self.zero, self.late)
        copied.stretching = self.stretching
        return copied

    def learn(self, bit: int, off: int) -> int:
        """Correct the length of a kind of bit.

        :param off: by how much the bit was longer than expected, ns.
        :returns: the change of the length, ns.
        """
        if bit == core.ONE:
            self._ones = seen = min(self._ones + 1, LEARN_MAX)
            change = off // (seen + 1)
            self.one += change
        else:
            self._zeros = seen = min(self._zeros + 1, LEARN_MAX)
            if off > 0:
                # Some of these zeros are stretched a little. Their share grows with the share of stretched zeros.
                off = off * (WHOLE - self.stretching) // WHOLE
            change = off // (seen + 1)
            self.zero += change
        self.one_and_zero = self.one + self.zero
        return change


class Boundaries:
    """Tracks the bits of one phase. It takes halves, gives bits, and sums the strain."""

    def __init__(self, lengths: Lengths) -> None:
        self.lengths = lengths
        #: The total strain, and the total without the last bit.
        self.strain = self.strain_before = 0
        #: The same, only of changes outside the allowed lateness.
        self.wrong = self.wrong_before = 0
        #: Number of stretched zeros.
        self.stretched = 0
        # Lower and upper bound of how late the last change was seen, ns, relative to the middle of the possible range.
        self._low, self._high = -lengths.most, lengths.most

    def bit(self, first: int, last: int) -> int:
        """Take the two halves of a bit, ns; return core.ONE or core.ZERO."""
        lengths = self.lengths
        self.strain_before, self.wrong_before = self.strain, self.wrong
        duration = first + last
        low = self._low + duration
        high = self._high + duration
        beyond = low + high - lengths.one_and_zero
        if beyond <= 0:
            bit = core.ONE
            length = lengths.one
        else:
            bit = core.ZERO
            length = lengths.zero
        if -lengths.doubt < beyond < lengths.doubt:
            self.strain += DOUBT
        low -= length + CREEP
        high -= length - CREEP
        most = lengths.most
        if low > most or high < -most:
            self._astray(bit, low, high, min(first, last))
            return bit
        if lengths.teacher is self:
            if bit == core.ZERO:
                lengths.stretching -= lengths.stretching >> 5
            if high - low <= most:
                # If the start of a bit is not well known, it would only confirm what was assumed.
                change = lengths.learn(bit, (low + high) >> 1)
                low -= change
                high -= change
        if bit == core.ZERO and lengths.stretching > SOME:
            low = -most
        self._low = low if low > -most else -most
        self._high = high if high < most else most
        return bit

    def lose(self) -> None:
        """Not a bit: the place of the next bit is unknown."""
        self.strain_before, self.wrong_before = self.strain, self.wrong
        self.strain += STRAIN_MAX
        self.wrong += STRAIN_MAX
        self._low, self._high = -self.lengths.most, self.lengths.most

    def use(self, lengths: Lengths) -> None:
        """Continue with other lengths."""
        self.lengths = lengths
        self._low, self._high = -lengths.most, lengths.most

    def _astray(self, bit: int, low: int, high: int, half: int) -> None:
        """Handle a bit whose end is outside the allowed lateness."""
        lengths = self.lengths
        most = lengths.most
        if bit == core.ONE or low < 0 and not lengths.mostly_stretches:
            over = low - most if low > 0 else -most - high
            strain = min((16 * over // most) ** 2, STRAIN_MAX)
            self.strain += strain
            self.wrong += strain
            if low > 0:
                self._low, self._high = most // 2, most
            else:
                self._low, self._high = -most, -most // 2
            return
        # A stretched zero. The lateness of its end is unknown.
        self.stretched += 1
        if lengths.teacher is self:
            lengths.stretching += (WHOLE - lengths.stretching) >> 5
        self._low, self._high = -most, most
        # Its shorter half is as long as a normal zero's half. In the wrong phase it may be the half of a one.
        one, zero = lengths.one // 2, lengths.zero // 2
        short = (one + zero - 2 * half) * (zero - one)
        if short > 0:
            self.strain += min(2 * short // lengths.variance, STRAIN_MAX)


def learned(durations: Sequence[int], limits: Limits) -> tuple[Lengths, bool]:
    """The lengths that fit some durations best, and True if all others fit clearly worse.

    :param durations: ns; at least a preamble and a packet after it.
    """
    half = _run(durations, limits)
    # Without a preamble no packet can be read, so any lengths will do.
    one = 2 * (half or NOMINAL.one)
    late = limits.latency_max
    zeros = (one * part // ZERO_PARTS for part in ZEROS)
    tries = [(*cost_of(Lengths(one, zero, late), durations), zero) for zero in zeros]
    cost, strain, stretched, zero = min(tries)
    rival = min((cost for cost, _, _, other in tries if abs(other - zero) > one // 8), default=cost)
    lengths = Lengths(one, zero, late)
    if stretched > len(durations) // 64:
        lengths.stretching = WHOLE // 2
    return lengths, half > 0 and strain <= SURE and 2 * rival >= 3 * cost + 2 * CLEARLY


def cost_of(lengths: Lengths, durations: Sequence[int]) -> tuple[int, int, int]:
    """The cost of lengths: total, strain, and number of stretched zeros. For each piece the better phase counts."""
    phases = Boundaries(lengths), Boundaries(lengths)
    cost = strain = stretched = 0
    for start in range(0, len(durations) - 1, PIECE):
        costs = []
        for phase, boundaries in enumerate(phases):
            before = boundaries.strain, boundaries.stretched
            piece = durations[start + phase : start + phase + PIECE]
            for first, last in zip(piece[::2], piece[1::2]):
                boundaries.bit(first, last)
            more = boundaries.strain - before[0], boundaries.stretched - before[1]
            costs.append((more[0] + STRETCHED * more[1], *more))
        best = min(costs)
        cost, strain, stretched = cost + best[0], strain + best[1], stretched + best[2]
    return cost, strain, stretched


def _run(durations: Sequence[int], limits: Limits) -> int:
    """Half of a one, ns, from runs of equal halves. 0 if there is no run."""
    times = list(accumulate(durations, initial=0))
    spans = sorted((end - start, index) for index, (start, end) in enumerate(zip(times, times[RUN:])))
    total = weights = 0
    reached: list[int] = []
    for _, start in spans[:RUNS]:
        end = start + RUN
        if any(abs(start - other) < 2 * RUN for other in reached) or not _slope(times, start, end, limits):
            continue
        reached.append(start)
        while start > 1 and _slope(times, start - 2, end, limits):
            start -= 2
        while end < len(durations) - 1 and _slope(times, start, end + 2, limits):
            end += 2
        # The precision of a line's slope grows with the cube of its length.
        weight = (end - start) ** 3
        total += weight * _slope(times, start, end, limits)
        weights += weight
    return total // weights if weights else 0


def _slope(times: Sequence[int], start: int, end: int, limits: Limits) -> int:
    """The distance between changes, ns, by the best-fitting line. 0 if the line does not fit or they are not ones."""
    run = [time - times[start] for time in times[start : end + 1]]
    count = end - start
    scale = count * (count + 1) * (count + 2) // 6
    half = sum((2 * place - count) * time for place, time in enumerate(run)) // scale
    offs = [time - half * place for place, time in enumerate(run)]
    fits = max(offs) - min(offs) <= limits.latency_max + SLACK and limits.one_min <= half <= limits.one_max
    return half if fits else 0
