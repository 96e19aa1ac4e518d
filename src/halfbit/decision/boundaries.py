"""Where the bits of one phase begin and end, followed over changes that are seen late.

A polled loop sees each change up to one period late. Times therefore scatter, but the scatter does
not add up: under the right reading of the bits, the change that ends a bit is always seen within
the same period after its true place. :class:`Boundaries` follows that place. Each bit is read by where
its end falls: nearer to a one's end or nearer to a zero's. A reading in the wrong phase puts its
boundaries in the middles of bits. There every change from ones to zeros, and back, moves the end by half of
what a zero lasts longer than a one, which no loop's period explains. That is its *strain*.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

from .. import core
from ..limits import US, Limits

__all__ = ["CLEARLY", "Boundaries", "Lengths", "cost_of", "learned"]

# Strain. A bit that ends outside of what the lateness allows adds the square of how far outside, in 16ths of half the
# lateness; never more than STRAIN_MAX, so that one change gone wrong does not decide alone.
STRAIN_MAX = 64
#: A bit that nearly was the other adds this. Two of them are too many for a packet: the error byte may miss both.
DOUBT = 52
#: How far a change may be from its place beside the loop's lateness, ns: a timer's steps, halves not quite alike.
SLACK = 2 * US
#: By how much the place of a bit's end gets less sure with each bit, ns: the lengths are not known exactly.
CREEP = 250

# What is learned as bits come.
#: For how many ones and zeros the lengths count that are learned at the start.
LEARNED = (40, 30)
#: From so many bits of a kind on, each changes the length by the same part of what it is off.
LEARN_MAX = 500
#: The share of stretched zeros is counted in parts of WHOLE. From SOME on any zero may be stretched, from MOST on most
#: are.
WHOLE, SOME, MOST = 1 << 16, 2000, 36000

# What is learned at the start.
#: Halves of ones in a row that come before every packet: 14 one-bits (S-9.2 A), ten behind a cutout.
RUN = 20
#: Places tried for such a run, likeliest first.
RUNS = 30
#: Zeros tried, as parts of a one: from 1.5 (190 / 122 us) to 2.25 (240 / 110 us; S-9.1 A, table 1).
ZERO_PARTS = 32
ZEROS = range(48, 73)
#: Half-bits after which the phase is chosen anew: a tear turns it.
PIECE = 40
#: Strain that right lengths may leave: that of two tears.
SURE = 2 * STRAIN_MAX
#: What other lengths must cost more.
CLEARLY = 64
#: What a stretched zero costs: lengths that make all zeros stretched ones explain nothing.
STRETCHED = 12


class Lengths:
    """What the station sends and how far the board's times scatter, ns. Learned from the signal.

    :param one: a one-bit.
    :param zero: a zero-bit that is not stretched.
    :param late: longest time from a change to its being seen, less the shortest.
    """

    def __init__(self, one: int, zero: int, late: int) -> None:
        self.one = one
        self.zero = zero
        self.late = late
        self.one_and_zero = one + zero
        #: Which share of the zeros is stretched.
        self.stretching = 0
        #: How far a bit's end may be from its place without strain.
        self.most = late // 2 + SLACK
        #: Twice how near to the middle between a one's end and a zero's an end is doubtful.
        self.doubt = self.most // 2
        self.variance = self.most**2 // 3
        #: Who teaches: the phase that has shown less strain.
        self.teacher: Boundaries | None = None
        self._ones, self._zeros = LEARNED

    @property
    def mostly_stretches(self) -> bool:
        """True if most zeros are stretched, so that little is known of them."""
        return self.stretching > MOST

    def copied(self) -> Lengths:
        """The same, without a teacher."""
        copied = Lengths(self.one, self.zero, self.late)
        copied.stretching = self.stretching
        return copied

    def learn(self, bit: int, off: int) -> int:
        """Take by how much a bit was longer than expected, ns; give how much of it is the length's."""
        if bit == core.ONE:
            self._ones = seen = min(self._ones + 1, LEARN_MAX)
            change = off // (seen + 1)
            self.one += change
        else:
            self._zeros = seen = min(self._zeros + 1, LEARN_MAX)
            if off > 0:
                # Some of these are zeros stretched a little, the more the more zeros are stretched.
                off = off * (WHOLE - self.stretching) // WHOLE
            change = off // (seen + 1)
            self.zero += change
        self.one_and_zero = self.one + self.zero
        return change


