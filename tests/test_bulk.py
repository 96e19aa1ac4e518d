"""Every way through layers 2 to 4 gives the core's events, half-bit by half-bit, whatever comes in whatever pieces."""

from __future__ import annotations

import random
import re
from array import array
from collections.abc import Callable, Iterator, Sequence
from itertools import accumulate, pairwise
from typing import Any, TypeVar

import attrs
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from halfbit import core
from halfbit.account import Event
from halfbit.bit import bits
from halfbit.bulk_exact import Exact
from halfbit.bulk_row import PlaneRow, Row, joined, row_of, summed, total
from halfbit.bulk_symbols import DOUBT, Symbols
from halfbit.bulk_torn import BYTES
from halfbit.edge import Edge, edges_from_durations, edges_from_times
from halfbit.error import CaptureError, HalfbitError
from halfbit.half_bit import half_bits
from halfbit.instruction import InstructionMachine
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.fault import Cutout, Fault
from halfbit.packet import packets
from halfbit.packet_type import Packet
from halfbit.receive import Receiver
from halfbit.signal import bit_durations, packet_durations, with_error_byte
from halfbit.stream import Decoded, StreamDecoder, decode
from tests.benchmarks.speed_signals import HOSTILE, clean, torn
from tests.support import durations_to_packets, edges_to_packets

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


def _exactly(durations: Sequence[int], limits: Limits) -> tuple[list[list[Event]], list[Event]]:
    """By the core: what is complete with each half-bit, and what at the end."""
    exact = Exact(limits, 0)
    return [list(exact.feed(US * duration)) for duration in durations], list(exact.finish())


Some = TypeVar("Some")


def _flat(events: Sequence[Sequence[Some]]) -> list[Some]:
    return [event for some in events for event in some]


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_pieces_of_any_size_and_form(durations: list[int], limits: Limits, rng: random.Random) -> None:
    expected, rest = _exactly(durations, limits)
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
        assert got == _flat(expected[at : at + len(some)])
        at += len(some)
        assert receiver.now == US * sum(durations[:at])
    assert list(receiver.finish()) == rest


@given(durations_of_all_sorts(), some_limits())
def test_layer_by_layer(durations: list[int], limits: Limits) -> None:
    expected, rest = _exactly(durations, limits)
    edges = edges_from_durations(durations)
    assert list(packets(bits(half_bits(edges, limits), limits), limits)) == [*_flat(expected), *rest]


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
    expected, rest = _exactly(durations, limits)
    events = [*_flat(expected), *rest]
    assert [type(event) for event in events] == [Packet, Cutout if len(gap) == 3 else Fault, Packet]
    assert list(packets(bits(half_bits(edges_from_durations(durations), limits), limits), limits)) == events
    assert Receiver(limits).feed_many(durations, US) == events


@settings(max_examples=40)
@given(durations_of_all_sorts(), some_limits())
def test_sources_of_all_forms(durations: list[int], limits: Limits) -> None:
    expected = _instructions(*_exactly(durations, limits))
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


def _instructions(events: Sequence[Sequence[Event]], rest: Sequence[Event]) -> list[Decoded]:
    machine = InstructionMachine()
    return [decoded for event in (*_flat(events), *rest) for decoded in machine.feed(event)]


def _singly(durations: Sequence[int], limits: Limits) -> tuple[list[list[Decoded]], list[Decoded]]:
    machine = InstructionMachine()
    expected, rest = _exactly(durations, limits)
    each = [[decoded for event in some for decoded in machine.feed(event)] for some in expected]
    return each, [decoded for event in rest for decoded in machine.feed(event)]


def _mostly_clean(rng: random.Random) -> list[int]:
    durations = clean(84 * rng.randint(1, 6), 2, repeated=rng.random() < 0.5, seed=rng.randrange(1000))
    if rng.random() < 0.5:
        durations[rng.randrange(len(durations))] = rng.choice((0, 20, 58, 75, 100, 116))
    return durations


