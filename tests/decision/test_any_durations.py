"""Decisions by sum and by sequence on durations of all sorts: nothing upsets them, and all time is accounted for."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import accumulate, pairwise

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.event import PacketEvent
from halfbit.decision import receiver_for
from halfbit.event import Fault
from halfbit.limits import Limits
from halfbit.event import Packet
from tests.support import chunks, examples, show
from tests.support_strategies import signals

US = 1000

RECOVERED_SUM = Limits.for_sampling_period(36)
SUM = attrs.evolve(RECOVERED_SUM, recover=False)
SEQUENCE = Limits.for_sampling_period(50)
ALL = {
    "halves recovered": Limits(recover=True),
    "sum": SUM,
    "sum recovered": RECOVERED_SUM,
    "sequence": SEQUENCE,
    "long turns": Limits.for_sampling_period(36, rare=80),
    "one edge": Limits.for_one_edge(),
}

#: Durations no signal has: none at all, and of more than an age.
odd = st.one_of(
    st.integers(0, 300 * US), st.sampled_from((0, 0, 1, 58 * US, 100 * US, 10**9, 10**15, 10**30)), st.integers(0, 10**12)
)
any_durations = st.one_of(signals(), st.lists(odd, max_size=60), st.tuples(signals(), st.lists(odd)).map(lambda two: two[0] + two[1]))
limits_of_all = st.sampled_from(list(ALL.values()))


def whole(durations: Sequence[int], limits: Limits) -> list[PacketEvent]:
    receiver = receiver_for(limits)
    return [*receiver.feed_many(durations), *receiver.finish()]


@examples(25)
@given(any_durations, limits_of_all)
def test_events_do_not_depend_on_how_durations_are_fed(durations: list[int], limits: Limits) -> None:
    expected = whole(durations, limits)
    receiver = receiver_for(limits)
    singly = [event for duration in durations for event in receiver.feed(duration)]
    assert [*singly, *receiver.finish()] == expected
    receiver = receiver_for(limits)
    pieces = [event for piece in chunks(durations, random.Random(len(durations))) for event in receiver.feed_many(piece)]
    assert [*pieces, *receiver.finish()] == expected
    receiver = receiver_for(limits)
    scaled = receiver.feed_many([duration * 3 for duration in durations], 1)
    again = receiver_for(limits)
    assert again.feed_many(durations, 3) == scaled
    assert again.finish() == receiver.finish()


@examples(25)
@given(signals(), limits_of_all, st.integers(0, 10**12))
def test_a_signal_may_start_at_any_time(durations: list[int], limits: Limits, start: int) -> None:
    receiver = receiver_for(limits, start)
    events = [*receiver.feed_many(durations), *receiver.finish()]
    assert [_moved(event, -start) for event in events] == whole(durations, limits)


def _moved(event: PacketEvent, by: int) -> PacketEvent:
    moved = attrs.evolve(event, start=event.start + by, end=event.end + by)
    return attrs.evolve(moved, at=moved.at + by) if isinstance(moved, Fault) else moved


@examples(25)
@given(any_durations, limits_of_all)
def test_time_is_accounted_for_once(durations: list[int], limits: Limits) -> None:
    """Events lie in order inside the signal and do not overlap: no packet is given twice."""
    events = whole(durations, limits)
    before = 0
    for event in events:
        assert before <= event.start <= event.end, show(events)
        assert event.start < event.end or isinstance(event, Fault) and 0 in durations, show(events)
        before = event.end
    assert before <= sum(durations)


@examples(25)
@given(signals(), st.sampled_from((ALL["halves recovered"], SUM, RECOVERED_SUM, SEQUENCE)))
def test_what_is_in_no_event_is_idle(durations: list[int], limits: Limits) -> None:
    """Between events are one-bits only: taken in twos, they last no longer than one-bits can be seen to."""
    events = whole(durations, limits)
    times = list(accumulate(durations, initial=0))
    before = 0
    # S-9.1 A, table 1: 64 us; a clock that is 8 % off; and what lengths may be off before they are learned.
    longest = 2 * 70 * US + limits.latency_max + 16 * US
    for start, end in [*((event.start, event.end) for event in events), (times[-1], times[-1])]:
        inside = [duration for time, duration in zip(times, durations) if before <= time and time + duration <= start]
        sums = [first + last for first, last in pairwise(inside)]
        # Which halves belong together is not known: it is enough that it can be so.
        assert any(max(sums[phase::2], default=0) <= longest for phase in (0, 1)), show(events)
        before = end


@pytest.mark.parametrize("limits", ALL.values(), ids=list(ALL))
def test_packets_hold_what_was_asked_for(limits: Limits) -> None:
    """Whatever noise gives, a packet's error detection byte agrees, and it is as long as a packet may be."""
    rng = random.Random(4)
    kinds = (58 * US, 58 * US, 58 * US, 100 * US, 116 * US, 158 * US, 200 * US)
    durations = [rng.choice(kinds) + rng.randint(0, 20 * US) for _ in range(20_000)]
    for event in whole(durations, limits):
        if isinstance(event, Packet):
            check = 0
            for byte in event.data:
                check ^= byte
            assert check == 0
            assert 3 <= len(event.data) <= limits.packet_max
            assert event.preamble >= limits.preamble_min
