"""Single changes, where they once went wrong. :mod:`tests.test_bulk` and :mod:`tests.test_mixed` try them everywhere else."""

from __future__ import annotations

import re
import tracemalloc
from collections.abc import Callable, Iterator
from itertools import accumulate
from typing import Any

import pytest

from halfbit.receiver.ledger import PacketEvent
from halfbit.bulk_exact import Exact
from halfbit.edge import Edge, edges_from_durations
from halfbit.error import CaptureError, HalfbitError
from halfbit.event import Cutout, Fault, FaultKind
from halfbit.instruction import Instruction
from halfbit.limits import RECEIVE, Limits
from halfbit.receiver import Receiver
from halfbit.simulate.signal import packet_durations, with_error_byte
from halfbit.stream import Event, StreamDecoder
from tests.benchmarks.speed_signals import HOSTILE

US = 1000
DATA = with_error_byte(bytes([0x37, 0x74]))
GOOD = packet_durations(DATA)


def _edges(halves: list[int]) -> list[Edge]:
    return [Edge(time, index & 1) for index, time in enumerate(accumulate(halves, initial=0))]


def _beneath(decoded: list[Event]) -> list[PacketEvent]:
    events: list[PacketEvent] = []
    for one in decoded:
        event = one.packet if isinstance(one, Instruction) else one
        assert event is not None
        events.append(event)
    return events


def _by_the_core(halves: list[int], limits: Limits) -> list[PacketEvent]:
    exact = Exact(limits, 0)
    return [event for half in halves for event in exact.feed(half)] + list(exact.finish())


def _fed_edges(decoder: StreamDecoder, halves: list[int]) -> list[Event]:
    return [one for edge in _edges(halves) for one in decoder.feed(edge)]


def _fed_durations(decoder: StreamDecoder, halves: list[int]) -> list[Event]:
    return [one for half in halves for one in decoder.feed_duration(half)]


singly = pytest.mark.parametrize("fed", [_fed_edges, _fed_durations])
Fed = Callable[[StreamDecoder, list[int]], list[Event]]


@singly
@pytest.mark.parametrize("packet_max", [15, 28, 29, 255])
def test_more_ones_than_are_kept(packet_max: int, fed: Fed) -> None:
    """With long packets the receiver itself keeps more than a thousand half-bits."""
    limits = Limits(packet_max=packet_max)
    halves = [*GOOD, *[58 * US] * 6001, *GOOD[1:]]
    decoder = StreamDecoder(limits)
    decoded = fed(decoder, halves)
    assert _beneath([*decoded, *decoder.finish()]) == _by_the_core(halves, limits)
    assert len(decoded) == 2


@pytest.mark.parametrize("name", HOSTILE)
def test_memory_stays_flat_whatever_comes(name: str) -> None:
    """Of 100,000 half-bits kept, each would take eight bytes at least."""
    halves = [half * US for half in HOSTILE[name](100_000)]
    decoder = StreamDecoder()
    _fed_durations(decoder, halves[:10_000])
    tracemalloc.start()
    for half in halves:
        decoder.feed_duration(half)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 200_000


@singly
def test_a_byte_more_than_the_limits_allow(fed: Fed) -> None:
    halves = [*GOOD, *packet_durations(with_error_byte(bytes(15))), *GOOD]
    decoder = StreamDecoder()
    decoded = [*fed(decoder, halves), *decoder.finish()]
    assert _beneath(decoded) == _by_the_core(halves, RECEIVE)
    assert [one.kind for one in decoded if isinstance(one, Fault)] == [FaultKind.MANY_BYTES]


@pytest.mark.parametrize("at", range(170))
def test_a_piece_may_follow_wherever_single_durations_stop(at: int) -> None:
    halves = [*GOOD, *GOOD, *GOOD]
    decoder = StreamDecoder()
    decoded = _fed_durations(decoder, halves[:at])
    decoded += decoder.feed_many(edges_from_durations(halves[at : at + 2], "ns"))
    decoded += [*_fed_durations(decoder, halves[at + 2 :]), *decoder.finish()]
    assert _beneath(decoded) == _by_the_core(halves, RECEIVE)
    assert len(decoded) == 3


