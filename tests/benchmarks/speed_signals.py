"""The signals that speed is measured on, in whole us. All is set on an invented layout."""

from __future__ import annotations

import random
from collections.abc import Callable

from halfbit.simulate.signal import packet_durations, with_error_byte

__all__ = ["HOSTILE", "clean", "stretched", "torn", "torn_packets", "track"]

#: How many packets a track repeats.
REPEATED = 60


def clean(half_bits: int, jitter: int = 0, *, repeated: bool = False, seed: int = 1) -> list[int]:
    """At least that many half-bits: packets of three bytes behind preambles of 14, each half off by up to ``jitter`` us.

    :param repeated: sixty speed and function packets in turn; else the bytes of each are random.
    """
    rng = random.Random(seed)
    pool = [bytes((rng.randrange(1, 100), rng.randrange(64, 160))) for _ in range(REPEATED)]
    durations: list[int] = []
    sent = 0
    while len(durations) < half_bits:
        data = pool[sent % REPEATED] if repeated else bytes((rng.randrange(1, 100), rng.randrange(256)))
        sent += 1
        halves = packet_durations(with_error_byte(data))
        durations += [half // 1000 + rng.randint(-jitter, jitter) for half in halves]
    return durations


def track(half_bits: int) -> list[int]:
    """At least that many half-bits as a track sends them: packets in turn, measured to 2 us."""
    return clean(half_bits, 2, repeated=True)


def stretched(half_bits: int) -> list[int]:
    """Every zero-bit stretched, its halves by up to 900 us each."""
    rng = random.Random(4)
    return [duration if duration < 80 else rng.randint(95, 1000) for duration in track(half_bits)]


def torn_packets(half_bits: int) -> list[int]:
    """One packet in twenty has a half-bit of another length behind its preamble."""
    rng = random.Random(5)
    durations = track(half_bits)
    for start in range(0, len(durations), 20 * 84):  # a packet of these has 84 half-bits, its preamble 28
        durations[start + rng.randrange(28, 84)] = 75
    return durations


def torn(durations: list[int], share: float = 0.01, seed: int = 2) -> list[int]:
    """Such a share of the half-bits of another length, with an edge too many, or with one too few."""
    rng = random.Random(seed)
    out: list[int] = []
    for duration in durations:
        kind = rng.randrange(3) if rng.random() < share else None
        if kind == 0:
            out.append(rng.choice((0, 20, 75, 200)))
        elif kind == 1 and out:
            out[-1] += duration
        elif kind == 2:
            first = rng.randint(0, duration)
            out += [first, duration - first]
        else:
            out.append(duration)
    return out


def _random(half_bits: int) -> list[int]:
    rng = random.Random(3)
    return [rng.randint(1, 200) for _ in range(half_bits)]


#: What no station sends, each for a number of half-bits.
HOSTILE: dict[str, Callable[[int], list[int]]] = {
    "ones without end": lambda half_bits: [58] * half_bits,
    "zeros without end": lambda half_bits: [100] * half_bits,
    "halves of ones and zeros in turn": lambda half_bits: [58, 100] * (half_bits // 2),
    "random durations": _random,
    "every half-bit a fault": lambda half_bits: [75] * half_bits,
}
