"""Finds out why a packet was lost: tries each simple cause on the lost stretch and names the one that explains it.

A cause is tried by undoing it: split a duration in two, join two or three, make one as long as a half-bit, flip a bit,
or add one-bits before a preamble. Then the receiver decodes the stretch again. No rule of decoding is repeated here.

Many changes can be tried on a stretch, and one in 256 gives the right error detection byte by chance. So a packet is
proposed only if the same packet was received nearby (stations repeat packets). A cause without such a packet is
proposed only if no other cause fits.
"""

from __future__ import annotations

import enum
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import accumulate
from statistics import median_low

import attrs

from ..decision import receiver_for
from ..decision.lengths import NOMINAL
from ..event import Fault, FaultKind, Layer, Packet
from ..limits import US, Limits
from ..simulate.signal import packet_bits

__all__ = ["LEAD", "NEAR", "WAIT", "Cause", "Diagnosis", "diagnose"]

#: Number of packets before and after a loss that are compared, and how long to wait for those after it, ns.
NEAR = 64
WAIT = 500_000_000
#: Number of durations before and after a fault in which its cause may be. The cause may be long before the fault,
#: because a missing change among halves of zeros is not noticed at once.
BEFORE, AFTER = 64, 8
#: Most half-bits that may be missing in a silence.
SILENT = 19
#: Longer stretches, in durations, are not tried.
LONGEST = 1500
#: Half-bits of ones before and after the stretch, which the receiver needs to find the preamble.
LEAD = 60
#: How far a joined or split duration may be off, ns; and a change that came early or late.
CLOSE = 9 * US
MOVED = 45 * US


class Cause(enum.Enum):
    """The cause of a lost packet."""

    MISSED_CHANGE = "a change was missed"
    ADDED_CHANGE = "a change too many"
    SPIKE = "a spike"
    MOVED_CHANGE = "a change came early or late"
    STRETCHED_HALF = "a half-bit was stretched"
    NO_CONTACT = "contact was lost for a while"
    SHORTENED_HALF = "a half-bit was cut short"
    FLIPPED_BIT = "a bit was turned over"
    SHORT_PREAMBLE = "the preamble was too short"
    #: The capture starts or ends inside a packet.
    CUT = "the capture starts or ends there"
    #: Several causes fit about equally well.
    SEVERAL = "several causes fit"
    #: No single cause explains the loss.
    NOT_FOUND = "no single cause fits"

    @property
    def advice(self) -> str:
        """What to do on the board or the wiring."""
        return _ADVICE[self]


_ADVICE = {
    Cause.MISSED_CHANGE: "look at the input more often, or let a timer or an interrupt note the changes",
    Cause.ADDED_CHANGE: "noise at the crossings: use --filter 5, a shorter lead, or an input with hysteresis",
    Cause.SPIKE: "short pulses: use --filter 5, keep the leads away from motors, filter the input",
    Cause.MOVED_CHANGE: "changes are noted late now and then: a busy loop, or a slow optocoupler",
    Cause.STRETCHED_HALF: "bad contact: clean the wheels, the track and the pick-up, check the plugs",
    Cause.NO_CONTACT: "bad contact: clean the wheels, the track and the pick-up, check the plugs",
    Cause.SHORTENED_HALF: "the input misses time: look for a busy loop or a timer that is reset",
    Cause.FLIPPED_BIT: "single bits are wrong: measure the halves' lengths with halfbit survey",
    Cause.SHORT_PREAMBLE: "the station sends too few one-bits, or their beginning is lost: capture at the station",
    Cause.CUT: "nothing: the capture begins or ends inside a packet",
    Cause.SEVERAL: "look at it with halfbit inspect --at",
    Cause.NOT_FOUND: "more than one thing is wrong there: look at it with halfbit inspect --at",
}