class _Mixed:
    """A decoder that is fed in all ways, with errors in between, which change nothing."""

    def __init__(self, durations: list[int], limits: Limits, rng: random.Random) -> None:
        self.rng = rng
        self.decoder = StreamDecoder(limits)
        self.halves = [US * duration for duration in durations]
        self.edges = [Edge(time, index % 2) for index, time in enumerate(accumulate(self.halves, initial=0))]
        self.expected, self.rest = _singly(durations, limits)
        self.at = 0
        self.owed: list[Decoded] = []  # complete, but not given because of an error
        self.wrong: list[str] = []  # fed in place of durations, not told yet
        assert self.decoder.feed(self.edges[0]) == ()
        self.feed, self.feed_duration = self.decoder.feed, self.decoder.feed_duration

    def take(self, got: Sequence[Decoded], count: int) -> None:
        """So many half-bits have been fed, and this has come out."""
        self.owe(count)
        assert list(got) == self.owed[: len(got)]
        del self.owed[: len(got)]
        # What is no duration counts like a half-bit until it is found: so long a packet's end is not seen in its place.
        assert self.wrong or not self.owed

    def owe(self, count: int) -> None:
        self.owed += _flat(self.expected[self.at : self.at + count])
        self.at += count

    def fail(self, error: HalfbitError, count: int) -> None:
        """So many half-bits have been fed, the last with an error about what is no duration."""
        assert _not_durations(error) == self.wrong
        self.wrong = []
        self.owe(count)

    def piece(self, count: int) -> None:
        piece = edges_from_durations(self.halves[self.at : self.at + count], "ns")
        self.take(self.decoder.feed_many(piece), count)

    def piece_and_error(self, count: int) -> None:
        """Some durations, then one that is negative, or a source that breaks."""

        def source() -> Iterator[int]:
            yield from self.halves[self.at : self.at + count]
            raise OSError

        some = [*self.halves[self.at : self.at + count], -1]
        edges = edges_from_durations(source() if self.rng.random() < 0.5 else some, "ns")
        with pytest.raises((CaptureError, OSError)):
            self.decoder.feed_many(edges)
        self.owe(count)

    def edge(self) -> None:
        edge = self.edges[self.at]
        if self.rng.random() < 0.01 and edge.time:
            with pytest.raises(HalfbitError, match="before the one at"):
                self.feed(attrs.evolve(edge, time=edge.time - 1))
            self.feed = self.decoder.feed
        self.take(self.feed(self.edges[self.at + 1]), 1)

    def duration(self) -> None:
        if self.rng.random() < 0.01:
            one: Any = self.rng.choice((-1, -58_000, 58_000.0, "58000", None))
            self.wrong.append(repr(one))
            self._one_duration(one, 0)
        self._one_duration(self.halves[self.at], 1)

    def _one_duration(self, number: int, count: int) -> None:
        try:
            got = self.feed_duration(number)
        except HalfbitError as error:
            self.fail(error, count)
            self.feed_duration = self.decoder.feed_duration
        else:
            self.take(got, count)

    def finish(self) -> None:
        if self.wrong:
            with pytest.raises(HalfbitError) as caught:
                self.decoder.finish()
            self.fail(caught.value, 0)
        assert list(self.decoder.finish()) == [*self.owed, *self.rest]
        with pytest.raises(HalfbitError, match="finished"):
            self.feed(self.edges[-1])
        with pytest.raises(HalfbitError, match="finished"):
            self.feed_duration(58_000)


def _not_durations(error: HalfbitError) -> list[str]:
    """The numbers that are none, as an error names them."""
    start = "no whole number of ns from 0 up: "
    assert str(error).startswith(start)
    return [re.sub(r" \(\d+ before the last\)$", "", one) for one in str(error).removeprefix(start).split(", ")]


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_all_ways_mixed_with_errors_in_between(durations: list[int], limits: Limits, rng: random.Random) -> None:
    if rng.random() < 0.6:
        durations, limits = _mostly_clean(rng), rng.choice((RECEIVE, TRANSMIT, limits))
    mixed = _Mixed(durations, limits, rng)
    while mixed.at < len(durations):
        count = min(rng.choice((1, 5, 84, 200)), len(durations) - mixed.at)
        if rng.random() < 0.5:
            rng.choice((mixed.piece, mixed.piece, mixed.piece_and_error))(count)
        else:
            single = rng.choice((mixed.edge, mixed.duration))
            for _ in range(count):
                single()
    mixed.finish()


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_numbers_that_are_no_durations(durations: list[int], limits: Limits, rng: random.Random) -> None:
    """Each is told, sooner or later, and that is all that comes of it."""
    if rng.random() < 0.6:
        durations = _mostly_clean(rng)
    expected, rest = _singly(durations, limits)
    wrong: list[Any] = [rng.choice((-1, -58_000, 58_000.0, "58000", None)) for _ in range(rng.randint(1, 4))]
    places = sorted(rng.randint(0, len(durations)) for _ in wrong)
    fed = [US * duration for duration in durations]
    for place, one in reversed(list(zip(places, wrong))):
        fed.insert(place, one)
    decoder = StreamDecoder(limits)
    got: list[Decoded] = []
    told: list[str] = []
    for one in fed:
        try:
            got += decoder.feed_duration(one)
        except HalfbitError as error:
            told += _not_durations(error)
    try:
        got += decoder.finish()
    except HalfbitError as error:
        told += _not_durations(error)
        got += decoder.finish()
    assert got == [*_flat(expected), *rest]
    assert told == list(map(repr, wrong))


