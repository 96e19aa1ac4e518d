"""One way to run a case: every way there is, which must all give the same events.

A case is a list of durations, ns. It goes through the layers' iterators, their machines, the receiver and (in
:mod:`tests.test_stream`) the stream decoder; whole, one duration at a time, cut at random, at
either polarity, and with something after it. Where two ways differ the message holds a call that runs the case again.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import TypeVar

from hypothesis import settings

from halfbit.event import PacketEvent
from halfbit.bit import BitMachine, bits
from halfbit.edge import Edge, Edges
from halfbit.event import Fault
from halfbit.half_bit import HalfBitMachine, half_bits
from halfbit.limits import RECEIVE, Limits
from halfbit.packet import PacketMachine, packets
from halfbit.event import Packet
from halfbit.receiver import HalvesReceiver
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte

__all__ = [
    "TAILS",
    "bulk_durations",
    "chunks",
    "edges_of",
    "events_of",
    "examples",
    "faults_of",
    "flat",
    "packets_of",
    "seed_of",
    "show",
]

Some = TypeVar("Some")

#: What may follow a case: nothing of it may change what was complete before.
TAILS: dict[str, list[int]] = {
    "one-bits": bit_durations([1] * 24),
    "one half": [58_000],
    "a packet": packet_durations(with_error_byte(bytes([255, 0]))),
    "the end of a packet": bit_durations([0, 1, 1, 0, 0, 1, 0, 1]),
    "silence": [3_000_000_000],
    "a spike": [700, 57_300, 58_000],
}


def flat(events: Sequence[Sequence[Some]]) -> list[Some]:
    """Without the inner bounds."""
    return [event for some in events for event in some]


def examples(count: int) -> settings:
    """Settings for a slow property: the number of examples for a profile with 100, and in proportion for others."""
    profile = settings.default
    assert profile is not None
    return settings(max_examples=max(1, count * profile.max_examples // 100))


def seed_of(durations: Sequence[int]) -> int:
    """The seed with which a case is cut: the same case is cut the same way again."""
    return zlib.crc32(repr(list(durations)).encode())


def bulk_durations(edges: Edges) -> list[int]:
    """The durations that edges give as rows, in ns."""
    return [count * scale for counts, scale in edges._rows() for count in counts]


def chunks(durations: Sequence[int], rng: random.Random) -> Iterator[Sequence[int]]:
    """The durations cut at random, with empty pieces among them."""
    at = 0
    while at < len(durations):
        size = rng.choice((0, 1, 1, 2, 3, rng.randint(1, 40), rng.randint(1, 400)))
        yield durations[at : at + size]
        at += size


def edges_of(durations: Sequence[int], level: int = 1) -> list[Edge]:
    """The edges of a case, made here and not by the code under test."""
    times = accumulate(durations, initial=0)
    return [Edge(time, (level + index) % 2) for index, time in enumerate(times)]


def events_of(durations: Sequence[int], limits: Limits = RECEIVE, seed: int | None = None) -> list[PacketEvent]:
    """The events of a case, after having been seen to be the same every way.

    :param seed: with which it is cut; by default one that depends on the durations.
    """
    seed = seed_of(durations) if seed is None else seed
    durations = list(durations)
    whole = _whole(durations, limits)
    ways = {
        "one at a time": _singly(durations, limits),
        "in pieces": _in_pieces(durations, limits, random.Random(seed)),
        "in another scale": _scaled(durations, limits),
        "layer by layer, iterators": _iterators(durations, limits),
        "layer by layer, machines": _machines(edges_of(durations, level=0), limits),
    }
    for way, events in ways.items():
        assert events == whole, _differ(way, events, whole, durations, limits, seed)
    before = HalvesReceiver(limits).feed_many(durations)
    for name in random.Random(seed).sample(sorted(TAILS), 2):
        tail = TAILS[name]
        after = HalvesReceiver(limits).feed_many(durations + tail)[: len(before)]
        assert after == before, _differ(f"followed by {name}", after, before, durations, limits, seed)
    assert whole[: len(before)] == before, _differ(
        "not finished", before, whole, durations, limits, seed
    )
    return whole


def packets_of(durations: Sequence[int], limits: Limits = RECEIVE) -> list[bytes]:
    """The data of the packets of a case, every way the same."""
    return [event.data for event in events_of(durations, limits) if isinstance(event, Packet)]


def faults_of(durations: Sequence[int], limits: Limits = RECEIVE) -> list[Fault]:
    """The faults of a case, every way the same."""
    return [event for event in events_of(durations, limits) if isinstance(event, Fault)]


def _whole(durations: list[int], limits: Limits) -> list[PacketEvent]:
    receiver = HalvesReceiver(limits)
    return [*receiver.feed_many(durations), *receiver.finish()]


def _singly(durations: list[int], limits: Limits) -> list[PacketEvent]:
    receiver = HalvesReceiver(limits)
    events = [event for duration in durations for event in receiver.feed(duration)]
    return [*events, *receiver.finish()]


def _in_pieces(durations: list[int], limits: Limits, rng: random.Random) -> list[PacketEvent]:
    receiver = HalvesReceiver(limits)
    events: list[PacketEvent] = []
    for piece in chunks(durations, rng):
        if len(piece) == 1:
            events += receiver.feed(piece[0])
        else:
            events += receiver.feed_many(piece)
    return [*events, *receiver.finish()]


def _scaled(durations: list[int], limits: Limits) -> list[PacketEvent]:
    receiver = HalvesReceiver(limits)
    scale = 1000 if all(duration % 1000 == 0 for duration in durations) else 1
    events = receiver.feed_many([duration // scale for duration in durations], scale)
    return [*events, *receiver.finish()]


def _iterators(durations: list[int], limits: Limits) -> list[PacketEvent]:
    edges = iter(edges_of(durations))
    return list(packets(bits(half_bits(edges, limits), limits), limits))


def _machines(edges: list[Edge], limits: Limits) -> list[PacketEvent]:
    layer_2, layer_3, layer_4 = HalfBitMachine(limits), BitMachine(limits), PacketMachine(limits)
    events: list[PacketEvent] = []
    for edge in edges:
        for half in layer_2.feed(edge):
            for bit in layer_3.feed(half):
                events += layer_4.feed(bit)
    for half in layer_2.finish():
        for bit in layer_3.feed(half):
            events += layer_4.feed(bit)
    for bit in layer_3.finish():
        events += layer_4.feed(bit)
    return [*events, *layer_4.finish()]


def show(events: Sequence[object]) -> str:
    """Events, a line each."""
    return "\n".join(f"    {event!r}" for event in events) or "    none"


def _differ(
    way: str,
    events: Sequence[object],
    whole: Sequence[object],
    durations: list[int],
    limits: Limits,
    seed: int,
) -> str:
    return (
        f"{way}, the events are\n{show(events)}\n  but whole they are\n{show(whole)}\n"
        f"  Run it again: tests.support.events_of({durations}, {limits}, seed={seed})"
    )
