"""Long signals with damage of every kind here and there: long enough for packets at sight and step by step in turn."""

from __future__ import annotations

import random
from array import array
from collections.abc import Callable, Sequence

import pytest

from halfbit.simulate import distort
from halfbit.event import PacketEvent
from halfbit.event import Fault
from halfbit.limits import RECEIVE, Limits
from halfbit.event import Packet
from halfbit.receiver import HalvesReceiver
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte
from tests.support import chunks, show

US = 1000
LIMITS = {
    "receive": RECEIVE,
    "stretched zeros limited": Limits(zero_total_max=12_000 * US),
    "difference unchecked": Limits(one_difference=None),
    "preamble of 12": Limits(preamble_min=12),
}


def sound(rng: random.Random, half_bits: int) -> list[int]:
    """Packets of 3 to 6 bytes with idle times between, us."""
    durations: list[int] = []
    while len(durations) < half_bits:
        data = with_error_byte(rng.randbytes(rng.randint(2, 5)))
        durations += packet_durations(data, rng.choice((10, 12, 14, 16, 20)))
        if rng.random() < 0.1:
            durations += bit_durations([1] * rng.randint(1, 300))
    return durations


#: What was done to the signal; whole us all of it, so that it can be handed over in another scale.
DAMAGES: dict[str, Callable[[list[int], random.Random], list[int]]] = {
    "none": lambda durations, rng: durations,
    "stretched": lambda durations, rng: distort.stretched(durations, 0.05, 10_100 * US, rng),
    "jitter": lambda durations, rng: distort.jittered(durations, 3 * US, rng),
    "strong jitter": lambda durations, rng: distort.jittered(durations, 6 * US, rng),
    "polled": lambda durations, rng: distort.polled(durations, (8 * US, 12 * US), rng),
    "polled slowly": lambda durations, rng: distort.polled(durations, (30 * US, 40 * US), rng),
    "chatter": lambda durations, rng: distort.chatter(durations, 0.003, 5 * US, rng),
    "spikes": lambda durations, rng: distort.spikes(durations, 0.003, (US, 9 * US), rng),
    "lost edges": lambda durations, rng: distort.lost_edges(durations, 0.003, rng),
    "foreign": lambda durations, rng: distort.inserted(
        durations, len(durations) // 2, distort.foreign(900_000 * US, rng)
    ),
    "silence": lambda durations, rng: distort.inserted(durations, len(durations) // 3, [10**10]),
}


#: What leaves next to no packet by halves, and what surely tears some.
HOPELESS = ("jitter", "strong jitter", "polled", "polled slowly")
TEARING = ("strong jitter", "polled slowly", "chatter", "spikes", "lost edges", "foreign", "silence")


def exactly(durations: Sequence[int], limits: Limits) -> list[PacketEvent]:
    """One at a time: the core, feed by feed."""
    receiver = HalvesReceiver(limits)
    events = [event for duration in durations for event in receiver.feed(duration)]
    return [*events, *receiver.finish()]


def in_pieces(pieces: list[Sequence[int]], scale: int, limits: Limits) -> list[PacketEvent]:
    receiver = HalvesReceiver(limits)
    events = [event for piece in pieces for event in receiver.feed_many(piece, scale)]
    return [*events, *receiver.finish()]


@pytest.mark.parametrize("limits", LIMITS)
@pytest.mark.parametrize("damage", DAMAGES)
def test_rows_and_single_durations_agree(damage: str, limits: str) -> None:
    rng = random.Random(f"{damage} {limits}")
    nanoseconds = distort.counted(DAMAGES[damage](sound(rng, 9_000), rng), US)
    counts = [duration // US for duration in nanoseconds]
    expected = exactly(nanoseconds, LIMITS[limits])
    ways: dict[str, tuple[list[Sequence[int]], int]] = {
        "whole": ([nanoseconds], 1),
        "counts": ([counts], US),
        "array": ([array("Q", nanoseconds)], 1),
        "array of counts": ([array("Q", counts)], US),
        "view of counts": ([memoryview(array("q", counts))], US),
        "pieces": (list(chunks(nanoseconds, rng)), 1),
        "pieces of an array": (list(chunks(array("Q", counts), rng)), US),
    }
    for way, (pieces, scale) in ways.items():
        events = in_pieces(pieces, scale, LIMITS[limits])
        first = next((at for at, pair in enumerate(zip(events, expected)) if pair[0] != pair[1]), -1)
        assert events == expected, (
            f"{way}: from event {first} on\n{show(events[first : first + 2])}\n"
            f"  instead of\n{show(expected[first : first + 2])}"
        )
    packets = sum(isinstance(event, Packet) for event in expected)
    assert packets > 20 or damage in HOPELESS
    assert any(isinstance(event, Fault) for event in expected) or damage not in TEARING


@pytest.mark.parametrize("damage", ["chatter", "spikes", "lost edges"])
def test_damage_costs_what_it_touches(damage: str) -> None:
    """Three in a thousand half-bits hit: most packets come through, and what is lost is said."""
    rng = random.Random(damage)
    clean = sound(rng, 9_000)
    sent = [event.data for event in in_pieces([clean], 1, RECEIVE) if isinstance(event, Packet)]
    events = in_pieces([DAMAGES[damage](clean, rng)], 1, RECEIVE)
    got = [event.data for event in events if isinstance(event, Packet)]
    assert 0.5 * len(sent) < len(got) < len(sent)
    left = iter(sent)
    assert all(data in left for data in got)
    assert any(isinstance(event, Fault) for event in events)
