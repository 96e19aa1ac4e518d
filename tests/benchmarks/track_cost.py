"""What it takes to follow every address on a track: ``python -m tests.benchmarks.track_cost [PACKETS]``.

A simulated track of sixty vehicles and forty accessory decoders: speeds and functions change, CVs are written, everyone
stops, packets are torn. Times are processor time a packet, each measured in turn with decoding in the same process.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
import tracemalloc
from collections.abc import Iterator

import attrs

from halfbit import Fault, FaultKind, Packet, edges_from_durations
from halfbit.decoder import TrackState
from halfbit.instruction import InstructionMachine
from halfbit.simulate.signal import packet_durations, with_error_byte
from halfbit.stream import StreamDecoder

__all__ = ["Cost", "cost", "growth", "track"]

GAP = 6_500_000  # ns from one packet to the next, about that of a station


def bodies(number: int, seed: int = 1) -> Iterator[bytes]:
    """What a busy track carries, without error detection bytes; ``b""`` for a torn packet. Invented."""
    rng = random.Random(seed)
    vehicles = [bytes([n]) for n in range(3, 43)] + [bytes([0xC4, n]) for n in range(20)]
    state = {
        vehicle: [bytes([0x3F, 0x80 | rng.randrange(2, 128)]), bytes([0x90 | rng.randrange(16)]), bytes([0xB0])]
        for vehicle in vehicles
    }
    for index in range(number):
        vehicle = vehicles[index % len(vehicles)]
        draw = rng.random()
        if draw < 0.05:
            which = int(draw < 0.02)
            state[vehicle][which] = bytes([0x80 | rng.randrange(32)]) if which else bytes([0x3F, rng.randrange(256)])
        if draw > 0.995:
            yield bytes([0x80 | rng.randrange(10), 0xF8 | rng.randrange(8)])
        elif draw > 0.99:
            yield vehicle + bytes([0xEC, rng.randrange(2, 6), rng.randrange(4)])
        elif draw > 0.985:
            yield b""
        elif draw > 0.9848:
            yield bytes([0, 0x61])
        elif draw > 0.93:
            yield b"\xff\x00"
        else:
            yield vehicle + state[vehicle][index // len(vehicles) % 3]


def track(number: int, seed: int = 1) -> Iterator[Packet | Fault]:
    """The same as packets and faults, with times."""
    now = 0
    for body in bodies(number, seed):
        end = now + GAP
        yield (
            Packet(with_error_byte(body), 16, now, end) if body else Fault(FaultKind.UNEQUAL, now, end, now, 0, b"\x03")
        )
        now = end


@attrs.frozen
class Cost:
    """Medians over the rounds, us a packet."""

    decoding: float
    track_state: float


def cost(number: int, rounds: int) -> Cost:
    """Half-bits to events, then events to changes, in turn."""
    durations = [
        duration for body in bodies(number) for duration in packet_durations(with_error_byte(body or b"\x03\x74"), 16)
    ]
    machine = InstructionMachine()
    events = [event for packet in track(number) for event in machine.feed(packet)]
    edges = edges_from_durations(durations, "ns")
    taken: list[tuple[float, float]] = []
    for _ in range(rounds):
        decoder, state = StreamDecoder(), TrackState()
        start = time.process_time()
        decoder.feed_many(edges)
        between = time.process_time()
        for event in events:
            state.feed(event)
        taken.append((between - start, time.process_time() - between))
    micro = 1e6 / number
    return Cost(*(round(statistics.median(one) * micro, 2) for one in zip(*taken)))


def growth(number: int, parts: int = 10) -> list[int]:
    """Bytes that following a track holds after each part of it."""
    machine, state = InstructionMachine(), TrackState()
    held: list[int] = []
    tracemalloc.start()
    try:
        for index, packet in enumerate(track(number)):
            for event in machine.feed(packet):
                state.feed(event)
            if (index + 1) % (number // parts) == 0:
                held.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    return held


if __name__ == "__main__":
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 3_600_000
    print(cost(min(size, 20_000), 5))
    print("held after each tenth, KiB:", *(value // 1024 for value in growth(size)))
