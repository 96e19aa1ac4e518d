"""The timing limits for a signal (S-9.1 section A, table 1; S-9.2 section A)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from itertools import pairwise
from math import inf
from typing import Any

import attrs

from . import core, core_sum, core_sum_lengths
from .error import HalfbitError

US = 1000  # nanoseconds in a microsecond; the standards give us, halfbit counts ns

# For fitting windows to durations. First: where the middle of the gap between ones' and zeros' halves can
# be (S-9.1 A, table 1: the ones end at 64 us, the zeros begin at 90 us, and a clock may be inaccurate). Then:
# the longest duration that is used, and the smallest share of the durations in each 1 us bin of a group.
FIT_GAP = (64 * US, 96 * US)
FIT_HIGH = 200 * US
FIT_RARE = 0.0005

#: Fewest one-bits that a decoder may accept as a preamble (S-9.2 A). Nine in a row also occur inside packets:
#: a byte and an end bit.
PREAMBLE_MIN = 10

UNIT = core_sum_lengths.UNITS  #: The core's receiver by sum counts 1/16 us, as boards do.
KEPT = 4 * core_sum.BLOCK  #: Number of durations that it keeps while the lengths cannot be learned.

#: A loop's longest turn, us: a zero's longest half (S-9.1 A, table 1). In a longer one whole packets are missed.
LONGEST_TURN = 10_000

DECISIONS = ("halves", "sum", "sequence")  #: Ways to decide between ones and zeros.


_Validator = Callable[[Any, "attrs.Attribute[Any]", object], None]


def _integer(words: str, low: int, high: float = inf, *, optional: bool = False) -> _Validator:
    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if not (type(value) is int and low <= value <= high or optional and value is None):
            raise HalfbitError(f"{attribute.name}: {value!r} is not {words}")

    return check


def _count(low: int) -> _Validator:
    return _integer(f"a count from {low} to 255", low, 255)


_NANOSECONDS = "a number of nanoseconds (an integer from 0 up)"
_nanoseconds, _nanoseconds_or_none = _integer(_NANOSECONDS, 0), _integer(_NANOSECONDS, 0, optional=True)


def _truth(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if not isinstance(value, bool):
        raise HalfbitError(f"{attribute.name}: {value!r} is neither True nor False")


def _decision(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if value not in DECISIONS:
        raise HalfbitError(f"decision: {value!r} is not one of {', '.join(DECISIONS)}")


@attrs.frozen(kw_only=True)
class Limits:
    """The windows for half-bits, and the counts for preambles and packets. Every bound is inclusive.

    Times are integer nanoseconds. The defaults are the values that a decoder must accept by S-9.1
    (table 1) and S-9.2 (section A).

    :raises HalfbitError: if a bound is not a whole number of nanoseconds, a count is not from 1 to 255
        (10 to 255 for ``preamble_min``), a window is empty, or the windows of ones and zeros overlap.
    """

    #: Shortest half of a one-bit, ns (S-9.1 A, table 1).
    one_min: int = attrs.field(default=52 * US, validator=_nanoseconds)
    #: Longest half of a one-bit, ns (S-9.1 A, table 1).
    one_max: int = attrs.field(default=64 * US, validator=_nanoseconds)
    #: Largest difference between the halves of a one-bit, ns; ``None`` to skip the check (S-9.1 A, table 1).
    one_difference: int | None = attrs.field(default=6 * US, validator=_nanoseconds_or_none)
    #: Shortest half of a zero-bit, ns (S-9.1 A, table 1).
    zero_min: int = attrs.field(default=90 * US, validator=_nanoseconds)
    #: Longest half of a zero-bit, stretched zeros included, ns (S-9.1 A, table 1).
    zero_max: int = attrs.field(default=10_000 * US, validator=_nanoseconds)
    #: Longest whole zero-bit, ns; ``None`` for no limit. Stations: 12000 us; decoders: no limit (S-9.1 A, table 1).
    zero_total_max: int | None = attrs.field(default=None, validator=_nanoseconds_or_none)
    #: Fewest one-bits in a preamble, 10 or more, because nine in a row also occur inside packets.
    #: A decoder must not accept fewer than 10 and must not require more than 12 (S-9.2 A).
    preamble_min: int = attrs.field(default=PREAMBLE_MIN, validator=_count(PREAMBLE_MIN))
    #: Fewest bytes of a packet, error detection byte included (S-9.2 A: address, data, error byte).
    packet_min: int = attrs.field(default=3, validator=_count(1))
    #: Most bytes of a packet, error detection byte included. S-9.2.1 (introduction) has 6. Later documents
    #: have longer packets (from memory), so the default is 15.
    packet_max: int = attrs.field(default=15, validator=_count(1))
    #: How to decide between ones and zeros: ``"halves"``, each half in its window (the standard's way);
    #: ``"sum"``, both halves together; ``"sequence"``, the likeliest bits of a whole packet.
    decision: str = attrs.field(default="halves", validator=_decision)
    #: True if packets lost in the decision by halves or by sum are read again by sequence. Such packets say how they
    #: were recovered. False for a strict reading by the standard.
    recover: bool = attrs.field(default=False, validator=_truth)
    #: Latency spread, ns: the longest time from a change until the capture sees it, minus the shortest. It is the
    #: sampling period of a polled loop, or twice the jitter of other captures. Used by the decision by sequence.
    latency_max: int = attrs.field(default=6 * US, validator=_nanoseconds)
    #: The same for a loop's rare long turns, in which changes may be missed, ns; 0 if there are no
    #: long turns. Used by the decision by sequence.
    latency_rare: int = attrs.field(default=0, validator=_nanoseconds)
    #: True if the capture holds only the rising or only the falling changes. Used by the decision by sequence.
    one_edge: bool = attrs.field(default=False, validator=_truth)

    def __attrs_post_init__(self) -> None:
        for low, high in (("one_min", "one_max"), ("zero_min", "zero_max"), ("packet_min", "packet_max")):
            if getattr(self, low) > getattr(self, high):
                raise HalfbitError(f"{low} {getattr(self, low)} is above {high} {getattr(self, high)}")
        if self.one_min == 0:
            raise HalfbitError("one_min 0: a half-bit must last")
        if self.one_max >= self.zero_min:
            both = f"one_max {self.one_max} reaches zero_min {self.zero_min}"
            raise HalfbitError(f"{both}: a half-bit would be of a one and of a zero at once")

    @classmethod
    def for_sampling_period(cls, microseconds: float, *, rare: float = 0) -> Limits:
        """Limits for a capture made by a polling loop.

        The decision is by halves as long as the windows do not overlap, by sum up to 42 us (half of the
        difference between a one-bit's 116 us and a zero-bit's 200 us), and by sequence for longer periods.

        Above 42 us, or with long turns, a loop is too slow to be sure of every packet: it misses two changes that fall
        into one turn. On the board, sample the level at least every 42 us, remove the causes of long turns from the
        loop, or capture the changes by interrupt or timer.

        :param microseconds: the longest usual time between two samples of the level, us. Above half of a one, about
            58 us, both changes of a half can fall into one turn. Packets that were not sent may then come out, so
            :func:`halfbit.auto_limits` reads no such capture.
        :param rare: the longest time between samples in rare long turns of the loop, us; 0 if there are no such turns.
        :raises HalfbitError: if the period is not a number from 0 to 80 us, or ``rare`` not one from 0 to 10 000 us.
        """
        _check_us("sampling period", microseconds, 80)
        _check_us("rare", rare, LONGEST_TURN)
        period = round(microseconds * US)
        if period <= 12 * US and not rare:
            return cls(
                one_min=52 * US - period, one_max=64 * US + period, one_difference=None,
                zero_min=90 * US - period, zero_max=10_000 * US + period,
            )  # fmt: skip
        sums = cls(
            one_min=max(52 * US - period // 2, 1), one_max=77 * US, one_difference=None,
            zero_min=77 * US + 1, zero_max=10_000 * US + period,
            decision="sum", recover=True, latency_max=period,
        )  # fmt: skip
        if period <= 42 * US and not rare:
            return sums
        return attrs.evolve(sums, decision="sequence", latency_rare=round(rare * US))

    @classmethod
    def for_one_edge(cls, jitter: float = 3) -> Limits:
        """Limits for a capture that holds only the rising changes, or only the falling ones.

        Each duration is a whole bit, or the last half of a bit with the first half of the next: 116, 158 or 200 us.

        :param jitter: how early or late a change may be seen, us.
        :raises HalfbitError: if ``jitter`` is not a number from 0 to 42. Beyond that bits cannot be told apart.
        """
        _check_us("jitter", jitter, 42)
        return cls(decision="sequence", one_edge=True, latency_max=round(2 * jitter * US))

    @classmethod
    def fitted(cls, durations: Iterable[int]) -> Limits:
        """Limits for the decision by halves, with windows fitted to the durations.

        There must be a gap between the durations of ones and of zeros. The windows meet in the middle of
        the gap. If there is no gap, use :func:`halfbit.survey.auto_limits`.

        :param durations: ns, of some hundreds of half-bits or more.
        :raises HalfbitError: if ``durations`` are not numbers, or are not in two groups with a gap between them.
        """
        try:
            bins = Counter(duration // US for duration in durations if duration < FIT_HIGH)
        except TypeError:
            raise HalfbitError("durations: these are not numbers: give the durations between changes, ns") from None
        rare = bins.total() * FIT_RARE
        common = [us for us in sorted(bins) if bins[us] > rare]
        gaps = [
            (after - before, before + 1, after)
            for before, after in pairwise(common)
            if FIT_GAP[0] < (before + 1 + after) * US // 2 < FIT_GAP[1]
        ]
        width, low, high = max(gaps, default=(0, 0, 0))
        if width < 2:
            raise HalfbitError("durations: there are no two groups, of ones and of zeros, with a gap between")
        middle = (low + high) * US // 2
        ones = {us: bins[us] for us in common if us < low}
        one = sum(us * US * count for us, count in ones.items()) // sum(ones.values()) + US // 2
        # Rare durations outside a group are accepted up to the middle of the gap, and as far on the other side.
        return cls(one_min=max(2 * one - middle, 1), one_max=middle, one_difference=None, zero_min=middle + 1)

    def half_bits_core(self) -> core.HalfBits:
        """The core's layer 2 for these limits, counting ns."""
        return core.HalfBits(self.one_min, self.one_max, self.zero_min, self.zero_max)

    def bits_core(self) -> core.Bits:
        """The core's layer 3 for these limits, counting ns."""
        total = 2 * self.zero_max if self.zero_total_max is None else self.zero_total_max
        return core.Bits(self._difference(), total)

    def packets_core(self) -> core.Packets:
        """The core's layer 4 for these limits, counting ns."""
        return core.Packets(self._difference(), self.preamble_min, self.packet_min, self.packet_max)

    def receiver_core(self) -> core.Receiver:
        """The core's layers 2 to 4 in one for these limits, counting ns."""
        return core.Receiver(self.half_bits_core(), self.bits_core(), self.packets_core())

    def sums_core(self, kept: int = KEPT) -> core_sum.Sums:
        """The core's receiver by sum for these limits, counting :data:`UNIT` parts of a us.

        :param kept: the number of durations that it keeps while the lengths cannot be learned.
        """
        one_min, one_max, latency = (ns * UNIT // US for ns in (self.one_min, self.one_max, self.latency_max))
        learner = core_sum_lengths.Learner([0] * kept, one_min, one_max, latency, 1)
        counts = (self.preamble_min, self.packet_min, self.packet_max)
        first, second = core.Packets(core_sum.NEVER, *counts), core.Packets(core_sum.NEVER, *counts)
        return core_sum.Sums(first, second, learner, self.zero_max * UNIT // US)

    def _difference(self) -> int:
        """The largest difference for the core, ns. To skip the check: one that no two halves can exceed."""
        return self.one_max if self.one_difference is None else self.one_difference


def _check_us(name: str, value: object, high: int) -> None:
    """:raises HalfbitError: if a value is not a number of us from 0 to ``high``."""
    real = isinstance(value, (int, float)) or hasattr(value, "__index__")  # an array's own integers too
    if isinstance(value, bool) or not real or not 0 <= value <= high:  # type: ignore[operator]
        raise HalfbitError(f"{name}: {value!r} us is not from 0 to {high}")


def checked(limits: object) -> Limits:
    """The limits, if they are :class:`Limits`.

    :raises HalfbitError: if ``limits`` is not Limits.
    """
    if not isinstance(limits, Limits):
        raise HalfbitError(f"limits: {limits!r} is not Limits: give RECEIVE, TRANSMIT or Limits(...)")
    return limits


RECEIVE = Limits()  #: The limits that a decoder must accept (S-9.1 A, table 1, decoder's column).

#: The limits that a station must keep (S-9.1 A, table 1, station's column; S-9.2 A for the preamble).
TRANSMIT = Limits(
    one_min=55 * US, one_max=61 * US, one_difference=3 * US, zero_min=95 * US, zero_max=9_900 * US,
    zero_total_max=12_000 * US, preamble_min=14, packet_max=6,
)  # fmt: skip
