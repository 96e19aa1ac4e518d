"""Captures that are hard to read, simulated, and how much of each a reading gets right.

Packets and their timing come from a seeded source, so each capture can be made again. A packet read
counts as right where it has the bytes of one sent and ends when that one does; every other is false.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import cache
from itertools import accumulate

import attrs

from halfbit.decision import receiver_for
from halfbit.simulate.distort import chatter, counted, cutout, jittered, one_edge, polled, spikes, stretched
from halfbit.edge import edges_from_durations
from halfbit.capture.filter import filtered
from halfbit.limits import Limits
from halfbit.event import Packet
from halfbit.simulate.signal import NOMINAL, Timing, bit_durations, packet_durations, with_error_byte
from halfbit.survey import Survey, survey

__all__ = ["CAPTURES", "TIMINGS", "Capture", "Result", "Sent", "sent", "single_halves"]

US = 1000

#: How stations time their bits: as the standard's nominal values (S-9.1 A, table 1), and as others may:
#: within what a station may send, with a clock half a percent slow, and with longer zeros.
TIMINGS = {
    "58/100": NOMINAL,
    "57.2/98": Timing(57_200, 57_200, 98_000, 98_000),
    "60/104": Timing(60_000, 60_000, 104_000, 104_000),
    "58/116": Timing(58_000, 58_000, 116_000, 116_000),
    "58.29/100.5": Timing(58_290, 58_290, 100_500, 100_500),
}


@attrs.frozen
class Sent:
    """What a station sent."""

    #: Durations of the half-bits, ns.
    durations: Sequence[int]
    packets: Sequence[bytes]
    #: When each packet's end bit ends, ns.
    ends: Sequence[int]
    #: The index of the change there.
    changes: Sequence[int]


@cache
def sent(packets: int, seed: int = 1, timing: Timing = NOMINAL) -> Sent:
    """Packets as a station in use sends them: idle, speed, functions, accessories; 14 to 17 one-bits before each."""
    rng = random.Random(seed)
    durations: list[int] = []
    data: list[bytes] = []
    changes: list[int] = []
    for _ in range(packets):
        kind = rng.choices(("idle", "speed", "long", "function", "accessory"), (25, 35, 10, 15, 15))[0]
        if kind == "idle":
            body = [255, 0]
        elif kind == "speed":
            body = [rng.randint(1, 127), 0x3F, rng.randint(0, 255)]
        elif kind == "long":
            body = [rng.randint(192, 231), rng.randint(0, 255), 0x3F, rng.randint(0, 255)]
        elif kind == "function":
            body = [rng.randint(192, 231), rng.randint(0, 255), 0x80 | rng.randint(0, 31)]
        else:
            body = [rng.randint(128, 191), 0x80 | rng.randint(0, 127)]
        data.append(with_error_byte(bytes(body)))
        durations += packet_durations(data[-1], rng.choice((14, 14, 16, 17)), timing)
        changes.append(len(durations))
    durations += bit_durations([1] * 16, timing)
    times = list(accumulate(durations, initial=0))
    return Sent(durations, data, [times[change] for change in changes], changes)


@attrs.frozen
class Capture:
    """A way to capture a signal, and limits made for it by hand."""

    name: str
    make: Callable[[Sent, random.Random], list[int]]
    #: The longest usual and unusual period of a loop, us; or the jitter of a one-edge capture, us.
    period: float = 0
    rare: float = 0
    jitter: float | None = None
    #: Changes closer together than this are taken out first, ns; 0 for none.
    filter: int = 0

    def durations(self, signal: Sent, seed: int = 2) -> list[int]:
        """What is captured, ns."""
        return self.make(signal, random.Random(seed))

    def by_sum(self) -> Limits:
        """Limits that decide by sum."""
        return attrs.evolve(Limits.for_sampling_period(max(self.period, 13)), decision="sum", recover=False)

    def by_sequence(self) -> Limits:
        """Limits that decide by sequence, for this way to capture."""
        if self.jitter is not None:
            return Limits.for_one_edge(self.jitter)
        return Limits(decision="sequence", latency_max=round(max(self.period, 6) * US), latency_rare=round(self.rare * US))


def single_halves() -> Limits:
    """Single halves against a threshold: one window up to 77 us, the other from there (common practice, no source)."""
    return Limits(one_min=1, one_max=77 * US, one_difference=None, zero_min=77 * US + 1)


def _polled(least: float, greatest: float, stall: int = 0) -> Callable[[Sent, random.Random], list[int]]:
    periods = (round(least * US), round(greatest * US))
    share = 1 / 500 if stall else 0.0
    return lambda signal, rng: polled(signal.durations, periods, rng, stall=stall * US, stall_share=share)


def _one_edge(phase: int, share: float = 0.0) -> Callable[[Sent, random.Random], list[int]]:
    def make(signal: Sent, rng: random.Random) -> list[int]:
        return one_edge(jittered(stretched(signal.durations, share, 2000 * US, rng), 3 * US, rng), phase)

    return make


def _noisy(signal: Sent, rng: random.Random) -> list[int]:
    """Noise at one crossing in twenty, up to 4 us long, and some ten spikes a second."""
    crossings = chatter(signal.durations, 0.05, 4 * US, rng, most=2)
    return spikes(crossings, 0.0007, (500, 4_900), rng)


def _cutouts(signal: Sent, rng: random.Random) -> list[int]:
    durations = list(signal.durations)
    for change in reversed(signal.changes):
        # Only the preamble behind it matters for where the cutout lies: cut there, cheaply.
        head, tail = durations[: change - 2], durations[change - 2 : change + 24]
        durations = [*head, *cutout(tail, 2), *durations[change + 24 :]]
    return durations


#: The captures, those for which there is a table.
CAPTURES = {
    capture.name: capture
    for capture in (
        Capture("clean", lambda signal, rng: list(signal.durations)),
        Capture("cutouts", _cutouts),
        Capture("timer of 1 us", lambda signal, rng: counted(jittered(signal.durations, 500, rng), US), period=2),
        Capture("jitter of 3 us", lambda signal, rng: jittered(signal.durations, 3 * US, rng), period=6),
        Capture("noise", _noisy, period=6, filter=5 * US),
        Capture("loop of 5 to 10 us", _polled(5, 10), period=10),
        Capture("loop of 20 to 30 us", _polled(20, 30), period=30),
        Capture("loop of 30 to 40 us", _polled(30, 40), period=40),
        Capture("loop of 35 to 42 us", _polled(35, 42), period=42),
        Capture("loop of 36 us", _polled(36, 36), period=36),
        Capture("loop of 40 to 50 us", _polled(40, 50), period=50),
        Capture("loop of 45 to 56 us", _polled(45, 56), period=56),
        Capture("loop of 30 to 36 us, one turn in 500 of 80 us", _polled(30, 36, 80), period=36, rare=80),
        Capture("rising edges only", _one_edge(0), jitter=3),
        Capture("falling edges only", _one_edge(1), jitter=3),
        Capture("rising edges only, one zero in twenty stretched", _one_edge(0, 0.05), jitter=3),
        Capture("falling edges only, one zero in twenty stretched", _one_edge(1, 0.05), jitter=3),
    )
}


@attrs.frozen
class Result:
    """What a reading of a capture got."""

    #: Share of the packets sent that were read right, 0 to 1.
    share: float
    #: Packets read that were not sent then.
    false: int


#: How far a packet's end may be from where it was sent, ns: half the shortest packet.
NEAR = 2_500 * US


def result(signal: Sent, durations: Sequence[int], limits: Limits, minimum: int = 0, stretching: int = 0) -> Result:
    """Read a capture.

    :param minimum: of a filter, ns.
    :param stretching: by how much stretched zeros may move packets, ns; then the order alone counts.
    """
    receiver = receiver_for(limits)
    events = []
    if minimum:
        for block, scale in filtered(edges_from_durations(durations, "ns"), minimum, "ns")._rows():
            events += receiver.feed_many(block, scale)
    else:
        events += receiver.feed_many(durations)
    events += receiver.finish()
    read = [event for event in events if isinstance(event, Packet)]
    right = false = 0
    at = 0
    for packet in read:
        found = _found(signal, packet, at, stretching)
        if found is None:
            false += 1
        else:
            right += 1
            at = found + 1
    return Result(right / len(signal.packets), false)


def _found(signal: Sent, packet: Packet, at: int, stretching: int) -> int | None:
    """Which packet sent from the one ``at`` on a packet read is."""
    first, last = at, min(at + 40, len(signal.packets))
    if not stretching:
        first = max(at, bisect_left(signal.ends, packet.end - NEAR))
        last = bisect_left(signal.ends, packet.end + NEAR)
    for index in range(first, last):
        if signal.packets[index] == packet.data:
            return index
    return None


def found_limits(durations: Sequence[int]) -> Survey:
    """The survey of a capture, as decoding with automatic limits makes it."""
    return survey(edges_from_durations(durations, "ns"), thorough=False)
