"""Distortions do what they say, and the same again from the same seed."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.simulate import distort
from halfbit.error import HalfbitError
from halfbit.event import Cutout, Fault
from halfbit.event import Packet
from halfbit.simulate.signal import packet_durations, with_error_byte
from tests.support import events_of, packets_of

US = 1000
SIGNAL = packet_durations(with_error_byte(bytes([0x37, 0x74]))) * 8

durations_lists = st.lists(st.integers(1, 400_000), max_size=80)
seeds = st.integers(0, 2**32).map(random.Random)


def changes(durations: list[int]) -> list[int]:
    return list(accumulate(durations, initial=0))


SEEDED: dict[str, Callable[[list[int], random.Random], list[int]]] = {
    "polled": lambda durations, rng: distort.polled(durations, (30 * US, 40 * US), rng),
    "jittered": lambda durations, rng: distort.jittered(durations, 3 * US, rng),
    "stretched": lambda durations, rng: distort.stretched(durations, 0.3, 9_000 * US, rng),
    "chatter": lambda durations, rng: distort.chatter(durations, 0.3, 4 * US, rng),
    "spikes": lambda durations, rng: distort.spikes(durations, 0.3, (US, 5 * US), rng),
    "lost_edges": lambda durations, rng: distort.lost_edges(durations, 0.3, rng),
}


@pytest.mark.parametrize("name", SEEDED)
def test_a_seed_gives_the_same_again_and_the_signal_is_left_alone(name: str) -> None:
    given_signal = list(SIGNAL)
    first = SEEDED[name](given_signal, random.Random(5))
    assert given_signal == SIGNAL
    assert first == SEEDED[name](SIGNAL, random.Random(5))
    assert first != SEEDED[name](SIGNAL, random.Random(6))
    assert first != SIGNAL
    assert SEEDED[name]([], random.Random(5)) == []


@given(durations_lists, st.integers(100, 90_000), st.integers(0, 50_000), seeds)
def test_polling_sees_each_change_late_by_less_than_a_period(
    durations: list[int], least: int, more: int, rng: random.Random
) -> None:
    """Unless another follows before the look. What is seen alternates, so pairs vanish together."""
    seen = changes(distort.polled(durations, (least, least + more), rng))
    if min(durations, default=0) >= least + more:  # none can be missed
        assert len(seen) == len(durations) + 1
        late = [look - time for look, time in zip(seen, changes(durations))]
        assert max(late) - min(late) <= least + more
    assert len(seen) % 2 == (len(durations) + 1) % 2 or len(seen) == 1
    assert all(duration >= least for duration in distort.polled(durations, (least, least), rng))


def test_a_fast_poll_changes_nothing_that_matters() -> None:
    polled = distort.polled(SIGNAL, (US, 2 * US), random.Random(1))
    assert packets_of(polled) == packets_of(SIGNAL)
    assert len(packets_of(SIGNAL)) == 8


def test_polling_at_the_usual_rate() -> None:
    """A loop of 30 to 40 us shows one-halves from the low 30s to the high 70s (common practice, no source)."""
    ones = [58 * US] * 20_000
    seen = distort.polled(ones, (30 * US, 40 * US), random.Random(2))
    assert len(seen) == len(ones)
    assert 30 * US <= min(seen) < 36 * US
    assert 74 * US < max(seen) <= 80 * US


def test_a_stall_swallows_changes() -> None:
    ones = [58 * US] * 20_000
    seen = distort.polled(
        ones, (30 * US, 40 * US), random.Random(3), stall=150 * US, stall_share=0.01
    )
    assert len(seen) < len(ones) - 100
    assert (len(ones) - len(seen)) % 2 == 0
    assert max(seen) > 150 * US
    assert abs(sum(seen) - sum(ones)) <= 150 * US


@given(durations_lists, st.integers(1, 5_000))
def test_counting_rounds_times_and_not_durations(durations: list[int], tick: int) -> None:
    counted = changes(distort.counted(durations, tick))
    assert all(time % tick == 0 for time in counted)
    assert all(0 <= time - after < tick for time, after in zip(changes(durations), counted))


@given(durations_lists)
def test_one_edge_gives_sums_of_neighbours(durations: list[int]) -> None:
    for phase in (0, 1):
        sums = [sum(durations[at : at + 2]) for at in range(phase, len(durations) - 1, 2)]
        assert distort.one_edge(durations, phase) == sums


def test_one_edge_of_whole_bits() -> None:
    """116 and 200 us are the nominal bits (S-9.1 A, table 1: twice 58 and 100 us)."""
    assert set(distort.one_edge(SIGNAL, 0)) == {116 * US, 200 * US}
    assert set(distort.one_edge(SIGNAL, 1)) == {116 * US, 158 * US, 200 * US}


@given(durations_lists, st.integers(0, 90_000), seeds)
def test_jitter_moves_each_change_and_keeps_their_order(
    durations: list[int], most: int, rng: random.Random
) -> None:
    jittered = distort.jittered(durations, most, rng)
    assert len(jittered) == len(durations)
    assert all(duration >= 0 for duration in jittered)
    assert all(
        abs(after - before) <= 2 * most for before, after in zip(durations, jittered)
    ) or min(durations) < 2 * most
    assert abs(sum(jittered) - sum(durations)) <= 2 * most


@given(durations_lists, st.floats(0, 1), seeds)
def test_only_zeros_are_stretched(durations: list[int], share: float, rng: random.Random) -> None:
    stretched = distort.stretched(durations, share, 9_000 * US, rng)
    for before, after in zip(durations, stretched):
        assert after == before if before < 77 * US else before <= after <= max(before, 9_000 * US)
    assert distort.stretched(durations, 0, 9_000 * US, rng) == durations


@given(durations_lists, st.integers(0, 20_000), seeds)
def test_chatter_adds_pairs_of_changes_right_after_one(
    durations: list[int], spread: int, rng: random.Random
) -> None:
    result = changes(distort.chatter(durations, 0.5, spread, rng, most=2))
    clean = changes(durations)
    assert (len(result) - len(clean)) % 2 == 0
    assert set(clean) <= set(result)
    for time in result:
        assert time - max(change for change in clean if change <= time) <= spread


@given(durations_lists, seeds)
def test_spikes_break_into_halves(durations: list[int], rng: random.Random) -> None:
    result = distort.spikes(durations, 1, (1_000, 2_000), rng)
    hit = [duration for duration in durations if duration > 2_000]
    assert len(durations) + 2 * len(hit) <= len(result)
    assert set(changes(durations)) <= set(changes(result))


@given(durations_lists, st.floats(0, 1), seeds)
def test_lost_edges_are_some_of_those_between(
    durations: list[int], share: float, rng: random.Random
) -> None:
    left = changes(distort.lost_edges(durations, share, rng))
    assert set(left) <= set(changes(durations))
    assert left[-1] == sum(durations)
    assert len(distort.lost_edges(durations, 1, rng)) == min(len(durations), 1)


def test_one_thing_at_one_place() -> None:
    three = [58 * US, 100 * US, 58 * US]
    assert distort.lost_edge(three, 1) == [158 * US, 58 * US]
    assert distort.lost_edge(three, 2) == [58 * US, 158 * US]
    assert distort.extra_edge(three, 1, 30 * US) == [58 * US, 30 * US, 70 * US, 58 * US]
    assert distort.spike(three, 1, 30 * US, US) == [58 * US, 30 * US, US, 69 * US, 58 * US]
    assert distort.flipped_half(three, 0) == [100 * US, 100 * US, 58 * US]
    assert distort.flipped_half(three, 1) == [58 * US, 58 * US, 58 * US]
    assert distort.flipped_half(three, 2, zero=5) == [58 * US, 100 * US, 5]
    assert distort.inserted(three, 1, [1, 2]) == [58 * US, 1, 2, 100 * US, 58 * US]
    assert distort.inserted(three, 3, [1]) == [*three, 1]
    assert three == [58 * US, 100 * US, 58 * US]


@pytest.mark.parametrize(
    "misuse",
    [
        lambda signal, rng: distort.polled(signal, (0, 5), rng),
        lambda signal, rng: distort.polled(signal, (6, 5), rng),
        lambda signal, rng: distort.polled(signal, (5, 6), rng, stall_share=0.1),
        lambda signal, rng: distort.polled(signal, (5, 6), rng, stall=9, stall_share=2),
        lambda signal, rng: distort.counted(signal, 0),
        lambda signal, rng: distort.one_edge(signal, 2),
        lambda signal, rng: distort.jittered(signal, -1, rng),
        lambda signal, rng: distort.stretched(signal, 1.1, 5, rng),
        lambda signal, rng: distort.chatter(signal, -0.1, 5, rng),
        lambda signal, rng: distort.spikes(signal, 0.1, (5, 4), rng),
        lambda signal, rng: distort.lost_edges(signal, 7, rng),
        lambda signal, rng: distort.lost_edge(signal, 0),
        lambda signal, rng: distort.lost_edge(signal, len(signal)),
        lambda signal, rng: distort.extra_edge(signal, -1, 0),
        lambda signal, rng: distort.extra_edge(signal, 0, 59 * US),
        lambda signal, rng: distort.spike(signal, 0, 50 * US, 9 * US),
        lambda signal, rng: distort.flipped_half(signal, len(signal)),
        lambda signal, rng: distort.inserted(signal, len(signal) + 1, []),
        lambda signal, rng: distort.foreign(5, rng, pulses=(0, 5)),
        lambda signal, rng: distort.cutout(signal, len(signal)),
        lambda signal, rng: distort.cutout(signal, 0, begin=5, end=5),
        lambda signal, rng: distort.cutout(signal, len(signal) - 1),
        lambda signal, rng: distort.cutout(signal, 0, resume=len(signal) + 1),
    ],
)
def test_misuse(misuse: Callable[[list[int], random.Random], object]) -> None:
    with pytest.raises(HalfbitError):
        misuse(list(SIGNAL), random.Random(1))


def test_a_foreign_signal() -> None:
    pulses = distort.foreign(50_000 * US, random.Random(4))
    assert sum(pulses[:-1]) < 50_000 * US <= sum(pulses)
    assert min(pulses) >= 10 * US and max(pulses) <= 300 * US
    one = len(SIGNAL) // 8
    mixed = distort.inserted(SIGNAL, one, pulses)
    assert packets_of(mixed)[:1] == packets_of(SIGNAL)[:1]
    assert packets_of(mixed)[-6:] == packets_of(SIGNAL)[-6:]


#: A cutout after the first packet, and what a capture shows in its place (S-9.3.2, RCN-217, from memory).
CUTOUTS: dict[str, tuple[dict[str, int | bool], list[int]]] = {
    "first part short": ({}, [29, 435]),
    "late begin": ({"begin": 32 * US}, [32, 432]),
    "early end, a bit's rest after it": ({"end": 454 * US}, [29, 435]),
    "late end": ({"end": 488 * US}, [29, 459, 34]),
    "late end, station waits": ({"end": 488 * US, "resume": 8}, [29, 459]),
    "other polarity": ({"opposite": False}, [522]),
    "other polarity, early end": ({"opposite": False, "end": 454 * US}, [454, 10]),
    "other polarity, station resumes with a last part": ({"opposite": False, "resume": 9}, [464]),
}


@pytest.mark.parametrize("name", CUTOUTS)
def test_cutouts(name: str) -> None:
    options, shown = CUTOUTS[name]
    end = len(SIGNAL) // 8
    result = distort.cutout(SIGNAL, end, **options)  # type: ignore[arg-type]
    assert result[:end] == SIGNAL[:end]
    assert result[end : end + len(shown)] == [half * US for half in shown]
    rest = result[end + len(shown) :]
    assert rest == SIGNAL[-len(rest) :]
    assert len(SIGNAL) - 12 <= len(result) + len(shown) <= len(SIGNAL)


@pytest.mark.parametrize("opposite", [True, False])
@pytest.mark.parametrize("end", [454, 464, 488])
@pytest.mark.parametrize("resume", [None, 8, 9])
def test_cutouts_are_seen_as_such(opposite: bool, end: int, resume: int | None) -> None:
    """In place of the first one-bits of 16: however it ends, enough are left for the next packet."""
    signal = packet_durations(with_error_byte(bytes([0x37, 0x74])), 16) * 4
    at = len(signal) // 4
    durations = distort.cutout(signal, at, opposite=opposite, end=end * US, resume=resume)
    first, cutout, *others = events_of(durations)
    assert isinstance(cutout, Cutout)
    assert cutout.start == first.end == sum(signal[:at])
    assert [type(other) for other in others] == [Packet] * 3
    assert others[0].start == cutout.end


def test_nothing_is_taken_for_a_cutout_elsewhere() -> None:
    at = len(SIGNAL) // 8 - 20  # in the first packet's last byte
    kinds = {type(event) for event in events_of(distort.cutout(SIGNAL, at))}
    assert kinds == {Packet, Fault}