@pytest.mark.parametrize("way", [edges_to_packets, durations_to_packets])
@given(durations_of_all_sorts(), some_limits(), seeded)
def test_single_changes_to_the_ns(
    way: Callable[[Limits, list[int]], tuple[list[list[Event]], list[Event]]],
    durations: list[int],
    limits: Limits,
    rng: random.Random,
) -> None:
    off = rng.choice((0, 400, 3000))
    halves = [max(0, US * duration + rng.randint(-off, off)) for duration in durations]
    exact = Exact(limits, 0)
    expected = [list(exact.feed(half)) for half in halves]
    assert way(limits, halves) == (expected, list(exact.finish()))
    assert Receiver(limits).feed_many(halves) == _flat(expected)


@pytest.mark.parametrize("name", HOSTILE)
def test_what_no_station_sends(name: str) -> None:
    durations = HOSTILE[name](40_000)
    expected, rest = _exactly(durations, RECEIVE)
    receiver = Receiver()
    assert receiver.feed_many(durations, US) == _flat(expected)
    assert list(receiver.finish()) == rest


def _in_bulk(durations: list[int]) -> list[Event]:
    return Receiver().feed_many(array("L", durations), US)


def _by_edges(durations: list[int]) -> list[Event]:
    return _flat(edges_to_packets(RECEIVE, [US * duration for duration in durations])[0])


def _by_durations(durations: list[int]) -> list[Event]:
    return _flat(durations_to_packets(RECEIVE, [US * duration for duration in durations])[0])


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
def test_the_core_is_seldom_needed(way: Callable[[list[int]], list[Event]], fed: list[int]) -> None:
    """Else the other ways would only be detours. One edge in a hundred is torn."""
    durations = torn(clean(100_000, 2))
    assert len(way(durations)) > 900
    assert len(fed) < len(durations) / 100


@pytest.mark.parametrize("way", [edges_to_packets, durations_to_packets])
@pytest.mark.parametrize("clock", [0.93, 1.05])
def test_a_clock_that_is_off_is_soon_known(
    clock: float, way: Callable[[Limits, list[int]], tuple[list[list[Event]], list[Event]]], fed: list[int]
) -> None:
    """Halves of ones that last 54 or 61 us in the middle are looked at first, then as plain as others.

    They are within what receivers must accept (S-9.1 A, table 1: 52 to 64 us).
    """
    rng = random.Random(1)
    halves = [round(US * duration * clock) + rng.randint(-1500, 1500) for duration in clean(100_000)]
    events = _flat(way(RECEIVE, halves)[0])
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


def _rows() -> Iterator[Row]:
    yield bytes(range(200)) * 3
    yield PlaneRow(bytes(1000), bytes((250 <= place < 600) + 7 * (place == 700) for place in range(1000)))
    yield [10**9, *range(600)]
    yield [*range(250, 700), 65_535]


def test_kinds_of_rows() -> None:
    assert isinstance(row_of([3, 255] * 300), bytes)
    assert isinstance(row_of([3, 256, 255, 0] * 300), PlaneRow)
    assert isinstance(row_of([300, 3] * 300), list)  # most of them above 255 would each be looked at
    assert isinstance(row_of([3, 65_536, 255, 0] * 300), list)


@pytest.mark.parametrize("row", tuple(_rows()), ids=["bytes", "some large", "list", "large, of two bytes"])
def test_rows_add_up(row: Row) -> None:
    values = list(row)
    assert values == [row[index] for index in range(len(row))]
    for start, stop in ((0, 0), (0, len(row)), (3, 200), (5, 261), (5, 262), (1, 520)):
        assert total(row, start, stop) == sum(values[start:stop])
    for other in _rows():
        assert list(joined(row, other)) == values + list(other)
    assert list(row[100:]) == values[100:]
    assert list(row_of(row)) == values


@pytest.mark.parametrize("form", "bBhHiIlLqQ")
def test_machine_integers_of_each_form(form: str) -> None:
    numbers = array(form, [1, 2, 127])
    assert summed(memoryview(numbers)) == (bytes([1, 2, 127]), 130)
    if form.islower():
        numbers.append(-1)
        assert summed(memoryview(numbers)) is None
    if numbers.itemsize > 2:
        assert summed(memoryview(array(form, [65_536]))) is None


def test_counts_that_are_no_text_are_counts_all_the_same() -> None:
    """Two-byte integers go through a decoder of text, which refuses some of them where they stand so."""
    for counts in ([58, 0xD800], [58, 0xDC00, 58], [0xD83D, 0xDE00, 58], [0xFEFF, 58], [58, 0xFFFE], [58, 255, 256], []):
        numbers = array("H", counts)
        for form in (numbers, memoryview(numbers), numbers.tolist()):
            assert list(row_of(form)) == counts
    every_other = memoryview(array("H", [58, 100, 59, 300, 60, 7]))[::2]
    assert list(row_of(every_other)) == [58, 59, 60]


def test_what_is_no_row_of_machine_integers() -> None:
    assert summed([1.0, 2]) is None
    assert summed(["1"]) is None
    assert summed([300, "1"]) is None
    assert summed([-1]) is None
    assert summed([1 << 70]) is None
    assert summed(memoryview(array("d", [1.0]))) is None
