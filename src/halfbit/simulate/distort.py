"""What can go wrong between a track and a capture: pure functions from durations to durations.

For tests, examples and vectors. Durations are integer nanoseconds between level changes, as
:mod:`halfbit.simulate.signal` makes them; change ``i`` is the one before ``durations[i]``, so that there is
one more change than durations. Each function gives a new list. Chance comes from the
``random.Random`` given, so the same seed gives the same result again.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import accumulate, pairwise

from ..error import HalfbitError
from ..limits import US

__all__ = [
    "chatter",
    "counted",
    "cutout",
    "extra_edge",
    "flipped_half",
    "foreign",
    "inserted",
    "jittered",
    "lost_edge",
    "lost_edges",
    "one_edge",
    "polled",
    "spike",
    "spikes",
    "stretched",
]

#: From here up a half-bit counts as a zero's in this module: the middle of 64 us, the longest of a one, and 90 us,
#: the shortest of a zero (S-9.1 A, table 1, decoder's column).
_MIDDLE = 77 * US


# What a capture does to a sound signal.


def polled(
    durations: Sequence[int],
    periods: tuple[int, int],
    rng: random.Random,
    *,
    stall: int = 0,
    stall_share: float = 0.0,
) -> list[int]:
    """What a loop sees that looks at the level again and again and notes when it has changed.

    A change is seen at the first look at or after it. Two changes between the same two looks leave
    the level as it was, so neither is seen.

    :param periods: least and greatest time from one look to the next, ns; each is as likely as
        any between.
    :param stall: a longer time that a look now and then takes instead, ns (an interrupt, a
        garbage collection).
    :param stall_share: which share of the looks take it, 0 to 1.
    :returns: durations between the changes seen, ns.
    :raises HalfbitError: for a period that is not above 0, or a range that is empty.
    """
    least, greatest = periods
    if not 0 < least <= greatest or (stall_share and stall <= 0):
        raise HalfbitError(f"periods: {periods!r} and stall: {stall!r} must be times above 0, least first")
    _share(stall_share)
    changes = list(accumulate(durations, initial=0))
    look = -rng.randint(1, greatest)
    passed = 0
    seen = 0
    times = []
    while passed < len(changes):
        stalls = stall_share and rng.random() < stall_share
        look += stall if stalls else rng.randint(least, greatest)
        while passed < len(changes) and changes[passed] <= look:
            passed += 1
        if passed % 2 != seen:
            seen = passed % 2
            times.append(look)
    return _between(times)


def counted(durations: Sequence[int], tick: int) -> list[int]:
    """What a timer of a coarse resolution makes of it: each change's time rounded down to ticks.

    :param tick: ns. The result is in ns all the same.
    :raises HalfbitError: for a tick not above 0.
    """
    if tick < 1:
        raise HalfbitError(f"tick: {tick} ns is no time")
    return _between([time // tick * tick for time in accumulate(durations, initial=0)])


def one_edge(durations: Sequence[int], phase: int) -> list[int]:
    """What an input that reports only rising, or only falling, changes sees: each second change.

    :param phase: 0 to see changes 0, 2, 4...; 1 to see 1, 3, 5... If the signal starts with the
        first part of a bit, phase 0 gives whole bits, and phase 1 each last part with the next
        bit's first.
    :raises HalfbitError: for another phase.
    """
    if phase not in (0, 1):
        raise HalfbitError(f"phase: {phase!r} is neither 0 nor 1")
    return _between(list(accumulate(durations, initial=0))[phase::2])


def jittered(durations: Sequence[int], most: int, rng: random.Random) -> list[int]:
    """Each change moved by up to ``most`` ns, earlier or later, but never past its neighbours.

    :raises HalfbitError: for a negative ``most``.
    """
    if most < 0:
        raise HalfbitError(f"most: {most} ns is negative")
    moved: list[int] = []
    for time in accumulate(durations, initial=0):
        time += rng.randint(-most, most)
        moved.append(max(time, moved[-1]) if moved else time)
    return _between(moved)


# What happens on the track.


def stretched(
    durations: Sequence[int],
    share: float,
    longest: int,
    rng: random.Random,
    *,
    zero_from: int = _MIDDLE,
) -> list[int]:
    """Zeros stretched, as a station does to run a vehicle without a decoder (S-9.1 A).

    :param share: which share of the halves of zeros become longer, 0 to 1.
    :param longest: up to how long, ns.
    :param zero_from: from which duration on a half-bit is a zero's, ns.
    :raises HalfbitError: for a share outside 0 to 1.
    """
    _share(share)
    return [
        rng.randint(duration, max(duration, longest))
        if duration >= zero_from and rng.random() < share
        else duration
        for duration in durations
    ]


def chatter(
    durations: Sequence[int], share: float, spread: int, rng: random.Random, *, most: int = 3
) -> list[int]:
    """Crossings that are not monotonic (S-9.1 B): one change becomes three, five or more.

    :param share: which share of the changes chatter, 0 to 1.
    :param spread: within how long after the change, ns.
    :param most: up to how many pairs of extra changes.
    :raises HalfbitError: for a share outside 0 to 1.
    """
    _share(share)
    result: list[int] = []
    for duration in durations:
        room = min(spread, duration)
        if rng.random() < share and room > 0:
            extra = sorted(rng.randint(0, room) for _ in range(2 * rng.randint(1, most)))
            result += _between([0, *extra, duration])
        else:
            result.append(duration)
    return result


def spikes(
    durations: Sequence[int], share: float, width: tuple[int, int], rng: random.Random
) -> list[int]:
    """Short pulses that break into half-bits.

    :param share: which share of the half-bits are hit, 0 to 1.
    :param width: least and greatest width, ns. A half-bit no longer than its spike is left alone.
    :raises HalfbitError: for a share outside 0 to 1, or a negative or empty range.
    """
    _share(share)
    if not 0 <= width[0] <= width[1]:
        raise HalfbitError(f"width: {width!r} must be two times, least first")
    result: list[int] = []
    for duration in durations:
        wide = rng.randint(*width)
        if rng.random() < share and wide < duration:
            after = rng.randint(0, duration - wide)
            result += [after, wide, duration - wide - after]
        else:
            result.append(duration)
    return result


def lost_edges(durations: Sequence[int], share: float, rng: random.Random) -> list[int]:
    """Changes lost here and there.

    :param share: which share of the changes are lost, 0 to 1; the first and the last stay.
    :raises HalfbitError: for a share outside 0 to 1.
    """
    _share(share)
    result: list[int] = []
    for index, duration in enumerate(durations):
        if index and rng.random() < share:
            result[-1] += duration
        else:
            result.append(duration)
    return result


# One thing at one place.


def lost_edge(durations: Sequence[int], at: int) -> list[int]:
    """Change ``at`` lost: the half-bits before and after it become one duration.

    :raises HalfbitError: if there is no such change between two durations.
    """
    if not 1 <= at < len(durations):
        raise HalfbitError(f"at: there is no half-bit on either side of change {at}")
    return [*durations[: at - 1], durations[at - 1] + durations[at], *durations[at + 1 :]]


def extra_edge(durations: Sequence[int], at: int, after: int) -> list[int]:
    """One change too many, ``after`` ns into ``durations[at]``.

    :raises HalfbitError: if there is no such duration, or it is shorter.
    """
    duration = _duration(durations, at)
    if not 0 <= after <= duration:
        raise HalfbitError(f"after: {after} ns does not lie within {duration} ns")
    return [*durations[:at], after, duration - after, *durations[at + 1 :]]


def spike(durations: Sequence[int], at: int, after: int, width: int) -> list[int]:
    """A pulse of ``width`` ns that starts ``after`` ns into ``durations[at]``: two changes too many.

    :raises HalfbitError: if there is no such duration, or the pulse does not fit into it.
    """
    duration = _duration(durations, at)
    if after < 0 or width < 0 or after + width > duration:
        raise HalfbitError(f"a spike from {after} ns on for {width} ns does not fit into {duration} ns")
    return [*durations[:at], after, width, duration - after - width, *durations[at + 1 :]]


def flipped_half(
    durations: Sequence[int], at: int, *, one: int = 58 * US, zero: int = 100 * US
) -> list[int]:
    """``durations[at]`` as long as the other kind's half-bit: a zero's for a one's, and back.

    :raises HalfbitError: if there is no such duration.
    """
    flipped = one if _duration(durations, at) >= _MIDDLE else zero
    return [*durations[:at], flipped, *durations[at + 1 :]]


def inserted(durations: Sequence[int], at: int, others: Sequence[int]) -> list[int]:
    """Other durations put in at change ``at``, between packets say; see :func:`foreign`.

    :raises HalfbitError: if there is no such change.
    """
    if not 0 <= at <= len(durations):
        raise HalfbitError(f"at: there is no change {at}")
    return [*durations[:at], *others, *durations[at:]]


def foreign(
    length: int, rng: random.Random, *, pulses: tuple[int, int] = (10 * US, 300 * US)
) -> list[int]:
    """Another protocol's signal (S-9.2 C allows it between packets), as pulses of any width.

    :param length: how long it lasts at least, ns.
    :param pulses: least and greatest width, ns; the default reaches over every window there is
        and the gaps between them.
    :raises HalfbitError: for widths that are not above 0, or an empty range.
    """
    if not 0 < pulses[0] <= pulses[1]:
        raise HalfbitError(f"pulses: {pulses!r} must be two times above 0, least first")
    result: list[int] = []
    left = length
    while left > 0:
        result.append(rng.randint(*pulses))
        left -= result[-1]
    return result


def cutout(
    durations: Sequence[int],
    at: int,
    *,
    opposite: bool = True,
    begin: int = 29 * US,
    end: int = 464 * US,
    resume: int | None = None,
) -> list[int]:
    """A cutout of bi-directional communication (S-9.3.2, RCN-217, from memory) after change ``at``.

    From ``begin`` to ``end`` ns after the end of a packet end bit the station shorts the rails, so
    that both are at the same level. Which level that is beside the first part of the bit it falls
    into depends on the rail a capture watches, and on how the vehicle stands. So one capture
    sees the first part cut short and then a long part, another only one long part.

    :param at: the change at the end of the packet end bit.
    :param opposite: whether the level in the cutout is the opposite of that of ``durations[at]``.
    :param begin: ns after change ``at``, 26 to 32 us (from memory).
    :param end: ns after change ``at``, 454 to 488 us (from memory).
    :param resume: which duration after ``durations[at]`` begins at the cutout's end (8 for the
        fifth one-bit's first part). Without it the station's bits run on beneath the cutout, and
        the rest of one shows at its end.
    :raises HalfbitError: if the cutout does not lie within the durations.
    """
    if not 0 <= at < len(durations) or not 0 <= begin < end:
        raise HalfbitError(f"a cutout from {begin} to {end} ns after change {at} cannot be")
    changes = list(accumulate(durations, initial=0))
    start, stop = changes[at] + begin, changes[at] + end
    # The level after change i is i % 2 here; what the capture calls it means nothing.
    marks = [(time, index % 2) for index, time in enumerate(changes)]
    if resume is None:
        before = [mark for mark in marks if mark[0] < start]
        under = sum(time <= stop for time in changes)
        after = [(stop, (under - 1) % 2), *marks[under:]]
    else:
        if not 0 <= resume <= len(durations) - at:
            raise HalfbitError(f"resume: there is no duration {resume} after change {at}")
        before = marks[: at + 1]
        shift = stop - changes[at + resume]
        after = [(time + shift, level) for time, level in marks[at + resume :]]
    if stop > changes[-1] and resume is None:
        raise HalfbitError(f"a cutout from {begin} to {end} ns after change {at} outlasts the signal")
    levels = [*before, (start, (at + opposite) % 2), *after]
    times = [levels[0][0]]
    times += [time for (_, old), (time, new) in pairwise(levels) if new != old]
    return _between(times)


def _between(times: Sequence[int]) -> list[int]:
    return [later - earlier for earlier, later in pairwise(times)]


def _duration(durations: Sequence[int], at: int) -> int:
    if not 0 <= at < len(durations):
        raise HalfbitError(f"at: there is no duration {at} among {len(durations)}")
    return durations[at]


def _share(share: float) -> None:
    if not 0 <= share <= 1:
        raise HalfbitError(f"share: {share!r} is not from 0 to 1")