@attrs.frozen
class Diagnosis:
    """Why a stretch was lost. Times are ns from the capture's start."""

    fault: Fault
    cause: Cause
    #: Time of the cause.
    at: int
    #: All bytes of the packet after undoing the cause; ``None`` if no packet nearby confirms it, or if no packet was
    #: lost.
    packet: bytes | None = None
    #: Time from the same packet before the loss, and to the one after it, ns; ``None`` if there is no such packet
    #: nearby.
    before: int | None = None
    after: int | None = None
    #: The causes that fit, if there are several.
    several: tuple[Cause, ...] = ()

    def __str__(self) -> str:
        where = f"near {self.at // 1_000_000}.{self.at // 1000 % 1000:03d} ms"
        if self.cause is Cause.SEVERAL:
            return f"several causes fit {where}: {', or '.join(each.value for each in self.several)}"
        if self.cause in (Cause.NOT_FOUND, Cause.CUT):
            return f"{self.cause.value} ({where})"
        if self.packet is None:
            why = (
                "it hides which packet this was"
                if self.cause is Cause.NO_CONTACT
                else "nothing nearby says which packet it was"
            )
            return f"{self.cause.value} {where}; {why}"
        times = [
            f"{_ms(time)} {word}" for time, word in ((self.before, "before"), (self.after, "after")) if time is not None
        ]
        undone = "with it" if self.cause in (Cause.MISSED_CHANGE, Cause.SHORT_PREAMBLE) else "without it"
        if self.cause is Cause.SHORT_PREAMBLE:
            undone = "with a longer one"
        return f"{self.cause.value} {where}: {undone}, this is {self.packet.hex(' ').upper()}, as sent {' and '.join(times)}"

    def brief(self, room: int) -> str:
        """A shorter text, at most ``room`` characters long."""
        cause = self.cause.value
        if self.packet is None:
            kind = self.fault.kind.name.lower().replace("_", " ")
            return f"{cause} ({kind})" if self.cause is Cause.NOT_FOUND else cause
        text = f"{cause}: {self.packet.hex(' ').upper()}"
        near = [
            f"{_ms(time)} {word}" for time, word in ((self.before, "before"), (self.after, "after")) if time is not None
        ]
        longer = [f"{text} as {' and '.join(near)}", f"{text} as {near[0]}", text]
        return next((each for each in longer if len(each) <= room), cause[:room])

    def as_dict(self) -> dict[str, object]:
        """The diagnosis as an object for JSON. Times in ns."""
        return {
            "type": "diagnosis",
            "cause": self.cause.name,
            "at": self.at,
            "data": None if self.packet is None else self.packet.hex().upper(),
            "before": self.before,
            "after": self.after,
            "several": [cause.name for cause in self.several],
        }


def _ms(time: int) -> str:
    return f"{time / 1e6:.0f} ms"


@attrs.frozen
class _Undoing:
    """A modification of the stretch that undoes a cause."""

    cause: Cause
    #: Index of the first duration to replace, the number of durations, and the new durations, ns.
    index: int
    count: int
    by: tuple[int, ...]
    #: How badly it fits, ns: the difference of the new durations from the station's lengths, plus more for rarer
    #: causes.
    off: int


@attrs.frozen
class _Sound:
    undoing: _Undoing
    #: The packets that the receiver then finds in the stretch.
    packets: tuple[bytes, ...]


