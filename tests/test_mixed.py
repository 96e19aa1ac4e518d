"""The stream decoder, fed in all ways in turn, with errors in between."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import Any

import attrs
import pytest
from hypothesis import given

from halfbit.edge import Edge, edges_from_durations
from halfbit.error import CaptureError, HalfbitError
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.stream import Event, StreamDecoder
from tests.support import flat
from tests.support_any import decoded_by_the_core, durations_of_all_sorts, mostly_clean, seeded, some_limits

US = 1000


class _Mixed:
    """A decoder that is fed in all ways, with errors in between, which change nothing."""

    def __init__(self, durations: list[int], limits: Limits, rng: random.Random) -> None:
        self.rng = rng
        self.decoder = StreamDecoder(limits)
        self.halves = [US * duration for duration in durations]
        self.edges = [Edge(time, index % 2) for index, time in enumerate(accumulate(self.halves, initial=0))]
        self.expected, self.rest = decoded_by_the_core(durations, limits)
        self.at = 0
        self.owed: list[Event] = []  # complete, but not given because of an error
        self.wrong: list[str] = []  # fed in place of durations, not told yet
        assert self.decoder.feed(self.edges[0]) == ()
        self.feed, self.feed_duration = self.decoder.feed, self.decoder.feed_duration

    def take(self, got: Sequence[Event], count: int) -> None:
        """So many half-bits have been fed, and this has come out."""
        self.owe(count)
        assert list(got) == self.owed[: len(got)]
        del self.owed[: len(got)]
        # What is no duration counts like a half-bit until it is found: so long a packet's end is not seen in its place.
        assert self.wrong or not self.owed

    def owe(self, count: int) -> None:
        self.owed += flat(self.expected[self.at : self.at + count])
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
def test_numbers_that_are_no_durations(durations: list[int], limits: Limits, rng: random.Random) -> None:
    """Each is told, sooner or later, and that is all that comes of it."""
    if rng.random() < 0.6:
        durations = mostly_clean(rng)
    expected, rest = decoded_by_the_core(durations, limits)
    wrong: list[Any] = [rng.choice((-1, -58_000, 58_000.0, "58000", None)) for _ in range(rng.randint(1, 4))]
    places = sorted(rng.randint(0, len(durations)) for _ in wrong)
    fed = [US * duration for duration in durations]
    for place, one in reversed(list(zip(places, wrong))):
        fed.insert(place, one)
    decoder = StreamDecoder(limits)
    got: list[Event] = []
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
    assert got == [*flat(expected), *rest]
    assert told == list(map(repr, wrong))
