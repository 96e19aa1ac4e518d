"""What the benchmark measures: each way through the layers on a signal, and how long it may take."""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from functools import partial

import attrs

from halfbit.bit import bits
from halfbit.edge import edges_from_durations
from halfbit.half_bit import half_bits
from halfbit.packet import packets
from halfbit.receiver import HalvesReceiver
from halfbit.stream import StreamDecoder, decode

from .frame import Work
from .speed_signals import HOSTILE, stretched, torn, torn_packets, track

__all__ = ["ROWS", "Row"]

SCALE = 1000  # us to ns
WHOLE = 1 << 14  # how many durations an edge source gives at once


@attrs.frozen
class Row:
    """A way through the layers on a signal."""

    name: str
    #: Makes at least that many durations, us.
    signal: Callable[[int], list[int]]
    #: Takes the durations and gives the work that is timed. What comes before is not.
    prepare: Callable[[list[int]], Work]
    #: How many times as long as the plain loop it may take; ``None`` if it is measured for the page alone.
    mark: float | None


def _all(values: Iterable[object]) -> None:
    deque(values, maxlen=0)


def _pieces(size: int, durations: Sequence[int]) -> Work:
    """To packets, faults and cutouts, in pieces, which are made beforehand."""
    pieces = [durations[start : start + size] for start in range(0, len(durations), size)]

    def work() -> None:
        receiver = HalvesReceiver()
        for piece in pieces:
            receiver.feed_many(piece, SCALE)
        receiver.finish()

    return work


def _array(durations: list[int]) -> Work:
    return _pieces(WHOLE, array("H", durations))


def _edges(durations: list[int]) -> Work:
    edges = list(edges_from_durations(durations))

    def work() -> None:
        decoder = StreamDecoder()
        for edge in edges:
            decoder.feed(edge)
        decoder.finish()

    return work


def _durations(durations: list[int]) -> Work:
    halves = [SCALE * duration for duration in durations]

    def work() -> None:
        decoder = StreamDecoder()
        for half in halves:
            decoder.feed_duration(half)
        decoder.finish()

    return work


def _layers(durations: list[int]) -> Work:
    return lambda: _all(packets(bits(half_bits(edges_from_durations(durations)))))


def _instructions(durations: list[int]) -> Work:
    return lambda: _all(decode(edges_from_durations(durations)))


def _live(durations: list[int]) -> Work:
    return lambda: _all(decode(edges_from_durations(iter(durations))))


_whole = partial(_pieces, WHOLE)

ROWS = (
    Row("clean, a list", track, _whole, 1.5),
    Row("clean, an array", track, _array, 1.5),
    Row("clean, in pieces of 1000", track, partial(_pieces, 1000), 5),
    Row("clean, in pieces of 64", track, partial(_pieces, 64), 30),
    Row("zeros stretched", stretched, _whole, 5),
    Row("one packet in twenty torn", torn_packets, _whole, 5),
    Row("one half-bit in a hundred torn", lambda half_bits: torn(track(half_bits)), _whole, 30),
    # Of a signal of faults alone the core takes 21, and the plain loop half the time it takes of others.
    *(Row(name, signal, _whole, 30) for name, signal in HOSTILE.items()),
    Row("feed, an edge at a time, to instructions", track, _edges, 30),
    Row("feed_duration, to instructions", track, _durations, 30),
    Row("layer by layer, every half-bit and bit an object", track, _layers, 120),
    Row("decode, a list, to instructions", track, _instructions, None),
    Row("decode, an iterator, to instructions", track, _live, None),
)
