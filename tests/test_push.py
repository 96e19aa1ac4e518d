"""Single changes, where they once went wrong. That they go right everywhere else :mod:`tests.test_bulk` tries."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import accumulate
from typing import Any

import pytest

from halfbit.account import Event
from halfbit.bulk_exact import Exact
from halfbit.edge import Edge, edges_from_durations
from halfbit.error import CaptureError, HalfbitError
from halfbit.fault import Cutout, Fault, FaultKind
from halfbit.instruction import Instruction
from halfbit.limits import RECEIVE, Limits
from halfbit.signal import packet_durations, with_error_byte
from halfbit.stream import Decoded, StreamDecoder

US = 1000
DATA = with_error_byte(bytes([0x37, 0x74]))
GOOD = packet_durations(DATA)


def _edges(halves: list[int]) -> list[Edge]:
    return [Edge(time, index & 1) for index, time in enumerate(accumulate(halves, initial=0))]


def _beneath(decoded: list[Decoded]) -> list[Event]:
    events: list[Event] = []
    for one in decoded:
        event = one.packet if isinstance(one, Instruction) else one
        assert event is not None
        events.append(event)
    return events


def _by_the_core(halves: list[int], limits: Limits) -> list[Event]:
    exact = Exact(limits, 0)
    return [event for half in halves for event in exact.feed(half)] + list(exact.finish())


def _fed_edges(decoder: StreamDecoder, halves: list[int]) -> list[Decoded]:
    return [one for edge in _edges(halves) for one in decoder.feed(edge)]


def _fed_durations(decoder: StreamDecoder, halves: list[int]) -> list[Decoded]:
    return [one for half in halves for one in decoder.feed_duration(half)]


singly = pytest.mark.parametrize("fed", [_fed_edges, _fed_durations])
Fed = Callable[[StreamDecoder, list[int]], list[Decoded]]


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
    assert str(caught.value) == f"no whole numbers of ns from 0 up: -58000, {late} before the last"
    with pytest.raises(StopIteration):
        feed_duration(58_000)
    decoded += [*_fed_durations(decoder, halves[at + late :]), *decoder.finish()]
    assert _beneath(decoded) == _by_the_core(halves, RECEIVE)


@pytest.mark.parametrize("decision", ["halves", "sum", "sequence"])
def test_a_wrong_duration_is_told_at_once_where_no_packet_has_begun(decision: str) -> None:
    decoder = StreamDecoder(Limits(decision=decision))
    decoder.feed_duration(58_000)
    with pytest.raises(HalfbitError, match="^no whole numbers of ns from 0 up: -1"):
        decoder.feed_duration(-1)
    assert decoder.feed_duration(58_000) == ()


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
    with pytest.raises(HalfbitError, match="^no whole numbers of ns from 0 up: 58000.0, 84 before the last$"):
        decoder.feed_duration(GOOD[-1])
    decoded = decoder.feed_duration(58_000)
    assert _beneath(list(decoded)) == _by_the_core(GOOD * 2, RECEIVE)[1:]
