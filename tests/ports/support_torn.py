"""Random signals of every kind, from sound to rubbish, from a seed: durations in ticks."""

from __future__ import annotations

import random
from collections.abc import Iterator

from halfbit.simulate.signal import Timing, packet_durations, with_error_byte

__all__ = ["clean_signal", "ones_signal", "torn_signal"]

US = 1000

#: Durations at, and just beyond, each bound (S-9.1 A, table 1), and others that fit no half-bit, us.
ODD = (0, 1, 29, 51, 52, 53, 57, 63, 64, 65, 66, 70, 77, 89, 90, 91, 100, 200, 9999, 10000, 10001, 20000, 65535, 65536,
       65594, 131172, 2**31, 2**32 - 53, 2**32 - 52, 2**32 - 1)  # fmt: skip


def clean_signal(rng: random.Random, packets: int) -> list[int]:
    """Packets of 3 to 6 bytes, nominal times, as close together as S-9.2 allows; us."""
    durations: list[int] = []
    for _ in range(packets):
        data = bytes(rng.randrange(256) for _ in range(rng.randint(2, 5)))
        durations += packet_durations(with_error_byte(data), rng.choice((14, 14, 14, 16, 20)))
    return [duration // US for duration in durations]


def _piece(rng: random.Random) -> list[int]:
    first = rng.choice((58, 58, 58, 52, 55, 61, 64)) * US
    last = min(64 * US, max(52 * US, first + rng.choice((0, 0, 1, -1, 6, -6)) * US))
    zero = rng.choice((100, 100, 90, 116, 9900)) * US
    timing = Timing(first, last, zero, rng.choice((zero, 100 * US)))
    data = bytes(rng.choice((0, 255, 127, 128, rng.randrange(256))) for _ in range(rng.choice((2, 2, 3, 5, rng.randrange(16)))))
    data = with_error_byte(data) if rng.random() < 0.9 else data
    preamble = rng.choice((0, 5, 9, 10, 10, 11, 12, 14, 14, 20, rng.randrange(300)))
    return [duration // US for duration in packet_durations(data, preamble, timing)]


def _tear(piece: list[int], rng: random.Random) -> list[int]:
    at = rng.randrange(len(piece))
    kind = rng.randrange(8)
    if kind == 0:  # an edge lost
        return [*piece[:at], sum(piece[at : at + 2]), *piece[at + 2 :]]
    if kind == 1:  # an edge too many
        part = rng.randint(0, piece[at])
        return [*piece[:at], part, piece[at] - part, *piece[at + 1 :]]
    if kind == 2:  # a half-bit lost: the pairs are one off from here
        return [*piece[:at], *piece[at + 1 :]]
    if kind == 3:  # a half-bit too many
        return [*piece[:at], piece[at], *piece[at:]]
    if kind == 4:  # a half-bit of any length
        return [*piece[:at], rng.choice(ODD), *piece[at + 1 :]]
    if kind == 5:  # a stretch of ones whose halves wander
        return [*piece[:at], *(rng.randint(50, 66) for _ in range(rng.randint(1, 60))), *piece[at:]]
    if kind == 6:  # cut off, start or end
        return rng.choice((piece[:at], piece[at:]))
    return [*piece[:at], *(rng.choice(ODD) for _ in range(rng.randint(1, 5))), *piece[at:]]


def torn_signal(seed: int, length: int) -> Iterator[int]:
    """``length`` durations, us, up to 2**32 - 1: packets sound and torn in every way, and rubbish between."""
    rng = random.Random(seed)
    left = length
    while left > 0:
        piece = _piece(rng)
        for _ in range(rng.choice((0, 0, 0, 0, 1, 1, 2, 5))):
            piece = _tear(piece or [58], rng)
        piece = piece[:left]
        yield from (min(duration, 2**32 - 1) for duration in piece)
        left -= len(piece)


def ones_signal(seed: int, length: int) -> Iterator[int]:
    """``length`` durations, us: preambles of about ten one-bits in either phase, whose halves differ by about the limit.

    Each is followed at once by a packet, whole or torn. Which preambles count depends on both pairings.
    """
    rng = random.Random(seed)
    left = length
    while left > 0:
        piece = [rng.choice((58, 100))] * rng.randrange(3)
        for _ in range(rng.randint(1, 3)):
            low = rng.choice((52, 55, 56, 57, 58))
            high = min(64, low + rng.choice((0, 5, 6, 6, 7, 7, 8)))
            first, last = rng.choice(((low, high), (high, low)))
            step = rng.choice((2, 4))
            halves = [(first, last, last, first)[index % step] for index in range(rng.randint(1, 26))]
            if rng.random() < 0.2:
                halves[rng.randrange(len(halves))] = rng.choice((52, 58, 64, 65, 51, 100))
            piece += halves
        data = bytes(rng.choice((0, 255, rng.randrange(256))) for _ in range(rng.choice((2, 3))))
        packet = [duration // US for duration in packet_durations(with_error_byte(data), 0)]
        piece += packet if rng.random() < 0.7 else packet[: rng.randrange(len(packet))]
        piece = piece[:left]
        yield from piece
        left -= len(piece)
