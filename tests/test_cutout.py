"""Cutouts of bi-directional communication after every packet (S-9.3.2, RCN-217, from memory), seen every way."""

from __future__ import annotations

import io
import random
from collections.abc import Sequence
from itertools import accumulate, pairwise

import attrs
import pytest

from halfbit.capture import open_capture
from halfbit.simulate.distort import cutout, jittered
from halfbit.edge import Edges, edges_from_durations
from halfbit.capture.filter import filtered
from halfbit.event import Cutout, Fault, Packet
from halfbit.instruction import Instruction
from halfbit.ledger import CUTOUT_MAX, CUTOUT_MIN
from halfbit.limits import RECEIVE, US, Limits
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte
from halfbit.stream import decode
from tests.support import events_of

COUNT = 40
DATA = bytes.fromhex("377443")


def track(rng: random.Random, count: int = COUNT) -> tuple[list[bytes], list[int], list[int]]:
    """Packets, their half-bits, and which change ends each packet."""
    packets, ends = [], []
    durations = bit_durations([1] * 6)
    for _ in range(count):
        data = with_error_byte(bytes(rng.randrange(1, 100) for _ in range(rng.randint(2, 5))))
        packets.append(data)
        # Of the preamble's one-bits the cutout takes four or five; a decoder must have ten (S-9.2 A).
        durations += packet_durations(data, rng.randint(16, 20))
        ends.append(len(durations))
    return packets, durations + bit_durations([1] * 20), ends


def check(edges: Edges, packets: Sequence[bytes], limits: Limits = RECEIVE) -> list[Cutout]:
    """Each packet is decoded, and behind each lies a cutout; nothing is lost."""
    events = list(decode(edges, limits))
    found = {id(event.packet): event.packet for event in events if isinstance(event, Instruction)}
    assert [packet.data for packet in found.values() if packet is not None] == list(packets)
    cutouts = [event for event in events if isinstance(event, Cutout)]
    ends = [packet.end for packet in found.values() if packet is not None]
    assert [cutout.start for cutout in cutouts] == ends
    assert [event for event in events if isinstance(event, Fault)] == []
    return cutouts


@pytest.mark.parametrize("resume", [None, 8, 10], ids=["bits run on", "fifth bit", "sixth bit"])
@pytest.mark.parametrize("opposite", [True, False])
@pytest.mark.parametrize("polarity", [0, 1])
@pytest.mark.parametrize("most", [0, 1_000], ids=["ideal", "jitter"])
def test_one_rail(resume: int | None, opposite: bool, polarity: int, most: int) -> None:
    rng = random.Random(11)
    packets, durations, ends = track(rng)
    for end in reversed(ends):  # from the last on, so that the changes before keep their numbers
        begin, until = rng.randint(26, 32) * US, rng.randint(454, 488) * US
        durations = cutout(durations, end, opposite=opposite, begin=begin, end=until, resume=resume)
    edges = edges_from_durations(jittered(durations, most, rng), "ns", level=polarity)
    cutouts = check(edges, packets)
    for seen in cutouts:
        # Up to the end of the bit in which the cutout ends.
        assert 454 * US - 2 * most <= seen.end - seen.start <= (488 + 116) * US + 2 * most


@pytest.mark.parametrize("resume", [None, 8, 10], ids=["bits run on", "fifth bit", "sixth bit"])
@pytest.mark.parametrize("opposite", [True, False])
@pytest.mark.parametrize("decision", ["sum", "sequence"])
def test_by_other_decisions(decision: str, opposite: bool, resume: int | None) -> None:
    rng = random.Random(12)
    packets, durations, ends = track(rng)
    for end in reversed(ends):
        begin, until = rng.randint(26, 32) * US, rng.randint(454, 488) * US
        durations = cutout(durations, end, opposite=opposite, begin=begin, end=until, resume=resume)
    check(edges_from_durations(durations, "ns"), packets, Limits(decision=decision))


@attrs.frozen
class Rails:
    """Both rails of a track with cutouts: what each has between one time and the next, ns."""

    times: list[int]
    first: list[int]
    second: list[int]


def rails(durations: Sequence[int], ends: Sequence[int], shorted: int, rng: random.Random) -> Rails:
    """The station's bits run on beneath the cutouts, in which both rails are at the level ``shorted``."""
    changes = list(accumulate(durations, initial=100 * US))
    spans = [(changes[end] + rng.randint(26, 32) * US, changes[end] + rng.randint(454, 488) * US) for end in ends]
    marks = sorted({0, *changes, *(time for span in spans for time in span)})
    found = Rails([], [], [])
    level = 0
    at = 0
    for time in marks:
        while at < len(changes) and changes[at] <= time:
            level, at = 1 - level, at + 1
        out = any(start <= time < stop for start, stop in spans)
        found.times.append(time)
        found.first.append(shorted if out else level)
        found.second.append(shorted if out else 1 - level)
    return found