class Boundaries:
    """The ends of bits in one phase. Halves in, bits out; and the strain so far."""

    def __init__(self, lengths: Lengths) -> None:
        self.lengths = lengths
        #: The sum of all strain, and without the last bit's.
        self.strain = self.strain_before = 0
        #: Zeros that are longer than others.
        self.stretched = 0
        # How late the last change was seen, against the middle of what can be: at least and at most.
        self._low, self._high = -lengths.most, lengths.most

    def bit(self, first: int, last: int) -> int:
        """Take the halves of a bit, ns; core.ONE or core.ZERO."""
        lengths = self.lengths
        self.strain_before = self.strain
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
                # A bit whose start is not known well would teach what was assumed of it.
                change = lengths.learn(bit, (low + high) >> 1)
                low -= change
                high -= change
        if bit == core.ZERO and lengths.stretching > SOME:
            low = -most
        self._low = low if low > -most else -most
        self._high = high if high < most else most
        return bit

    def lose(self) -> None:
        """What comes is no bit: the next one's place is unknown."""
        self.strain_before = self.strain
        self.strain += STRAIN_MAX
        self._low, self._high = -self.lengths.most, self.lengths.most

    def use(self, lengths: Lengths) -> None:
        """Go on with other lengths."""
        self.lengths = lengths
        self._low, self._high = -lengths.most, lengths.most

    def _astray(self, bit: int, low: int, high: int, half: int) -> None:
        """A bit ends where noise alone does not put it."""
        lengths = self.lengths
        most = lengths.most
        if bit == core.ONE or low < 0 and not lengths.mostly_stretches:
            over = low - most if low > 0 else -most - high
            self.strain += min((16 * over // most) ** 2, STRAIN_MAX)
            if low > 0:
                self._low, self._high = most // 2, most
            else:
                self._low, self._high = -most, -most // 2
            return
        # A stretched zero. How late its end was seen is not known.
        self.stretched += 1
        if lengths.teacher is self:
            lengths.stretching += (WHOLE - lengths.stretching) >> 5
        self._low, self._high = -most, most
        # Its shorter half is as long as that of other zeros. In the wrong phase it may be half of a one.
        one, zero = lengths.one // 2, lengths.zero // 2
        short = (one + zero - 2 * half) * (zero - one)
        if short > 0:
            self.strain += min(2 * short // lengths.variance, STRAIN_MAX)


def learned(durations: Sequence[int], limits: Limits) -> tuple[Lengths, bool]:
    """The lengths that explain durations best, and whether others explain them clearly worse.

    :param durations: ns, a preamble and a packet behind it or more.
    """
    one = 2 * (_run(durations, limits) or limits.one_nominal)
    late = limits.latency_max
    zeros = (2 * limits.zero_nominal, *(one * part // ZERO_PARTS for part in ZEROS))
    tries = [(*cost_of(Lengths(one, zero, late), durations), zero) for zero in zeros]
    cost, strain, stretched, zero = min(tries)
    rival = min((cost for cost, _, _, other in tries if abs(other - zero) > one // 8), default=cost)
    lengths = Lengths(one, zero, late)
    if stretched > len(durations) // 64:
        lengths.stretching = WHOLE // 2
    return lengths, strain <= SURE and 2 * rival >= 3 * cost + 2 * CLEARLY


def cost_of(lengths: Lengths, durations: Sequence[int]) -> tuple[int, int, int]:
    """What lengths cost: in all; the strain; the stretched zeros. Piece by piece the better phase counts."""
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
    """A one's half, ns, from the runs of halves that are alike. 0 if there is no run."""
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
        # How sure a line's slope is goes with the cube of its length.
        weight = (end - start) ** 3
        total += weight * _slope(times, start, end, limits)
        weights += weight
    return total // weights if weights else 0


def _slope(times: Sequence[int], start: int, end: int, limits: Limits) -> int:
    """How far apart changes are, ns, by the line that fits them best. 0 if it does not fit, or they are no ones."""
    run = [time - times[start] for time in times[start : end + 1]]
    count = end - start
    scale = count * (count + 1) * (count + 2) // 6
    half = sum((2 * place - count) * time for place, time in enumerate(run)) // scale
    offs = [time - half * place for place, time in enumerate(run)]
    fits = max(offs) - min(offs) <= limits.latency_max + SLACK and limits.one_min <= half <= limits.one_max
    return half if fits else 0
