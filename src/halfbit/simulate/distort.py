"""Simulated errors of track and capture: pure functions from durations to durations.

For tests, examples and vectors. Durations are the times between level changes in integer nanoseconds, as
:mod:`halfbit.simulate.signal` makes them. Change ``i`` is at the start of ``durations[i]``, so there is one more change
than durations. Each function returns a new list. Random numbers come from the ``random.Random`` that is passed in, so
the same seed always gives the same result.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import accumulate, pairwise

from ..error import HalfbitError
from ..limits import US

__all__ = [
    "chatter", "counted", "cutout", "extra_edge", "flipped_half", "foreign", "inserted", "jittered", "lost_edge",
    "lost_edges", "one_edge", "polled", "spike", "spikes", "stretched",
]  # fmt: skip

#: From here up it is half of a zero-bit: the middle of 64 us (longest half of a one) and 90 us (S-9.1 A, table 1).
_MIDDLE = 77 * US


# Errors of a capture.


def polled(
    durations: Sequence[int], periods: tuple[int, int], rng: random.Random, *, stall: int = 0, stall_share: float = 0.0
) -> list[int]:
    """A capture by a polling loop, which samples the level again and again.

    A change is seen at the first sample at or after it. Two changes between two samples are not seen,
    because the level is the same again.

    :param periods: shortest and longest time between two samples, ns; uniformly distributed.
    :param stall: a longer time that some samples take instead, ns (an interrupt, a garbage collection).
    :param stall_share: the share of samples that take it, 0 to 1.
    :returns: durations between the changes seen, ns.
    :raises HalfbitError: for a time of 0 or less, an empty range, or a share outside 0 to 1.
    """
    least, greatest = periods
    sound = 0 < least <= greatest and (stall > 0 or not stall_share)
    _require(sound, f"periods: {periods!r} and stall: {stall!r} must be times above 0, least first")
    _share(stall_share)
    changes = _changes(durations)
    look = -rng.randint(1, greatest)
    passed = seen = 0
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
    """A capture with a coarse timer: the time of each change is rounded down to ticks.

    :param tick: the length of a tick, ns. The result is in ns too.
    :raises HalfbitError: for a tick of 0 or less.
    """
    _require(tick >= 1, f"tick: {tick} ns is no time")
    return _between([time // tick * tick for time in _changes(durations)])


def one_edge(durations: Sequence[int], phase: int) -> list[int]:
    """A capture of only rising or only falling edges: every second change.

    :param phase: 0 keeps changes 0, 2, 4...; 1 keeps 1, 3, 5... If the signal starts with the first
        half of a bit, phase 0 gives whole bits. Phase 1 gives the last half of a bit with the first half
        of the next bit.
    :raises HalfbitError: for another phase.
    """
    _require(phase in (0, 1), f"phase: {phase!r} is neither 0 nor 1")
    return _between(_changes(durations)[phase::2])


def jittered(durations: Sequence[int], most: int, rng: random.Random) -> list[int]:
    """Jitter: each change moves by up to ``most`` ns, earlier or later, but never past its neighbours.

    :raises HalfbitError: for a negative ``most``.
    """
    _require(most >= 0, f"most: {most} ns is negative")
    return _between(list(accumulate((time + rng.randint(-most, most) for time in _changes(durations)), max)))


# Events on the track.


def stretched(
    durations: Sequence[int], share: float, longest: int, rng: random.Random, *, zero_from: int = _MIDDLE
) -> list[int]:
    """Stretched zeros, as a station sends them to run a vehicle without a decoder (S-9.1 A).

    :param share: the share of zero halves that are stretched, 0 to 1.
    :param longest: the longest stretched half, ns.
    :param zero_from: a half-bit of at least this duration is half of a zero-bit, ns.
    :raises HalfbitError: for a share outside 0 to 1.
    """
    _share(share)
    return [
        rng.randint(duration, max(duration, longest)) if duration >= zero_from and rng.random() < share else duration
        for duration in durations
    ]


def chatter(durations: Sequence[int], share: float, spread: int, rng: random.Random, *, most: int = 3) -> list[int]:
    """Zero crossings that are not monotonic (S-9.1 B): one change becomes three, five or more.

    :param share: the share of changes that chatter, 0 to 1.
    :param spread: the extra changes come within this time after the change, ns.
    :param most: most pairs of extra changes.
    :raises HalfbitError: for a share outside 0 to 1.
    """
    _share(share)
    result: list[int] = []
    for duration in durations:
        room = min(spread, duration)
        chatters = rng.random() < share and room > 0
        extra = [rng.randint(0, room) for _ in range(2 * rng.randint(1, most))] if chatters else []
        result += _between([0, *sorted(extra), duration])
    return result


def spikes(durations: Sequence[int], share: float, width: tuple[int, int], rng: random.Random) -> list[int]:
    """Short pulses inside half-bits.

    :param share: the share of half-bits with a spike, 0 to 1.
    :param width: smallest and largest width, ns. A half-bit that is not longer than its spike does not change.
    :raises HalfbitError: for a share outside 0 to 1, or a negative or empty range.
    """
    _share(share)
    _require(0 <= width[0] <= width[1], f"width: {width!r} must be two times, least first")
    result: list[int] = []
    for duration in durations:
        wide = rng.randint(*width)
        hit = rng.random() < share and wide < duration
        result += spike([duration], 0, rng.randint(0, duration - wide), wide) if hit else [duration]
    return result


def lost_edges(durations: Sequence[int], share: float, rng: random.Random) -> list[int]:
    """Changes lost at random.

    :param share: the share of changes that are lost, 0 to 1. The first and the last change stay.
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


# One error at one place.