@pytest.mark.parametrize("at", range(84, 168))
def test_a_wrong_duration_is_told_when_the_packet_is_over_and_what_came_after_it_is_taken(at: int) -> None:
    halves = GOOD * 3
    decoder = StreamDecoder()
    decoded = _fed_durations(decoder, halves[:at])
    feed_duration = decoder.feed_duration
    late = -1
    with pytest.raises(HalfbitError) as caught:
        for half in [-58_000, *halves[at : 168 + 18]]:
            assert feed_duration(half) == ()
            late += 1
    late += 1
    place = f" ({late} before the last)" if late else ""
    assert str(caught.value) == f"no whole number of ns from 0 up: -58000{place}"
    with pytest.raises(StopIteration):
        feed_duration(58_000)
    decoded += [*_fed_durations(decoder, halves[at + late :]), *decoder.finish()]
    assert _beneath(decoded) == _by_the_core(halves, RECEIVE)


@pytest.mark.parametrize("wrong", [-1, 58_000.5, "58000", None])
@pytest.mark.parametrize("decision", ["halves", "sum", "sequence"])
def test_a_first_duration_that_is_none_does_not_start_the_signal(decision: str, wrong: Any) -> None:
    decoder = StreamDecoder(Limits(decision=decision))
    with pytest.raises(HalfbitError, match=f"^no whole number of ns from 0 up: {wrong!r}$"):
        decoder.feed_duration(wrong)
    edges = [Edge(10**12 + edge.time, edge.level) for edge in _edges(GOOD)]
    assert not [one for edge in edges[:-1] for one in decoder.feed(edge)]
    decoded = [*decoder.feed(edges[-1]), *decoder.finish()]
    assert [one.packet.start for one in decoded if isinstance(one, Instruction) and one.packet] == [10**12]


@pytest.mark.parametrize("decision", ["sum", "sequence"])
@pytest.mark.parametrize("wrong", [-1, 58_000.0, "58000", None])
def test_a_wrong_duration_is_told_at_once_where_halves_do_not_decide(decision: str, wrong: Any) -> None:
    decoder = StreamDecoder(Limits(decision=decision))
    decoded = _fed_durations(decoder, GOOD[:40])
    with pytest.raises(HalfbitError, match=f"^no whole number of ns from 0 up: {wrong!r}$"):
        decoder.feed_duration(wrong)
    decoded += [*_fed_durations(decoder, GOOD[40:]), *decoder.finish()]
    assert [one.packet.data for one in decoded if isinstance(one, Instruction) and one.packet] == [DATA]


@pytest.mark.parametrize("long", [6_000_001, 9_999_999, 10_000_000, 10_000_001, 12_000_000])
@pytest.mark.parametrize("at", [28, 29, 30, 45, 46, 47, 82])
def test_a_half_that_is_too_long_anywhere_in_a_packet(at: int, long: int) -> None:
    """The longest half of a zero-bit is 10,000 us (S-9.1 A, table 1)."""
    torn = [*GOOD[:at], long, *GOOD[at + 1 :]]
    for limits in (RECEIVE, Limits(zero_total_max=12_000_000)):
        halves = [*GOOD, *torn, *GOOD]
        decoder = StreamDecoder(limits)
        decoded = [*_fed_durations(decoder, halves), *decoder.finish()]
        assert _beneath(decoded) == _by_the_core(halves, limits)


GAP = "^an exception came in between: durations may be lost, or taken twice"


@pytest.mark.parametrize("what", [KeyboardInterrupt, TimeoutError])
@pytest.mark.parametrize("at", range(84, 168, 5))
def test_what_comes_in_between_is_told_once_for_durations_may_be_lost_by_it(at: int, what: type[BaseException]) -> None:
    """As a signal's handler raises it: wherever the program is."""
    halves = GOOD * 4
    decoder = StreamDecoder()
    decoded = _fed_durations(decoder, halves[:at])
    with pytest.raises(what):
        decoder._pushed["feed_duration"].throw(what())
    assert 0 <= sum(halves[:at]) - _now(decoder) <= sum(halves[at - 18 : at])
    with pytest.raises(HalfbitError, match=GAP + "$"):
        decoder.feed_many(edges_from_durations([58]))
    decoded += [*_fed_durations(decoder, halves[at:]), *decoder.finish()]
    data = [one.packet.data for one in decoded if isinstance(one, Instruction) and one.packet]
    assert data in ([DATA] * 3, [DATA] * 4)


def test_a_wrong_duration_is_told_with_what_came_in_between() -> None:
    decoder = StreamDecoder()
    wrong: Any = 58_000.0
    assert len(_fed_durations(decoder, [*GOOD, *GOOD[:3], wrong, *GOOD[3:33]])) == 1
    with pytest.raises(TimeoutError):
        decoder._pushed["feed_duration"].throw(TimeoutError())
    told = r"; no whole number of ns from 0 up: 58000.0 \(\d+ before the last\)$"
    with pytest.raises(HalfbitError, match=GAP + told):
        decoder.finish()
    decoder.finish()


