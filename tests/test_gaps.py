"""Gaps in a signal: lost contact, no power, other protocols (S-9.2 C allows the last two between packets)."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import accumulate

import pytest

from halfbit.simulate.distort import foreign, inserted
from halfbit.event import Fault, FaultKind
from halfbit.limits import US
from halfbit.event import Packet
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte

from .support import events_of

MS = 1000 * US

Gap = Callable[[random.Random], list[int]]

GAPS: dict[str, Gap] = {
    "no power for 20 ms": lambda rng: [20 * MS],
    "no power for 3 s": lambda rng: [3_000 * MS],
    "contact lost and found again": lambda rng: [11 * MS, 300 * US, 40 * MS, 2 * US, 15 * MS],
    "another protocol for 10 ms": lambda rng: foreign(10 * MS, rng),
    "another protocol for 200 ms": lambda rng: foreign(200 * MS, rng),
    "another protocol, slow": lambda rng: foreign(50 * MS, rng, pulses=(150 * US, 900 * US)),
    "another protocol, fast": lambda rng: foreign(5 * MS, rng, pulses=(5 * US, 45 * US)),
    "no power, then another protocol": lambda rng: [400 * MS, *foreign(30 * MS, rng), 70 * MS],
    "one change too many": lambda rng: [12 * US],
}


def track(rng: random.Random, count: int = 8) -> tuple[list[bytes], list[int], list[int]]:
    """Packets, their half-bits, and which change ends each."""
    packets, ends = [], []
    durations: list[int] = []
    for _ in range(count):
        packets.append(with_error_byte(bytes(rng.randrange(1, 100) for _ in range(rng.randint(2, 4)))))
        durations += packet_durations(packets[-1], rng.randint(14, 18))
        ends.append(len(durations))
    return packets, durations + bit_durations([1] * 12), ends


@pytest.mark.parametrize("name", GAPS)
@pytest.mark.parametrize("seed", range(4))
def test_gap_between_packets_is_one_fault_and_costs_none(name: str, seed: int) -> None:
    rng = random.Random(seed)
    packets, durations, ends = track(rng)
    place = 3
    gap = GAPS[name](rng)
    torn = inserted(durations, ends[place], gap)
    changes = list(accumulate(torn, initial=0))
    events = events_of(torn)
    assert [event.data for event in events if isinstance(event, Packet)] == packets
    (fault,) = (event for event in events if not isinstance(event, Packet))
    assert isinstance(fault, Fault)
    # From the end of the packet before, or where the first wrong half-bit is, to the next preamble.
    start, end = changes[ends[place]], changes[ends[place] + len(gap)]
    assert start <= fault.start <= end
    assert end - 64 * US <= fault.end <= end + 2 * 64 * US
    assert events.index(fault) == place + 1


@pytest.mark.parametrize("name", GAPS)
@pytest.mark.parametrize("seed", range(4))
def test_gap_inside_a_packet_costs_only_that_one(name: str, seed: int) -> None:
    rng = random.Random(seed)
    packets, durations, ends = track(rng)
    place = 3
    # Behind the preamble, before the end bit, and at a change: a half-bit more or less.
    at = rng.randint(ends[place - 1] + 2 * 18 + 2, ends[place] - 4)
    torn = inserted(durations, at, GAPS[name](rng))
    events = events_of(torn)
    assert [event.data for event in events if isinstance(event, Packet)] == packets[:place] + packets[place + 1 :]
    (fault,) = (event for event in events if not isinstance(event, Packet))
    assert isinstance(fault, Fault)
    changes = list(accumulate(durations, initial=0))
    assert fault.start == changes[ends[place - 1]]
    complete = (at - (ends[place] - 2 * (9 * len(packets[place]) + 1))) // 18  # bytes before the gap
    assert fault.data.startswith(packets[place][:complete])


def test_each_gap_of_many_is_one_fault() -> None:
    rng = random.Random(9)
    packets, durations, ends = track(rng, 40)
    for end in reversed(ends[:-1]):
        durations = inserted(durations, end, rng.choice(list(GAPS.values()))(rng))
    events = events_of(durations)
    assert [event.data for event in events if isinstance(event, Packet)] == packets
    assert [isinstance(event, Fault) for event in events] == [False, True] * 39 + [False]


def test_silence_is_a_half_bit_longer_than_any() -> None:
    packets, durations, ends = track(random.Random(1))
    torn = inserted(durations, ends[2], [3_000 * MS])
    (fault,) = (event for event in events_of(torn) if isinstance(event, Fault))
    assert (fault.kind, fault.detail, fault.count) == (FaultKind.LONG, 3_000 * MS, 1)
    assert fault.end - fault.start == 3_000 * MS
