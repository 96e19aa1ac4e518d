"""Every way through layers 2 to 4 gives the core's events, half-bit by half-bit, whatever comes in whatever pieces."""

from __future__ import annotations

import random
from array import array
from collections.abc import Callable
from itertools import accumulate

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from halfbit import core
from halfbit.receiver.ledger import PacketEvent
from halfbit.bit import bits
from halfbit.bulk_exact import Exact
from halfbit.bulk_row import row_of
from halfbit.bulk_symbols import DOUBT, Symbols
from halfbit.bulk_torn import BYTES
from halfbit.edge import edges_from_durations, edges_from_times
from halfbit.event import Cutout, Fault
from halfbit.half_bit import half_bits
from halfbit.limits import RECEIVE, Limits
from halfbit.packet import packets
from halfbit.event import Packet
from halfbit.receiver import Receiver
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte
from halfbit.stream import decode
from tests.benchmarks.speed_signals import HOSTILE, clean, torn
from tests.support import durations_to_packets, edges_to_packets, flat
from tests.support_any import by_the_core, decoded_by_the_core, durations_of_all_sorts, seeded, some_limits

US = 1000


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_pieces_of_any_size_and_form(durations: list[int], limits: Limits, rng: random.Random) -> None:
    expected, rest = by_the_core(durations, limits)
    receiver = Receiver(limits)
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
    assert Receiver(limits).feed_many(durations, US) == events


@settings(max_examples=40)
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


@pytest.mark.parametrize("way", [edges_to_packets, durations_to_packets])
@given(durations_of_all_sorts(), some_limits(), seeded)
def test_single_changes_to_the_ns(
    way: Callable[[Limits, list[int]], tuple[list[list[PacketEvent]], list[PacketEvent]]],
    durations: list[int],
    limits: Limits,
    rng: random.Random,
) -> None:
    off = rng.choice((0, 400, 3000))
    halves = [max(0, US * duration + rng.randint(-off, off)) for duration in durations]
    exact = Exact(limits, 0)
    expected = [list(exact.feed(half)) for half in halves]
    assert way(limits, halves) == (expected, list(exact.finish()))
    assert Receiver(limits).feed_many(halves) == flat(expected)


@pytest.mark.parametrize("name", HOSTILE)
def test_what_no_station_sends(name: str) -> None:
    durations = HOSTILE[name](40_000)
    expected, rest = by_the_core(durations, RECEIVE)
    receiver = Receiver()
    assert receiver.feed_many(durations, US) == flat(expected)
    assert list(receiver.finish()) == rest


def _in_bulk(durations: list[int]) -> list[PacketEvent]:
    return Receiver().feed_many(array("L", durations), US)


def _by_edges(durations: list[int]) -> list[PacketEvent]:
    return flat(edges_to_packets(RECEIVE, [US * duration for duration in durations])[0])


def _by_durations(durations: list[int]) -> list[PacketEvent]:
    return flat(durations_to_packets(RECEIVE, [US * duration for duration in durations])[0])


@pytest.fixture
def fed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The half-bits that are fed to the core."""
    found: list[int] = []
    feed = core.Receiver.feed

    def noted(self: core.Receiver, duration: int) -> int:
        found.append(duration)
        return feed(self, duration)

    monkeypatch.setattr(core.Receiver, "feed", noted)
    return found


@pytest.mark.parametrize("way", [_in_bulk, _by_edges, _by_durations])
def test_the_core_is_seldom_needed(way: Callable[[list[int]], list[PacketEvent]], fed: list[int]) -> None:
    """Else the other ways would only be detours. One edge in a hundred is torn."""
    durations = torn(clean(100_000, 2))
    assert len(way(durations)) > 900
    assert len(fed) < len(durations) / 100


@pytest.mark.parametrize("way", [edges_to_packets, durations_to_packets])
@pytest.mark.parametrize("clock", [0.93, 1.05])
def test_a_clock_that_is_off_is_soon_known(
    clock: float, way: Callable[[Limits, list[int]], tuple[list[list[PacketEvent]], list[PacketEvent]]], fed: list[int]
) -> None:
    """Halves of ones that last 54 or 61 us in the middle are looked at first, then as plain as others.

    They are within what receivers must accept (S-9.1 A, table 1: 52 to 64 us).
    """
    rng = random.Random(1)
    halves = [round(US * duration * clock) + rng.randint(-1500, 1500) for duration in clean(100_000)]
    events = flat(way(RECEIVE, halves)[0])
    assert len(events) > 1000
    assert all(isinstance(event, Packet) for event in events)
    assert len(fed) < len(halves) / 50


def test_the_table_of_bytes_is_the_cores() -> None:
    """What stands in the table is what the core makes of these half-bits."""
    assert sorted(BYTES.values()) == list(range(256))
    for symbols, byte in BYTES.items():
        machine = RECEIVE.receiver_core()
        for duration in bit_durations([1] * 10):
            machine.feed(duration)
        answers = [machine.feed(58_000 if symbol == ord("1") else 100_000) for symbol in symbols]
        assert [answer for answer in answers if answer != core.MORE] == [core.START]
        assert machine.packets.state == core.MARK
        assert machine.packets.data[0] == byte


@given(st.lists(st.integers(0, 130), max_size=80), some_limits())
def test_symbols_doubt_where_neighbours_break_a_rule(counts: list[int], limits: Limits) -> None:
    """And only there: no two plain neighbours are too different as ones, or too long as zeros (S-9.1 A, table 1)."""
    symbols = Symbols(limits, US)
    row = row_of(counts)
    found = symbols.looked_at(symbols.at_sight(row), row)
    one, zero = limits.half_bits_core().one_max, limits.zero_min
    rules = limits.bits_core()
    for index, (first, last) in enumerate(zip(counts, counts[1:])):
        a, b = US * first, US * last
        ones = all(limits.one_min <= each <= one for each in (a, b))
        zeros = all(zero <= each <= limits.zero_max for each in (a, b))
        broken = (ones and abs(a - b) > rules.one_difference) or (zeros and a + b > rules.zero_total_max)
        if broken:
            assert DOUBT in found[index : index + 2]
    for index, symbol in enumerate(found):
        if symbol == DOUBT:
            near = [counts[i] for i in (index - 1, index + 1) if 0 <= i < len(counts)]
            assert any(symbols.apart(counts[index], other) for other in near)