def diagnose(
    fault: Fault,
    durations: Sequence[int],
    start: int,
    limits: Limits,
    before: Sequence[Packet] = (),
    after: Sequence[Packet] = (),
) -> Diagnosis:
    """Find out why a stretch was lost.

    :param fault: the loss, from :func:`halfbit.decode`.
    :param durations: ns, of the lost stretch with some one-bits before and after it.
    :param start: the time at which the first duration starts, ns.
    :param before: packets before the loss, in order.
    :param after: packets after the loss.
    """
    unknown = Cause.CUT if fault.kind is FaultKind.CUT else Cause.NOT_FOUND
    times = list(accumulate(durations, initial=start))
    first, last = bisect_left(times, fault.start), bisect_left(times, fault.end)
    if unknown is Cause.CUT or not durations or last - first > LONGEST:
        return Diagnosis(fault, unknown, fault.at)
    first = _lead(durations, first, limits, -1)
    last = _lead(durations, min(last, len(durations)), limits, 1)
    stretch = durations[first:last]
    near = {packet.data for packet in (*before, *after)}
    found, confirmed = _tried(stretch, bisect_left(times, fault.at) - first, fault, limits, near)
    chosen = min(confirmed or found, key=lambda sound: sound.undoing.off, default=None)
    if chosen is None:
        return Diagnosis(fault, unknown, fault.at)
    at = times[first + chosen.undoing.index]
    if not confirmed:
        causes = tuple(
            dict.fromkeys(sound.undoing.cause for sound in sorted(found, key=lambda sound: sound.undoing.off))
        )
        if len(causes) > 1:
            return Diagnosis(fault, Cause.SEVERAL, fault.at, several=causes)
        return Diagnosis(fault, chosen.undoing.cause, at)
    proposals = {sound.packets for sound in confirmed}
    if len(proposals) > 1:  # then only one that fits much better is named
        rivals = [sound.undoing.off for sound in confirmed if sound.packets != chosen.packets]
        if min(rivals) < chosen.undoing.off + CLOSE:
            causes = tuple(dict.fromkeys(sound.undoing.cause for sound in confirmed))
            return Diagnosis(fault, Cause.SEVERAL if len(causes) > 1 else chosen.undoing.cause, at, several=causes)
    if chosen.undoing.cause is Cause.NO_CONTACT and len(chosen.undoing.by) > SILENT:
        return Diagnosis(fault, Cause.NO_CONTACT, at)
    packet = chosen.packets[0]
    earlier = [fault.start - each.start for each in before if each.data == packet]
    later = [each.start - fault.start for each in after if each.data == packet]
    return Diagnosis(fault, chosen.undoing.cause, at, packet, min(earlier, default=None), min(later, default=None))


def _tried(
    stretch: Sequence[int], at: int, fault: Fault, limits: Limits, near: set[bytes]
) -> tuple[list[_Sound], list[_Sound]]:
    """The modifications that explain the loss, and those whose packets came nearby; best first, until one is clear."""
    found: list[_Sound] = []
    confirmed: list[_Sound] = []
    tried = {*_undoings(stretch, at, fault, limits), *_no_contact(stretch, limits, near)}
    for undoing in sorted(tried, key=lambda undoing: undoing.off):
        if confirmed and undoing.off >= confirmed[0].undoing.off + CLOSE:
            break
        for sound in _sound(stretch, undoing, limits):
            found.append(sound)
            if sound.packets and near.issuperset(sound.packets):
                confirmed.append(sound)
    return found, confirmed


def _lead(durations: Sequence[int], index: int, limits: Limits, step: int) -> int:
    """The index up to which one-bits extend from ``index``, at most as far as they are needed."""
    reach = index
    for _ in range(LEAD):
        at = reach - 1 if step < 0 else reach
        if not 0 <= at < len(durations) or not limits.one_min <= durations[at] <= limits.one_max:
            break
        reach += step
    return reach


def _sound(stretch: Sequence[int], undoing: _Undoing, limits: Limits) -> Iterator[_Sound]:
    """Decode the stretch with a cause undone. Gives a result only if there is no fault."""
    row = [*stretch[: undoing.index], *undoing.by, *stretch[undoing.index + undoing.count :]]
    receiver = receiver_for(limits)
    events = [*receiver.feed_many(row), *receiver.finish()]
    if not any(isinstance(event, Fault) for event in events):
        yield _Sound(undoing, tuple(event.data for event in events if isinstance(event, Packet)))


def _undoings(stretch: Sequence[int], at: int, fault: Fault, limits: Limits) -> Iterator[_Undoing]:
    one = _nominal(stretch, limits.one_min, limits.one_max, NOMINAL.one)
    zero = _nominal(stretch, limits.zero_min, limits.zero_min + 60 * US, NOMINAL.zero_first)
    whole = fault.layer is Layer.PACKET
    low, high = (0, len(stretch)) if whole else (max(at - BEFORE, 0), min(at + AFTER, len(stretch)))
    for index in range(low, high):
        yield from _missed(stretch, index, one, zero)
        yield from _added(stretch, index, one, zero, limits)
        yield from _misplaced(stretch, index, one, zero, limits)
    if whole:
        for index in range(len(stretch) - 1):
            kinds = [limits.one_min <= each <= limits.one_max for each in stretch[index : index + 2]]
            if kinds[0] == kinds[1]:
                by = (zero, zero) if kinds[0] else (one, one)
                yield _Undoing(Cause.FLIPPED_BIT, index, 2, by, 30 * US)
    if fault.kind is FaultKind.SHORT_PREAMBLE:
        ones = at
        while ones > 0 and limits.one_min <= stretch[ones - 1] <= limits.one_max:
            ones -= 1
        for index in {ones, ones + 1}:
            yield _Undoing(Cause.SHORT_PREAMBLE, index, 0, (one,) * 2 * limits.preamble_min, 0)


