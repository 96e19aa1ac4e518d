"""Every nanosecond of a capture is in one event, or among idle one-bits: in all decisions, with cutouts and with tears.

The signals are those of the trial (``tests/trial``), which shares no code with the library.
"""

from __future__ import annotations

import pickle
import random
from itertools import accumulate, islice

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfbit.decision import receiver_for
from halfbit.event import Cutout, Packet, PacketEvent
from halfbit.limits import Limits
from tests.support import show
from tests.trial.observer import EVEN, Capture, Loop, Observer
from tests.trial.station import CutoutSeen, random_station
from tests.trial.tears import Tear, torn
from tests.trial.traffic import layout_packets

US = 1000
PACKETS = 16
#: Every third packet is torn.
EVERY = 3

#: Limits, and the board whose captures they are for.
WAYS: dict[str, tuple[Limits, Observer]] = {
    "halves": (Limits(), Observer(jitter=0.5)),
    "halves recovered": (Limits(recover=True), Observer(jitter=0.5)),
    "sum": (attrs.evolve(Limits.for_sampling_period(30), recover=False), Observer(loop=Loop(period=30))),
    "sum recovered": (Limits.for_sampling_period(30), Observer(loop=Loop(period=30))),
    "sequence": (Limits.for_sampling_period(48), Observer(loop=Loop(period=48))),
    "long turns": (Limits.for_sampling_period(20, rare=80), Observer(loop=Loop(period=20, one_in=300, long=80))),
    "one edge": (Limits.for_one_edge(2), Observer(jitter=0.5, edges=EVEN)),
}


def captured(observer: Observer, cutout: CutoutSeen | None, tear: Tear | None, seed: int) -> Capture:
    rng = random.Random(seed)
    station = random_station(rng, cutout=cutout)
    signal = station.signal(islice(layout_packets(rng), PACKETS + 2), rng)
    if tear is not None:
        tears = {rng.randrange(sent.first, sent.last - 1): tear for sent in signal.packets[::EVERY]}
        signal = torn(signal, tears, station, rng).signal
    return observer.capture(signal, rng)


def idle_is_ones(inside: list[int], limits: Limits) -> bool:
    """True if the durations between two events can be halves of ones."""
    if limits.decision == "halves" and not limits.recover:
        return all(limits.one_min <= duration <= limits.one_max for duration in inside)
    # S-9.1 A, table 1: 64 us, by a clock that is 8 % off, and off by what the lengths may be before they are learned.
    longest = 2 * 70 * US + max(limits.latency_max, limits.latency_rare) + 16 * US
    if limits.one_edge:
        return max(inside, default=0) <= longest
    return any(max(map(sum, zip(inside[phase::2], inside[phase + 1 :: 2])), default=0) <= longest for phase in (0, 1))


def accounted(events: list[PacketEvent], durations: list[int], limits: Limits) -> None:
    """Events lie in order, do not overlap and leave only one-bits; a cutout follows a packet."""
    times = list(accumulate(durations, initial=0))
    before = total = 0
    for index, event in enumerate(events):
        assert before <= event.start < event.end <= times[-1], show(events)
        inside = [duration for time, duration in zip(times, durations) if before <= time and time + duration <= event.start]
        assert idle_is_ones(inside, limits), show(events)
        if isinstance(event, Cutout):
            assert isinstance(events[index - 1], Packet) and event.start == before, show(events)
        total += event.end - event.start + event.start - before
        before = event.end
    rest = [duration for time, duration in zip(times, durations) if before <= time]
    assert idle_is_ones(rest, limits), show(events)
    assert total + times[-1] - before == sum(durations)


@pytest.mark.parametrize("cutout", [None, *CutoutSeen], ids=lambda cutout: cutout.value if cutout else "no cutouts")
@pytest.mark.parametrize("name", list(WAYS))
@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 2**32), tear=st.sampled_from((None, *Tear)))
def test_all_time_is_accounted_for(name: str, cutout: CutoutSeen | None, tear: Tear | None, seed: int) -> None:
    """Also: the middle of a packet that was sent is in a packet or in a fault."""
    limits, observer = WAYS[name]
    capture = captured(observer, cutout, tear, seed)
    receiver = receiver_for(limits)
    events = [*receiver.feed_many(capture.durations), *receiver.finish()]
    accounted(events, capture.durations, limits)
    for data, start, end in capture.packets:
        middle = (start + end) // 2
        within = [event for event in events if event.start <= middle < event.end]
        assert within and not isinstance(within[0], Cutout), (data.hex(" "), start, end, show(events))


def test_a_cutout_starts_where_its_packet_ends() -> None:
    """The lane that goes on behind a cutout may have ended the packet half a bit later. The time between was missing."""
    limits, observer = WAYS["sum"]
    durations = captured(observer, CutoutSeen.TWO_PARTS, Tear.LOST, 514).durations
    receiver = receiver_for(limits)
    accounted([*receiver.feed_many(durations), *receiver.finish()], durations, limits)


@pytest.mark.parametrize("limits", [Limits(recover=True), Limits.for_sampling_period(36)], ids=["halves", "sum"])
def test_how_a_long_loss_is_split_does_not_matter(limits: Limits) -> None:
    """A loss of thousands of half-bits is read ahead while it lasts. Its fault once depended on how it was fed."""
    rng = random.Random(5)
    noise = [rng.choice((58 * US, 75 * US, 100 * US, rng.randint(20 * US, 250 * US))) for _ in range(5000)]
    sound = captured(Observer(jitter=0.5), None, Tear.LOST, 5).durations
    durations = [*noise, *sound, *noise, *sound]
    whole = receiver_for(limits)
    expected = [*whole.feed_many(durations), *whole.finish()]
    single = receiver_for(limits)
    events = [event for duration in durations for event in single.feed(duration)]
    assert [*events, *single.finish()] == expected
    assert sum(isinstance(event, Packet) for event in expected) > PACKETS // 2


@pytest.mark.parametrize("limits", [Limits(recover=True), Limits.for_sampling_period(36)], ids=["halves", "sum"])
def test_memory_does_not_grow_while_nothing_is_found(limits: Limits) -> None:
    """Durations that give no event at all: the changes in them were once kept for ever."""
    receiver = receiver_for(limits)
    kept = []
    for _ in range(6):
        receiver.feed_many([58 * US] * 3_000)
        kept.append(len(pickle.dumps(receiver)))
    # A duration takes 5 bytes when pickled.
    assert max(kept) < 75_000 < 5 * 6 * 3_000
