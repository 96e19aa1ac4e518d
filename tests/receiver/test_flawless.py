"""Flawless packets: which rows of durations have them, and what still goes through the core."""

from __future__ import annotations

from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit import core
from halfbit.event import Packet
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.receiver import HalvesReceiver
from halfbit.receiver.flawless import ONE, REMEMBERED, UNSURE, ZERO, FlawlessPackets, Symbols
from halfbit.simulate.signal import packet_durations, with_error_byte
from tests.benchmarks.speed_signals import clean, stretched
from tests.support_any import some_limits

US = 1000
DATA = with_error_byte(b"\x37\x74")


def halves(data: bytes, preamble: int = 14) -> list[int]:
    """A packet's half-bits in us. Behind another packet its preamble has one one-bit more: that one's end bit."""
    return [half // US for half in packet_durations(data, preamble)]


def found(row: list[int], limits: Limits = RECEIVE, scale: int = US, at: int = 0) -> list[tuple[bytes, int, int, int]]:
    flawless = FlawlessPackets(limits)
    return list(flawless.packets(row, flawless.symbols(row, scale), at))


def test_symbols_of_the_standards_windows() -> None:
    """S-9.1 A, table 1: ones from 52 to 64 us, whose halves differ by 6 at most; zeros from 90 us."""
    symbols = FlawlessPackets(RECEIVE).symbols(list(range(256)), US)
    assert [us for us in range(256) if symbols[us] == ONE] == list(range(55, 62))
    assert [us for us in range(256) if symbols[us] == ZERO] == list(range(90, 256))
    assert set(symbols) == {ONE, ZERO, UNSURE}


def test_symbols_of_long_counts_are_those_of_short_ones() -> None:
    flawless = FlawlessPackets(RECEIVE)
    row = [0, 54, 55, 61, 62, 89, 90, 255, 10_000, 10_001]
    expected = bytes((UNSURE, UNSURE, ONE, ONE, UNSURE, UNSURE, ZERO, ZERO, ZERO, UNSURE))
    assert flawless.symbols(row, US) == expected
    assert flawless.symbols(row[:8], US) == expected[:8]
    assert flawless.symbols([US * count for count in row], 1) == expected
    assert flawless.symbols(row, US) == expected


def test_counts_below_256_need_one_table_alone() -> None:
    """Each other count is looked up by itself, which is slower."""
    flawless = FlawlessPackets(RECEIVE)
    flawless.symbols(list(range(256)), US)
    assert len(flawless._by_scale[US]) == 0
    flawless.symbols([58, 256, 257], US)
    assert set(flawless._by_scale[US]) == {58, 256, 257}


@given(some_limits(), st.data())
def test_any_two_halves_with_the_same_symbol_make_a_bit(limits: Limits, data: st.DataObject) -> None:
    symbols = Symbols(limits, 1)
    edges = [limits.one_min, limits.one_max, limits.zero_min, limits.zero_max, (limits.one_min + limits.one_max) // 2]
    near_an_edge = st.sampled_from(edges).flatmap(lambda at: st.integers(at - 4000, at + 4000))
    half = st.one_of(st.integers(0, 200_000), near_an_edge)
    first, last = data.draw(half), data.draw(half)
    if symbols[first] == symbols[last] != UNSURE:
        kind = core.ONE if symbols[first] == ONE else core.ZERO
        assert limits.half_bits_core().feed(first) == limits.half_bits_core().feed(last) == kind
        bits = limits.bits_core()
        assert [bits.feed(kind, first), bits.feed(kind, last)] == [core.MORE, kind]


def test_halves_that_may_fail_together_are_unsure() -> None:
    """Two halves of a zero of 100 us each may be too long together, and halves of ones may differ too much."""
    row = [57, 58, 59, 99, 100, 101]
    assert FlawlessPackets(Limits(zero_total_max=200 * US)).symbols(row, US) == b"11100?"
    assert FlawlessPackets(Limits(one_difference=0)).symbols(row, US) == b"?1?000"
    assert FlawlessPackets(Limits(one_difference=1000)).symbols(row, 1 * US) == b"?1?000"
    assert FlawlessPackets(Limits(one_difference=2000)).symbols(row, US) == b"111000"
    assert FlawlessPackets(Limits(one_difference=None)).symbols([51, 52, 64, 65], US) == b"?11?"


def test_few_symbols_are_remembered() -> None:
    symbols = Symbols(RECEIVE, 1)
    for count in range(3 * REMEMBERED):
        assert symbols[90_000 + count] == ZERO
        assert len(symbols) <= REMEMBERED
    assert len(symbols) == REMEMBERED


def test_a_packet_with_its_preamble_its_end_and_its_duration() -> None:
    row = halves(DATA) + halves(DATA, 20) + halves(b"\x01\x02\x03\x00")
    lengths = [len(halves(DATA)), len(halves(DATA, 20)), len(halves(b"\x01\x02\x03\x00"))]
    ends = [sum(lengths[: count + 1]) for count in range(3)]
    assert found(row) == [
        (DATA, 15, ends[0], sum(row[: ends[0]])),
        (DATA, 21, ends[1], sum(row[ends[0] : ends[1]])),
        (b"\x01\x02\x03\x00", 15, ends[2], sum(row[ends[1] :])),
    ]
    assert found([7, *row], at=1) == [(data, ones, end + 1, length) for data, ones, end, length in found(row)]


@pytest.mark.parametrize(
    ("row", "count"),
    [
        (halves(DATA, 9), 1),  # and the end bit of the packet before: ten (S-9.2 A)
        (halves(DATA, 8), 0),
        (halves(b"\x07\x07"), 0),  # a packet has three bytes or more
        (halves(with_error_byte(b"\x37\xf4")), 1),  # bytes that begin with a 1
        (halves(bytes(15)), 1),
        (halves(bytes(16)), 0),
        (halves(b"\x37\x74\x42"), 0),  # the error detection byte is wrong
        (halves(DATA)[:30] + [75] + halves(DATA)[31:], 0),
        (halves(DATA)[:31] + [75] + halves(DATA)[32:], 0),
        (halves(DATA)[:31] + [58] + halves(DATA)[32:], 0),  # the last half of a zero is a one's
    ],
)
def test_what_is_not_flawless_is_left_to_the_core(row: list[int], count: int) -> None:
    assert len(found(row)) == count
    after = halves(DATA)
    assert len(found([*after, *row, *after])) == (3 if count else 1)


@pytest.mark.parametrize("count", range(3, 16))
def test_a_packet_of_each_length_has_its_bytes(count: int) -> None:
    data = with_error_byte(bytes(range(200, 199 + count)))
    assert [packet[0] for packet in found(halves(data))] == [data]


def test_a_packet_is_taken_once_its_last_half_bit_is_there() -> None:
    row = halves(DATA) * 2
    assert [len(found(row[:end])) for end in (82, 83, 84, 166, 167, 168)] == [0, 0, 1, 1, 1, 2]


def test_bounds_of_the_limits() -> None:
    limits = Limits(preamble_min=12, packet_min=2, packet_max=3)
    assert [len(found(halves(DATA, ones), limits)) for ones in (10, 11)] == [0, 1]
    assert [len(found(halves(bytes(size)), limits)) for size in (1, 2, 3, 4)] == [0, 1, 1, 0]


def test_the_count_of_the_preamble_stops_where_the_core_s_does() -> None:
    for ones in (253, 254, 255, 300):
        (packet,) = found(halves(DATA, ones))
        assert packet[1] == min(ones + 1, core.COUNT_MAX)


@pytest.fixture
def fed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The half-bits that are fed to the core."""
    taken: list[int] = []
    feed = core.Receiver.feed

    def noted(self: core.Receiver, duration: int) -> int:
        taken.append(duration)
        return feed(self, duration)

    monkeypatch.setattr(core.Receiver, "feed", noted)
    return taken


@pytest.mark.parametrize("form", [list, lambda signal: array("L", signal)])
@pytest.mark.parametrize(
    "signal", [clean(50_000), clean(50_000, 3), stretched(50_000)], ids=["clean", "off", "stretched"]
)
def test_little_of_a_flawless_signal_goes_through_the_core(fed: list[int], signal: list[int], form: type) -> None:
    """Only the first packet, and packets across the end of a row. Otherwise the short way would save nothing."""
    events = HalvesReceiver().feed_many(form(signal), US)
    assert len(events) == len(signal) // 84 and all(isinstance(event, Packet) for event in events)
    assert len(fed) < 84 * (1 + 4)


def test_after_a_torn_packet_flawless_packets_are_found_again(fed: list[int]) -> None:
    """Only the torn packet and the one after it go through the core."""
    signal = clean(84 * 100)
    for torn in (20, 50, 80):
        signal[84 * torn + 40] = 75
    assert len(HalvesReceiver(TRANSMIT).feed_many(signal, US)) == 100
    assert len(fed) == 84 * (1 + 3 * 2)