def durations_of(times: Sequence[int], levels: Sequence[int]) -> list[int]:
    changes = [time for time, before, now in zip(times[1:], levels, levels[1:]) if before != now]
    return [later - earlier for earlier, later in pairwise(changes)]


@pytest.mark.parametrize("shorted", [0, 1])
@pytest.mark.parametrize("rail", ["first", "second"])
def test_each_rail_of_a_model(shorted: int, rail: str) -> None:
    rng = random.Random(5)
    packets, durations, ends = track(rng)
    both = rails(durations, ends, shorted, rng)
    check(edges_from_durations(durations_of(both.times, getattr(both, rail)), "ns"), packets)


@pytest.mark.parametrize("shorted", [0, 1])
@pytest.mark.parametrize("order", ["ab", "ba"])
def test_difference_of_the_rails_as_levels(shorted: int, order: str) -> None:
    rng = random.Random(6)
    packets, durations, ends = track(rng)
    both = rails(durations, ends, shorted, rng)
    rows = "".join(f"{time},{a},{b}\n" for time, a, b in zip(both.times, both.first, both.second))
    stream = io.BytesIO(b"time [ns],a,b\n" + rows.encode())
    check(open_capture(stream, format="csv", level_column=order[0], other_rail=order[1]), packets)


@pytest.mark.parametrize("offset", [-1.0, 0.0, 1.0])
def test_difference_of_the_rails_in_volts(offset: float) -> None:
    # Three values: 14 V, -14 V and, while the rails are shorted, nearly none.
    rng = random.Random(7)
    packets, durations, ends = track(rng, 12)
    both = rails(durations, ends, 0, rng)
    changes = iter(zip(both.times, both.first, both.second))
    rows = []
    time, a, b = next(changes)
    upcoming = next(changes, None)
    for at in range(0, both.times[-1] + 50 * US, 2 * US):
        while upcoming is not None and upcoming[0] <= at:
            time, a, b = upcoming
            upcoming = next(changes, None)
        rows.append(f"{at / 1000},{14 * a + offset + rng.uniform(-0.5, 0.5):.2f},{14 * b:.2f}\n")
    stream = io.BytesIO(b"time [us],a,b\n" + "".join(rows).encode())
    check(open_capture(stream, format="volts", level_column="a", other_rail="b"), packets)


def test_behind_the_filter() -> None:
    rng = random.Random(8)
    packets, durations, ends = track(rng)
    for end in reversed(ends):
        durations = cutout(durations, end)
    source = filtered(edges_from_durations(durations, "ns"), 5)
    check(source, packets)
    assert source.removed.changes == 0


@pytest.mark.parametrize("after", [CUTOUT_MIN, 470 * US, CUTOUT_MAX])
@pytest.mark.parametrize("preamble", [12, 14])
def test_a_cutout_that_runs_into_the_end_bit(after: int, preamble: int) -> None:
    """The end bit's last half and the cutout show as one duration (S-9.3.2, RCN-217, from memory): the packet is whole."""
    good = packet_durations(DATA)
    signal = [*good, *good[:-1], 58 * US + after, *packet_durations(DATA, preamble)]
    first, packet, cutout, last = events_of(signal)
    ends = sum(good) + sum(good[:-1])
    assert packet == Packet(DATA, 15, sum(good), ends)  # the end bit before counts (S-9.2 A)
    assert cutout == Cutout(ends, ends + 58 * US + after)
    assert last == Packet(DATA, preamble, ends + 58 * US + after, sum(signal))


@pytest.mark.parametrize("long", [100 * US, 400 * US, 700 * US, 9_000 * US])
def test_another_long_half_does_not_end_a_packet(long: int) -> None:
    good = packet_durations(DATA)
    signal = [*good, *good[:-1], long, *good]
    assert [type(event) for event in events_of(signal)] == [Packet, Fault, Packet]


def test_a_long_half_later_does_not_end_a_packet() -> None:
    good = packet_durations(DATA)
    signal = [*good, *good[:-1], 100 * US, 100 * US, 528 * US, *good]
    assert [type(event) for event in events_of(signal)] == [Packet, Fault, Packet]


def test_a_wrong_error_byte_is_not_completed_by_a_cutout() -> None:
    good, wrong = packet_durations(DATA), packet_durations(DATA[:-1] + b"\x00")
    signal = [*good, *wrong[:-1], 528 * US, *good]
    assert [type(event) for event in events_of(signal)] == [Packet, Fault, Packet]
