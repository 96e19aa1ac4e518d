"""The timing limits a signal is held against (S-9.1 section A, table 1; S-9.2 section A)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

import attrs

from . import core
from .error import HalfbitError

__all__ = ["DECISIONS", "RECEIVE", "TRANSMIT", "Limits", "checked"]

US = 1000  # nanoseconds in a microsecond; the standards speak of us, halfbit counts ns

# For fitting windows to durations: where the gap between ones' and zeros' halves can have its middle
# (S-9.1 A, table 1: the ones end at 64 us, the zeros begin at 90 us, and a clock may be off), up to where
# durations are looked at, and which share of them a microsecond of a group holds at least.
FIT_GAP = (64 * US, 96 * US)
FIT_HIGH = 200 * US
FIT_RARE = 0.0005

#: Fewest one-bits a decoder may take for a preamble (S-9.2 A). Nine in a row occur inside packets: a byte and an end bit.
PREAMBLE_MIN = 10

#: How bits can be told apart.
DECISIONS = ("halves", "sum", "sequence")


def _nanoseconds(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise HalfbitError(f"{attribute.name}: {value!r} is not a number of nanoseconds (an integer from 0 up)")


def _nanoseconds_or_none(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if value is not None:
        _nanoseconds(instance, attribute, value)


def _decision(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if value not in DECISIONS:
        raise HalfbitError(f"decision: {value!r} is not one of {', '.join(DECISIONS)}")


def _count(low: int) -> Callable[[Any, attrs.Attribute[Any], object], None]:
    def check(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= 255:
            raise HalfbitError(f"{attribute.name}: {value!r} is not a count from {low} to 255")

    return check


@attrs.frozen(kw_only=True)
class Limits:
    """The windows for half-bits, and the counts for preambles and packets. Every bound is inclusive.

    Times are integer nanoseconds. The defaults are what S-9.1 (table 1) and S-9.2 (section A)
    bid a decoder accept.

    :raises HalfbitError: if a bound is no whole number of nanoseconds (or no count from 1 to
        255), a window is empty, or the windows of ones and zeros overlap.
    """

    #: Shortest half of a one-bit, ns (S-9.1 A, table 1).
    one_min: int = attrs.field(default=52 * US, validator=_nanoseconds)
    #: Longest half of a one-bit, ns (S-9.1 A, table 1).
    one_max: int = attrs.field(default=64 * US, validator=_nanoseconds)
    #: Largest difference between the halves of a one-bit, ns; ``None`` to leave it unchecked
    #: (S-9.1 A, table 1).
    one_difference: int | None = attrs.field(default=6 * US, validator=_nanoseconds_or_none)
    #: Shortest half of a zero-bit, ns (S-9.1 A, table 1).
    zero_min: int = attrs.field(default=90 * US, validator=_nanoseconds)
    #: Longest half of a zero-bit, stretched zeros included, ns (S-9.1 A, table 1).
    zero_max: int = attrs.field(default=10_000 * US, validator=_nanoseconds)
    #: Longest whole zero-bit, ns; ``None`` for no limit of its own. Stations must keep 12000 us,
    #: for decoders none is stated (S-9.1 A, table 1).
    zero_total_max: int | None = attrs.field(default=None, validator=_nanoseconds_or_none)
    #: Fewest one-bits that make a preamble, 10 or more: nine in a row stand inside packets too.
    #: A decoder must not accept fewer than 10 and must not require more than 12 (S-9.2 A).
    preamble_min: int = attrs.field(default=PREAMBLE_MIN, validator=_count(PREAMBLE_MIN))
    #: Fewest bytes of a packet, error detection byte included (S-9.2 A: address, data, error byte).
    packet_min: int = attrs.field(default=3, validator=_count(1))
    #: Most bytes of a packet, error detection byte included. S-9.2.1 (introduction) has 6; later documents
    #: have longer ones (from memory), hence 15.
    packet_max: int = attrs.field(default=15, validator=_count(1))
    #: How bits are told apart: ``"halves"``, each half in its window, the standard's way; ``"sum"``,
    #: both halves together; ``"sequence"``, the likeliest bits of a packet.
    decision: str = attrs.field(default="halves", validator=_decision)
    #: True if packets that the decision by halves or by sum loses are read again by sequence. They say how they were
    #: recovered. Off in the standard's strict reading.
    recover: bool = False
    #: Half of a one-bit as this station sends it, ns (S-9.1 A, table 1: nominal 58 us). For the decision by sum until
    #: lengths are learned, and for what the inspector shows.
    one_nominal: int = attrs.field(default=58 * US, validator=_nanoseconds)
    #: Half of a zero-bit as this station sends it, ns (S-9.1 A, table 1: nominal 100 us or more).
    zero_nominal: int = attrs.field(default=100 * US, validator=_nanoseconds)
    #: Longest time from a change to its being seen, less the shortest, ns: the sampling period of a
    #: polled loop, twice the jitter of other captures. For the decision by sequence.
    latency_max: int = attrs.field(default=6 * US, validator=_nanoseconds)
    #: The same for the loop's rare long turns, in which changes may go unseen, ns; 0 where there are
    #: none. For the decision by sequence.
    latency_rare: int = attrs.field(default=0, validator=_nanoseconds)
    #: True if only every second change is in the capture: the rising ones, or the falling ones.
    #: For the decision by sequence.
    one_edge: bool = False

    def __attrs_post_init__(self) -> None:
        for low, high in (
            ("one_min", "one_max"),
            ("zero_min", "zero_max"),
            ("packet_min", "packet_max"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise HalfbitError(f"{low} {getattr(self, low)} is above {high} {getattr(self, high)}")
        if self.one_min == 0:
            raise HalfbitError("one_min 0: a half-bit must last")
        if self.one_max >= self.zero_min:
            raise HalfbitError(
                f"one_max {self.one_max} reaches zero_min {self.zero_min}: "
                "a half-bit would be of a one and of a zero at once"
            )

    @classmethod
    def for_sampling_period(cls, microseconds: float, *, rare: float = 0) -> Limits:
        """Limits for a capture polled in a loop.

        By halves up to periods that leave the windows apart, by sums up to 42 us (half of what lies
        between a one-bit's 116 and a zero-bit's 200 us), by sequence beyond.

        :param microseconds: the longest usual time from one look at the level to the next.
        :param rare: the longest unusual one, where there are such.
        :raises HalfbitError: for a period that is negative or beyond 80 us, where even two
            changes of a one-bit go unseen at once.
        """
        if not 0 <= microseconds <= 80:
            raise HalfbitError(f"sampling period: {microseconds!r} us is not from 0 to 80")
        period = round(microseconds * US)
        if period <= 12 * US and not rare:
            return cls(
                one_min=52 * US - period,
                one_max=64 * US + period,
                one_difference=None,
                zero_min=90 * US - period,
                zero_max=10_000 * US + period,
            )
        sums = cls(
            one_min=max(52 * US - period // 2, 1),
            one_max=77 * US,
            one_difference=None,
            zero_min=77 * US + 1,
            zero_max=10_000 * US + period,
            decision="sum",
            recover=True,
            latency_max=period,
        )
        if period <= 42 * US and not rare:
            return sums
        return attrs.evolve(sums, decision="sequence", latency_rare=round(rare * US))

    @classmethod
    def for_one_edge(cls, jitter: float = 3) -> Limits:
        """Limits for a capture that holds only the rising changes, or only the falling ones.

        Its durations are whole bits, or each last part with the next bit's first: 116, 158 or 200 us.

        :param jitter: how far a change may be seen from its place, earlier or later, us.
        :raises HalfbitError: if that is negative, or so large that nothing can be told apart (42 us).
        """
        if not 0 <= jitter <= 42:
            raise HalfbitError(f"jitter: {jitter!r} us is not from 0 to 42")
        return cls(decision="sequence", one_edge=True, latency_max=round(2 * jitter * US))

    @classmethod
    def fitted(cls, durations: Iterable[int]) -> Limits:
        """Limits for the decision by halves, with the windows where the durations themselves are.

        The ones' durations and the zeros' must be apart; in the middle of the gap between them the
        windows meet. For captures in which they are not: :func:`halfbit.survey.auto_limits`.

        :param durations: ns, of some hundreds of half-bits or more.
        :raises HalfbitError: if there are not two groups of durations with a gap between them.
        """
        bins = Counter(duration // US for duration in durations if duration < FIT_HIGH)
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
        # What is too rare to shape a group may lie as far out as the middle, on either side of it.
        return cls(
            one_min=max(2 * one - middle, 1),
            one_max=middle,
            one_difference=None,
            zero_min=middle + 1,
        )

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

    def _difference(self) -> int:
        """The core knows no unchecked difference; one that no two halves can exceed is the same."""
        return self.one_max if self.one_difference is None else self.one_difference


def checked(limits: object) -> Limits:
    """:raises HalfbitError: if ``limits`` is not Limits."""
    if not isinstance(limits, Limits):
        raise HalfbitError(f"limits: {limits!r} is not Limits: give RECEIVE, TRANSMIT or Limits(...)")
    return limits


#: What a decoder must accept (S-9.1 A, table 1, decoder's column).
RECEIVE = Limits()

#: What a station must keep (S-9.1 A, table 1, station's column; S-9.2 A for the preamble).
TRANSMIT = Limits(
    one_min=55 * US,
    one_max=61 * US,
    one_difference=3 * US,
    zero_min=95 * US,
    zero_max=9_900 * US,
    zero_total_max=12_000 * US,
    preamble_min=14,
    packet_max=6,
)
