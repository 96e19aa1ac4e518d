"""The stream decoder fed in all ways in turn, with errors in between, copied and pickled on the way."""

from __future__ import annotations

import copy
import pickle
import random
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import Any

import attrs
import pytest
from hypothesis import given

from halfbit.edge import Edge, edges_from_durations
from halfbit.error import CaptureError, HalfbitError
from halfbit.instruction import Event
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.stream import StreamDecoder
from tests.support import flat
from tests.support_any import decoded_by_the_core, durations_of_all_sorts, mostly_clean, seeded, some_limits

US = 1000


class _Mixed:
    """A decoder that is fed in all ways. Errors in between change nothing."""

    def __init__(self, durations: list[int], limits: Limits, rng: random.Random) -> None:
        self.rng = rng
        self.decoder = StreamDecoder(limits)
        self.halves = [US * duration for duration in durations]
        self.edges = [Edge(time, index % 2) for index, time in enumerate(accumulate(self.halves, initial=0))]
        self.expected, self.rest = decoded_by_the_core(durations, limits)
        self.at = 0
        self.owed: list[Event] = []  # complete, but not given because of an error
        assert self.decoder.now is None
        assert self.decoder.feed(self.edges[0]) == ()

    def take(self, got: Sequence[Event], count: int) -> None:
        """``count`` half-bits have been fed, and this has come out."""
        self.owe(count)
        assert list(got) == self.owed
        self.owed = []
        assert self.decoder.now == self.edges[self.at].time

    def owe(self, count: int) -> None:
        self.owed += flat(self.expected[self.at : self.at + count])
        self.at += count

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
        if self.rng.random() < 0.02:
            wrong: Any = self.rng.choice((attrs.evolve(edge, time=edge.time - 1), 58, None))
            with pytest.raises(HalfbitError):
                self.decoder.feed(wrong)
        self.take(self.decoder.feed(self.edges[self.at + 1]), 1)

    def duration(self) -> None:
        if self.rng.random() < 0.02:
            wrong: Any = self.rng.choice((-1, -58_000, 58_000.0, "58000", None, True))
            with pytest.raises(HalfbitError):
                self.decoder.feed_duration(wrong)
        self.take(self.decoder.feed_duration(self.halves[self.at]), 1)

    def finish(self) -> None:
        assert list(self.decoder.finish()) == [*self.owed, *self.rest]
        with pytest.raises(HalfbitError, match="finished"):
            self.decoder.feed(self.edges[-1])
        with pytest.raises(HalfbitError, match="finished"):
            self.decoder.feed_duration(1)
        with pytest.raises(HalfbitError, match="finished"):
            self.decoder.finish()
        with pytest.raises(HalfbitError, match="finished"):
            self.decoder.feed_many([])


@given(durations_of_all_sorts(), some_limits(), seeded)
def test_all_ways_mixed_with_errors_in_between(durations: list[int], limits: Limits, rng: random.Random) -> None:
    if rng.random() < 0.6:
        durations, limits = mostly_clean(rng), rng.choice((RECEIVE, TRANSMIT, limits))
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
def test_a_copy_goes_on_from_where_it_was_made(durations: list[int], limits: Limits, rng: random.Random) -> None:
    """At any half-bit, in the middle of a packet too; the original is not changed by what the copy takes."""
    at = rng.randrange(len(durations) + 1)
    head, tail = ([US * duration for duration in part] for part in (durations[:at], durations[at:]))
    decoder = StreamDecoder(limits)
    for half in head:
        decoder.feed_duration(half)
    copies = [copy.deepcopy(decoder), pickle.loads(pickle.dumps(decoder))]
    rests = []
    for each in (*copies, decoder):
        rest = each.feed_many(edges_from_durations(tail, "ns"))
        rests.append([*rest, *each.finish()])
    assert rests[0] == rests[1] == rests[2]