def test_what_comes_while_the_receiver_takes_what_was_kept_is_told_too(monkeypatch: pytest.MonkeyPatch) -> None:
    decoder = StreamDecoder()
    decoded = _fed_durations(decoder, [*GOOD, *GOOD[:20]])
    with monkeypatch.context() as patched:
        patched.setattr(Receiver, "feed_many", _timed_out)
        with pytest.raises(TimeoutError):
            decoder.feed_many(edges_from_durations([58, 58]))
    with pytest.raises(HalfbitError, match=GAP):
        decoder.feed_duration(58_000)
    decoded += _fed_durations(decoder, GOOD)
    assert len(decoded) == 2


def _timed_out(*_: object) -> None:
    raise TimeoutError


def _now(decoder: StreamDecoder) -> int:
    assert decoder._receiver is not None
    return decoder._receiver.now


class _Index:
    """An integer that cannot be compared."""

    def __init__(self, value: int) -> None:
        self.value = value

    def __index__(self) -> int:
        return self.value


class _Int(int):
    pass


@pytest.mark.parametrize("kind", [_Index, _Int])
@pytest.mark.parametrize("at", range(84, 168, 7))
def test_other_integers_are_durations(at: int, kind: type) -> None:
    halves: list[Any] = GOOD * 3
    decoder = StreamDecoder()
    decoded = _fed_durations(decoder, [*halves[:at], kind(halves[at]), *halves[at + 1 :]])
    assert _beneath([*decoded, *decoder.finish()]) == _by_the_core(GOOD * 3, RECEIVE)


class _Strange:
    def __index__(self) -> int:
        raise OSError

    def __repr__(self) -> str:
        raise OSError


@pytest.mark.parametrize(
    ("wrong", "shown"),
    [(-(10**5000), "<int>|-1000"), (_Strange(), "<_Strange( |>)"), ("x" * 999, "'xxxx")],
    ids=["long", "strange", "text"],
)
@pytest.mark.parametrize("at", [90, 120, 140])
def test_a_wrong_number_of_any_sort_is_told_in_few_words(wrong: Any, shown: str, at: int) -> None:
    halves = GOOD * 3
    decoder = StreamDecoder()
    decoded: list[Event] = []
    told = []
    for half in [*halves[:at], wrong, *halves[at:]]:
        try:
            decoded += decoder.feed_duration(half)
        except HalfbitError as error:
            told.append(str(error))
    assert _beneath([*decoded, *decoder.finish()]) == _by_the_core(halves, RECEIVE)
    assert len(told) == 1
    assert re.match(f"no whole number of ns from 0 up: ({shown})", told[0])
    assert len(told[0]) < 120


def _interrupted() -> Iterator[Edge]:
    raise KeyboardInterrupt
    yield


def test_another_error_is_not_replaced_by_what_was_wrong_before() -> None:
    decoder = StreamDecoder()
    decoded = _fed_durations(decoder, [*GOOD, *GOOD[:40]])
    assert decoder.feed_duration(-5) == ()
    with pytest.raises(KeyboardInterrupt):
        decoder.feed_many(_interrupted())
    decoded += decoder.feed_many(edges_from_durations(GOOD[40:60], "ns"))
    with pytest.raises(HalfbitError, match="^no whole number of ns from 0 up: -5$"):
        decoder.feed_duration(GOOD[60])
    decoded += [*_fed_durations(decoder, GOOD[61:]), *decoder.finish()]
    assert _beneath(decoded) == _by_the_core(GOOD * 2, RECEIVE)


def test_what_an_error_holds_back_comes_before_what_a_kept_feed_gives() -> None:
    edges = _edges(GOOD * 4)
    decoder = StreamDecoder()
    decoded = [one for edge in edges[:85] for one in decoder.feed(edge)]
    feed = decoder.feed
    wrong: Any = 58_000.0
    with pytest.raises(HalfbitError):
        _fed_durations(decoder, [wrong, *GOOD])
    decoded += [one for edge in edges[169:] for one in feed(edge)]
    assert _beneath(decoded) == _by_the_core(GOOD * 4, RECEIVE)


@pytest.mark.parametrize("decision", ["sum", "sequence"])
def test_durations_where_halves_do_not_decide(decision: str) -> None:
    decoder = StreamDecoder(Limits(decision=decision))
    decoded = [*_fed_durations(decoder, GOOD * 3), *decoder.finish()]
    assert [one.packet.data for one in decoded if isinstance(one, Instruction) and one.packet] == [DATA] * 3


