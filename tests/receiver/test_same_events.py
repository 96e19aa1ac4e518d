"""Every way through layers 2 to 4 gives the events of the core fed step by step, whatever comes in whatever pieces."""

from __future__ import annotations

import random
from array import array
from collections.abc import Callable
from itertools import accumulate

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from halfbit.event import PacketEvent
from halfbit.bit import bits
from halfbit.edge import edges_from_durations, edges_from_times
from halfbit.event import Cutout, Fault
from halfbit.half_bit import half_bits
from halfbit.limits import RECEIVE, Limits
from halfbit.packet import packets
from halfbit.event import Packet
from halfbit.receiver import HalvesReceiver
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte
from halfbit.stream import decode
from tests.benchmarks.speed_signals import HOSTILE
from tests.support import examples, flat
from tests.support_any import by_the_core, decoded_by_the_core, durations_of_all_sorts, seeded, some_limits

US = 1000


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_pieces_of_any_size_and_form(durations: list[int], limits: Limits, rng: random.Random) -> None:
    expected, rest = by_the_core(durations, limits)
    receiver = HalvesReceiver(limits)
    at = 0
    while at < len(durations):
        some = durations[at : at + rng.choice((0, 1, 2, 17, 64, 200, 5000))]
        form = rng.randrange(5)
        if form == 0:
            got = [event for duration in some for event in receiver.feed(US * duration)]
        elif form == 1:
            got = receiver.feed_many([US * duration for duration in some])
        elif form == 2:
            got = receiver.feed_many(some, US)
        elif form == 3:
            got = receiver.feed_many(memoryview(array("q", some)), US)
        else:
            got = receiver.feed_many(array("L", some), US)
        assert got == flat(expected[at : at + len(some)])
        at += len(some)
        assert receiver.now == US * sum(durations[:at])
    assert list(receiver.finish()) == rest


@given(durations_of_all_sorts(), some_limits())
def test_layer_by_layer(durations: list[int], limits: Limits) -> None:
    expected, rest = by_the_core(durations, limits)
    edges = edges_from_durations(durations)
    assert list(packets(bits(half_bits(edges, limits), limits), limits)) == [*flat(expected), *rest]


@pytest.mark.parametrize(
    ("gap", "limits"),
    [
        # A half-bit that waits for its other half is lost with a wrong one, and is a half-bit of the gap too.
        ([3, 366, 26, 71], RECEIVE),
        ([29, 0, 509, 71], RECEIVE),
        # A zero-bit that is too long as a whole is two.
        ([26, 200, 230, 100], Limits(zero_total_max=300 * US)),
        ([200, 230, 100], Limits(zero_total_max=300 * US)),
    ],
)
def test_a_gap_of_four_half_bits_is_no_cutout_in_any_way(gap: list[int], limits: Limits) -> None:
    good = [half // US for half in packet_durations(with_error_byte(b"\x37\x74"))]
    durations = [*good, *gap, *good]
    expected, rest = by_the_core(durations, limits)
    events = [*flat(expected), *rest]
    assert [type(event) for event in events] == [Packet, Cutout if len(gap) == 3 else Fault, Packet]
    assert list(packets(bits(half_bits(edges_from_durations(durations), limits), limits), limits)) == events
    assert HalvesReceiver(limits).feed_many(durations, US) == events


@examples(40)
@given(durations_of_all_sorts(), some_limits())
def test_sources_of_all_forms(durations: list[int], limits: Limits) -> None:
    each, rest = decoded_by_the_core(durations, limits)
    expected = [*flat(each), *rest]
    assume(durations)  # else there are no edges, where times have one
    times = list(accumulate(durations, initial=0))
    for edges in (
        edges_from_durations(durations),
        edges_from_durations(array("L", durations)),
        edges_from_durations(memoryview(array("i", durations))),
        edges_from_durations(list(map(float, durations))),
        edges_from_durations([US * duration for duration in durations], "ns"),
        edges_from_times(times),
        edges_from_times(array("Q", times)),
        edges_from_times(list(map(float, times))),
    ):
        assert list(decode(edges, limits)) == expected
        assert [edge.time for edge in edges] == [US * time for time in times]


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_times_to_the_ns(durations: list[int], limits: Limits, rng: random.Random) -> None:
    off = rng.choice((0, 400, 3000))
    halves = [max(0, US * duration + rng.randint(-off, off)) for duration in durations]
    receiver = HalvesReceiver(limits)
    expected = [event for half in halves for event in receiver.feed(half)]
    assert HalvesReceiver(limits).feed_many(halves) == expected


@pytest.mark.parametrize("name", HOSTILE)
def test_what_no_station_sends(name: str) -> None:
    durations = HOSTILE[name](40_000)
    expected, rest = by_the_core(durations, RECEIVE)
    receiver = HalvesReceiver()
    assert receiver.feed_many(durations, US) == flat(expected)
    assert list(receiver.finish()) == rest