def _missed(stretch: Sequence[int], index: int, one: int, zero: int) -> Iterator[_Undoing]:
    duration = stretch[index]
    for early, late in ((one, one), (one, zero), (zero, one), (zero, zero)):
        off = duration - early - late
        if abs(off) <= CLOSE:
            yield _Undoing(Cause.MISSED_CHANGE, index, 1, (early, duration - early), abs(off))
        elif off > 0 and zero in (early, late):  # the zero is stretched
            by = (duration - late, late) if early == zero else (early, duration - early)
            yield _Undoing(Cause.MISSED_CHANGE, index, 1, by, 12 * US)


def _added(stretch: Sequence[int], index: int, one: int, zero: int, limits: Limits) -> Iterator[_Undoing]:
    for count, cause in ((2, Cause.ADDED_CHANGE), (3, Cause.SPIKE)):
        parts = tuple(stretch[index : index + count])
        if len(parts) < count:
            return
        whole = sum(parts)
        off = min(abs(whole - one), abs(whole - zero))
        if off > CLOSE and whole >= limits.zero_min:
            off = 12 * US  # a stretched zero
        if off <= 12 * US:
            yield _Undoing(cause, index, count, (whole,), off)


def _misplaced(stretch: Sequence[int], index: int, one: int, zero: int, limits: Limits) -> Iterator[_Undoing]:
    """Undo a change that came early or late, or a half that lasted too long."""
    duration = stretch[index]
    for half in (one, zero):
        if duration - half > CLOSE // 2:
            yield _Undoing(Cause.STRETCHED_HALF, index, 1, (half,), 20 * US)
        if half - duration > CLOSE // 2:
            yield _Undoing(Cause.SHORTENED_HALF, index, 1, (half,), 25 * US)
        if index + 1 < len(stretch):
            rest = duration + stretch[index + 1] - half
            off = min(abs(rest - one), abs(rest - zero))
            if CLOSE // 2 < abs(duration - half) <= MOVED and off <= CLOSE:
                yield _Undoing(Cause.MOVED_CHANGE, index, 2, (half, rest), 4 * US + off)


def _no_contact(stretch: Sequence[int], limits: Limits, near: set[bytes]) -> Iterator[_Undoing]:
    """Undo a silence: fill it with the missing part of a packet received nearby.

    Two packets of the same length differ in at least two bits in the same column, because the error detection byte is
    the XOR of the others (S-9.2 A). These bits are at least nine bits apart. So a silence of at most :data:`SILENT`
    half-bits cannot hide both, and the packet is certain. For a longer silence no packet is proposed.
    """
    one = _nominal(stretch, limits.one_min, limits.one_max, NOMINAL.one)
    zero = _nominal(stretch, limits.zero_min, limits.zero_min + 60 * US, NOMINAL.zero_first)
    index = max(range(len(stretch)), key=stretch.__getitem__)
    silence = stretch[index]
    start = next(
        (
            at
            for at in range(20, index + 1)
            if stretch[at] > limits.one_max and max(stretch[at - 20 : at]) <= limits.one_max
        ),
        None,
    )
    if start is None or silence < 3 * zero:
        return
    for data in near:
        halves = [one if bit else zero for bit in packet_bits(data, 0) for _ in (0, 1)]
        seen = index - start
        if [half > limits.one_max for half in stretch[start:index]] != [half == zero for half in halves[:seen]]:
            continue
        total = 0
        for count, half in enumerate(halves[seen:], 1):
            total += half
            off = abs(total - silence)
            if count > 2 and off <= CLOSE + count * US:
                yield _Undoing(Cause.NO_CONTACT, index, 1, tuple(halves[seen : seen + count]), 14 * US + off)


def _nominal(stretch: Sequence[int], low: int, high: int, otherwise: int) -> int:
    """The usual duration in a window, ns; ``otherwise`` if there is no such duration."""
    return median_low([duration for duration in stretch if low <= duration <= high] or [otherwise])