def test_what_an_error_completes_comes_out_with_the_next_call() -> None:
    """A number that is no integer is found where a packet's length is asked for; without it the packet is whole."""
    decoder = StreamDecoder()
    assert len(_fed_durations(decoder, GOOD)) == 1
    one: Any = 58_000.0
    assert not _fed_durations(decoder, [one, *GOOD[:-1]])
    with pytest.raises(HalfbitError, match=r"^no whole number of ns from 0 up: 58000.0 \(84 before the last\)$"):
        decoder.feed_duration(GOOD[-1])
    decoded = decoder.feed_duration(58_000)
    assert _beneath(list(decoded)) == _by_the_core(GOOD * 2, RECEIVE)[1:]


@pytest.mark.parametrize("last", [58_900, 52_000])
def test_ones_are_compared_to_the_ns_where_pieces_in_us_follow(last: int) -> None:
    """A one's half of 58.9 us and one of 52 us differ by 6.9: not of one bit (S-9.1 A, receiver: 6 us at most)."""
    limits = Limits(preamble_min=11)
    first = [*GOOD[:-1], last]
    second = [52 * US, *[58 * US] * 20, *GOOD[28:]]
    decoder = StreamDecoder(limits)
    decoded = [one for edge in _edges(first) for one in decoder.feed(edge)]
    decoded += decoder.feed_many(edges_from_durations([half // US for half in second]))
    decoded += decoder.finish()
    assert _beneath(decoded) == _by_the_core([*first, *second], limits)
    assert isinstance(decoded[-1], Fault) == (last == 58_900)


def _breaks(edges: list[Edge]) -> Iterator[Edge]:
    yield from edges
    raise OSError("unplugged")


@pytest.mark.parametrize("live", [False, True], ids=["wrong number", "source that breaks"])
@pytest.mark.parametrize("at", [100, 103, 168, 169, 200])
def test_an_error_elsewhere_loses_no_edge_of_a_feed_that_is_held(at: int, live: bool) -> None:
    edges = _edges([*GOOD, *GOOD, *GOOD, *GOOD])
    decoder = StreamDecoder()
    decoded = [one for edge in edges[:2] for one in decoder.feed(edge)]
    feed = decoder.feed
    decoded += [one for edge in edges[2:at] for one in feed(edge)]
    with pytest.raises(OSError if live else CaptureError, match="unplugged|item 0"):
        decoder.feed_many(_breaks(edges[at : at + 5]) if live else edges_from_durations([-1, 58]))
    decoded += decoder.feed_many(edges[at + 5 * live : -1])
    decoded += [*feed(edges[-1]), *decoder.finish()]
    assert _beneath(decoded) == _by_the_core(GOOD * 4, RECEIVE)
    assert not any(isinstance(one, (Fault, Cutout)) for one in decoded)


@pytest.mark.parametrize("at", range(84, 112))
def test_an_error_behind_a_sound_piece_loses_nothing_and_gives_nothing_twice(at: int) -> None:
    """In a preamble, between two bits and within one."""
    halves = GOOD * 3
    edges = _edges(halves)
    decoder = StreamDecoder()
    decoded = [one for edge in edges[: at + 1] for one in decoder.feed(edge)]
    with pytest.raises(CaptureError, match="item 1"):
        decoder.feed_many(edges_from_durations([halves[at] // US, -1]))
    decoded += decoder.feed_many(edges[at + 2 :])
    decoded += decoder.finish()
    assert _beneath(decoded) == _by_the_core(halves, RECEIVE)


def test_a_subclass_has_its_own_say_at_each_change() -> None:
    class Counted(StreamDecoder):
        changes = 0

        def feed(self, edge: Edge, /) -> tuple[Event, ...]:
            self.changes += 1
            return super().feed(edge)

        def feed_duration(self, duration: int, /) -> tuple[Event, ...]:
            self.changes += 1
            return super().feed_duration(duration)

    decoder = Counted()
    decoded = _fed_edges(decoder, GOOD)
    with pytest.raises(CaptureError):
        decoder.feed_many(edges_from_durations([*GOOD, -1], "ns"))
    decoded += _fed_durations(decoder, GOOD)
    assert decoder.changes == 2 * len(GOOD) + 1
    assert len(decoded) == 3


def test_after_an_error_the_decoder_is_as_before() -> None:
    edges = _edges(GOOD)
    decoder = StreamDecoder()
    for edge in edges[:50]:
        decoder.feed(edge)
    with pytest.raises(HalfbitError, match="before the one at"):
        decoder.feed(Edge(1, 0))
    assert len([one for edge in edges[50:] for one in decoder.feed(edge)]) == 1