def lost_edge(durations: Sequence[int], at: int) -> list[int]:
    """Change ``at`` is lost: the half-bits before and after it become one duration.

    :raises HalfbitError: if ``at`` is not a change between two durations.
    """
    _require(1 <= at < len(durations), f"at: there is no half-bit on either side of change {at}")
    return [*durations[: at - 1], durations[at - 1] + durations[at], *durations[at + 1 :]]


def extra_edge(durations: Sequence[int], at: int, after: int) -> list[int]:
    """One extra change, ``after`` ns into ``durations[at]``.

    :raises HalfbitError: if there is no such duration, or it is shorter than ``after``.
    """
    duration = _duration(durations, at)
    _require(0 <= after <= duration, f"after: {after} ns does not lie within {duration} ns")
    return [*durations[:at], after, duration - after, *durations[at + 1 :]]


def spike(durations: Sequence[int], at: int, after: int, width: int) -> list[int]:
    """A pulse of ``width`` ns that starts ``after`` ns into ``durations[at]``: two extra changes.

    :raises HalfbitError: if there is no such duration, or the pulse does not fit into it.
    """
    duration = _duration(durations, at)
    fits = 0 <= after <= after + width <= duration
    _require(fits, f"a spike from {after} ns on for {width} ns does not fit into {duration} ns")
    return [*durations[:at], after, width, duration - after - width, *durations[at + 1 :]]


def flipped_half(durations: Sequence[int], at: int, *, one: int = 58 * US, zero: int = 100 * US) -> list[int]:
    """``durations[at]`` gets the length of the other kind of half-bit: one becomes zero, zero becomes one.

    :param one: the length of half a one-bit, ns.
    :param zero: the length of half a zero-bit, ns.

    :raises HalfbitError: if there is no such duration.
    """
    flipped = one if _duration(durations, at) >= _MIDDLE else zero
    return [*durations[:at], flipped, *durations[at + 1 :]]


def inserted(durations: Sequence[int], at: int, others: Sequence[int]) -> list[int]:
    """Other durations inserted at change ``at``, for example between packets; see :func:`foreign`.

    :raises HalfbitError: if there is no such change.
    """
    _require(0 <= at <= len(durations), f"at: there is no change {at}")
    return [*durations[:at], *others, *durations[at:]]


def foreign(length: int, rng: random.Random, *, pulses: tuple[int, int] = (10 * US, 300 * US)) -> list[int]:
    """The signal of another protocol (S-9.2 C allows it between packets), as pulses of random width.

    :param length: its shortest duration, ns.
    :param pulses: smallest and largest width, ns. The default covers widths too short for any half-bit, both kinds
        of half-bit and the gap between them.
    :raises HalfbitError: for widths of 0 or less, or an empty range.
    """
    _require(0 < pulses[0] <= pulses[1], f"pulses: {pulses!r} must be two times above 0, least first")
    result: list[int] = []
    left = length
    while left > 0:
        result.append(rng.randint(*pulses))
        left -= result[-1]
    return result


def cutout(
    durations: Sequence[int], at: int, *, opposite: bool = True, begin: int = 29 * US, end: int = 464 * US,
    resume: int | None = None,
) -> list[int]:  # fmt: skip
    """A cutout of bi-directional communication (S-9.3.2, RCN-217, from memory) after change ``at``.

    From ``begin`` to ``end`` ns after the end of a packet end bit the station shorts the rails, so that both have the
    same level. The captured level then depends on the rail that is captured and on the direction of the vehicle on the
    track. So one capture sees a short first half and then a long one; another capture sees only one long half.

    :param at: the change at the end of the packet end bit.
    :param opposite: True if the level in the cutout is opposite to the level of ``durations[at]``.
    :param begin: start of the cutout, ns after change ``at``; 26 to 32 us (from memory).
    :param end: end of the cutout, ns after change ``at``; 454 to 488 us (from memory).
    :param resume: the duration that begins when the cutout ends, counted from ``durations[at]``: 8 for the first half
        of the fifth one-bit. ``None``: the station's bits continue during the cutout, and the rest of one of them is
        seen after it.
    :raises HalfbitError: if the cutout is not within the durations.
    """
    place = f"a cutout from {begin} to {end} ns after change {at}"
    _require(0 <= at < len(durations) and 0 <= begin < end, f"{place} cannot be")
    changes = _changes(durations)
    start, stop = changes[at] + begin, changes[at] + end
    # The level after change i is i % 2 here. The polarity does not matter.
    marks = [(time, index % 2) for index, time in enumerate(changes)]
    if resume is None:
        _require(stop <= changes[-1], f"{place} outlasts the signal")
        before = [mark for mark in marks if mark[0] < start]
        under = sum(time <= stop for time in changes)
        after = [(stop, (under - 1) % 2), *marks[under:]]
    else:
        _require(0 <= resume <= len(durations) - at, f"resume: there is no duration {resume} after change {at}")
        before, shift = marks[: at + 1], stop - changes[at + resume]
        after = [(time + shift, level) for time, level in marks[at + resume :]]
    levels = [*before, (start, (at + opposite) % 2), *after]
    return _between([levels[0][0], *(time for (_, old), (time, new) in pairwise(levels) if new != old)])


def _changes(durations: Sequence[int]) -> list[int]:
    return list(accumulate(durations, initial=0))


def _between(times: Sequence[int]) -> list[int]:
    return [later - earlier for earlier, later in pairwise(times)]


def _duration(durations: Sequence[int], at: int) -> int:
    _require(0 <= at < len(durations), f"at: there is no duration {at} among {len(durations)}")
    return durations[at]


def _share(share: float) -> None:
    _require(0 <= share <= 1, f"share: {share!r} is not from 0 to 1")


def _require(sound: object, problem: str) -> None:
    if not sound:
        raise HalfbitError(problem)
