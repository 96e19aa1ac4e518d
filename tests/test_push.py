"""Single edges, where they once went wrong. That they go right everywhere else :mod:`tests.test_bulk` tries."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate

import pytest

from halfbit.account import Event
from halfbit.bulk_exact import Exact
from halfbit.edge import Edge, edges_from_durations
from halfbit.error import CaptureError, HalfbitError
from halfbit.fault import Cutout, Fault
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


@pytest.mark.parametrize("packet_max", [15, 28, 29, 255])
def test_more_ones_than_are_kept(packet_max: int) -> None:
    """With long packets the receiver itself keeps more than a thousand half-bits."""
    limits = Limits(packet_max=packet_max)
    halves = [*GOOD, *[58 * US] * 6001, *GOOD[1:]]
    decoder = StreamDecoder(limits)
    decoded = [one for edge in _edges(halves) for one in decoder.feed(edge)]
    assert _beneath([*decoded, *decoder.finish()]) == _by_the_core(halves, limits)
    assert len(decoded) == 2


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
    decoded += decoder.feed_many(edges[at + 5 * live :])
    with pytest.raises(StopIteration):
        feed(edges[-1])
    decoded += decoder.finish()
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


def test_a_subclass_has_its_own_say_at_each_edge() -> None:
    class Counted(StreamDecoder):
        edges = 0

        def feed(self, edge: Edge, /) -> tuple[Decoded, ...]:
            self.edges += 1
            return super().feed(edge)

    decoder = Counted()
    decoded = [one for edge in _edges(GOOD) for one in decoder.feed(edge)]
    assert decoder.edges == len(GOOD) + 1
    assert len(decoded) == 1


def test_after_an_error_the_decoder_is_as_before() -> None:
    edges = _edges(GOOD)
    decoder = StreamDecoder()
    for edge in edges[:50]:
        decoder.feed(edge)
    with pytest.raises(HalfbitError, match="before the one at"):
        decoder.feed(Edge(1, 0))
    assert len([one for edge in edges[50:] for one in decoder.feed(edge)]) == 1
