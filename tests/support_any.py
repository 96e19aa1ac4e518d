"""Signals of all sorts under any limits, and what the core makes of them."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import pairwise

from hypothesis import strategies as st

from halfbit.event import PacketEvent
from halfbit.instruction import Event, InstructionMachine
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.simulate.signal import packet_durations, with_error_byte
from halfbit.receiver import HalvesReceiver
from tests.benchmarks.speed_signals import clean, torn

__all__ = ["by_the_core", "decoded_by_the_core", "durations_of_all_sorts", "mostly_clean", "seeded", "some_limits"]

US = 1000

#: A seed is all that is drawn: hypothesis is slow at drawing thousands of numbers.
seeded = st.integers(0, (1 << 32) - 1).map(random.Random)


@st.composite
def some_limits(draw: st.DrawFn) -> Limits:
    """The standard's, or any others in whole and broken us."""
    if draw(st.booleans()):
        return draw(st.sampled_from((RECEIVE, TRANSMIT)))
    one_min = draw(st.integers(1, 60_000))
    one_max = one_min + draw(st.integers(0, 30_000))
    zero_min = one_max + draw(st.integers(1, 30_000))
    return Limits(
        one_min=one_min,
        one_max=one_max,
        one_difference=draw(st.sampled_from((None, 0, 1000, 3000, 6500))),
        zero_min=zero_min,
        zero_max=zero_min + draw(st.integers(0, 12_000_000)),
        zero_total_max=draw(st.sampled_from((None, 205_000, 12_000_000))),
        preamble_min=draw(st.integers(10, 14)),
        packet_min=draw(st.integers(1, 3)),
        packet_max=draw(st.integers(3, 16)),
    )


_LONE_TIMES = (0, 1, 30, 51, 52, 55, 58, 61, 64, 65, 75, 89, 90, 100, 255, 256, 470, 10_000, 10_001, 70_000)


def _piece(rng: random.Random, jitter: int) -> list[int]:
    kind = rng.randrange(11)
    if kind == 10:
        return _gap(rng)
    if kind < 6:
        count = rng.choice((1, 2, 2, 2, 3, 5, 14, 15))
        data = with_error_byte(bytes(rng.choice((0, 127, 255, rng.randrange(256))) for _ in range(count)))
        if rng.random() < 0.1:
            data = data[:-1] + bytes((data[-1] ^ rng.choice((1, 255)),))
        halves = packet_durations(data, rng.choice((8, 9, 10, 11, 14, 14, 14, 30)))
        stretched = rng.choice((1, 1, 1, 40))
        return [half // US * (stretched if half > 80 * US else 1) + rng.randint(-jitter, jitter) for half in halves]
    if kind == 6:
        return [58 + rng.randint(-jitter, jitter) for _ in range(rng.choice((1, 2, 19, 20, 21, 40, 513, 783, 784, 801)))]
    if kind == 7:
        return rng.choice(([100] * rng.randint(1, 200), [58, 100] * 30, [470], [29, 430], [0, 0, 470]))
    if kind == 8:
        return [rng.choice(_LONE_TIMES) for _ in range(rng.randint(1, 60))]
    return [rng.randint(50, 66) for _ in range(rng.randint(1, 90))]


def _gap(rng: random.Random) -> list[int]:
    """As long as a cutout, in a few half-bits."""
    long = rng.randint(440, 630)
    changes = sorted(rng.choice((0, 26, 58, 58, 100, 100, rng.randint(1, 400))) for _ in range(rng.randint(0, 4)))
    parts = [late - early for early, late in pairwise([0, *changes, long])]
    rng.shuffle(parts)
    return parts


@st.composite
def durations_of_all_sorts(draw: st.DrawFn) -> list[int]:
    """Durations, us: packets of all sorts, noise, and some torn."""
    rng = draw(seeded)
    jitter = rng.choice((0, 2, 3, 5, 6))
    durations = [half for _ in range(rng.randint(1, 8)) for half in _piece(rng, jitter)]
    return torn(durations, rng.choice((0, 0, 0.01, 0.05)), rng.randrange(1 << 30))


def by_the_core(durations: Sequence[int], limits: Limits) -> tuple[list[list[PacketEvent]], list[PacketEvent]]:
    """Step by step through the core: what is complete with each half-bit, and what at the end."""
    receiver = HalvesReceiver(limits)
    return [list(receiver.feed(US * duration)) for duration in durations], list(receiver.finish())


def decoded_by_the_core(durations: Sequence[int], limits: Limits) -> tuple[list[list[Event]], list[Event]]:
    """The same to instructions."""
    machine = InstructionMachine()
    expected, rest = by_the_core(durations, limits)
    each = [[decoded for event in some for decoded in machine.feed(event)] for some in expected]
    return each, [decoded for event in rest for decoded in machine.feed(event)]


def mostly_clean(rng: random.Random) -> list[int]:
    """Durations, us, of some packets, of which one is torn perhaps."""
    durations = clean(84 * rng.randint(1, 6), 2, repeated=rng.random() < 0.5, seed=rng.randrange(1000))
    if rng.random() < 0.5:
        durations[rng.randrange(len(durations))] = rng.choice((0, 20, 58, 75, 100, 116))
    return durations
