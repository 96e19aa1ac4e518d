"""Signals as a board sees them that is late by up to 40 us, from a seed: durations in us."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import lru_cache

from halfbit.simulate.signal import with_error_byte

from .support_torn import torn_signal

__all__ = ["late_signal"]


def _bits(rng: random.Random) -> str:
    """A packet with its preamble; sometimes a preamble that is too short, or a wrong error detection byte."""
    some, any_length = rng.randbytes(rng.randint(2, 5)), rng.randbytes(rng.randint(1, 14))
    data = rng.choice((bytes((255, 0)), bytes((0, 0)), some, any_length))
    data = with_error_byte(data) if rng.random() < 0.95 else data + rng.randbytes(1)
    preamble = "1" * rng.choice((14, 14, 14, 16, 20, 20, 10, 9, 300 if rng.random() < 0.02 else 14))
    return preamble + "".join(f"0{byte:08b}" for byte in data) + "1"


def _tear(changes: list[int], rng: random.Random) -> None:
    """A change missing, one too many, a cutout, a silence, or a long stretch of noise."""
    at = rng.randrange(1, len(changes) - 1)
    kind = rng.randrange(8)
    if kind < 3:
        del changes[at]
    elif kind < 6:
        changes.insert(at, rng.randint(changes[at - 1], changes[at]))
    else:
        later = rng.choice((480, 9_000, 10_050, 25_000, 2**21))
        changes[at:] = [change + later for change in changes[at:]]


@lru_cache(8)  # each is taken for several processors or settings, and making it takes longer than feeding it to them
def late_signal(seed: int, length: int) -> tuple[int, ...]:
    """``length`` durations, us: stations of every kind, seen late by up to 40 us, with tears and rubbish between."""
    return tuple(_durations(seed, length))


def _durations(seed: int, length: int) -> Iterator[int]:
    rng = random.Random(seed)
    left = length
    while left > 0:
        one = rng.choice((55, 58, 58, 61, rng.uniform(54, 62)))
        first = rng.choice((95, 100, 106, 116, 120, rng.uniform(93, 125)))
        last = rng.choice((first, first, rng.uniform(95, 120)))
        stretched = rng.choice((0, 0, 0, 0.1, 0.5, 1))
        period = rng.choice((0, 0.5, 20, 30, 38, rng.uniform(1, 45)))
        damage = rng.choice((0, 0.1, 0.5))
        changes: list[float] = [0.0]
        for _ in range(rng.choice((1, 3, 10, 60))):
            for bit in _bits(rng):
                long = rng.random() < stretched and bit == "0"
                for half in (one, one) if bit == "1" else (first, last):
                    more = rng.choice((0, rng.uniform(10, 900), rng.uniform(0, 9900 - half))) if long else 0
                    changes.append(changes[-1] + half + more)
        seen = [round(change + rng.random() * period) for change in changes]
        for at in range(1, len(seen)):
            seen[at] = max(seen[at], seen[at - 1])
        for _ in range(len(seen) // 120):
            if rng.random() < damage:
                _tear(seen, rng)
        piece = [after - before for before, after in zip(seen, seen[1:])]
        if rng.random() < 0.1:
            piece += torn_signal(rng.randrange(1000), rng.choice((3, 50, 1500)))
        yield from piece[:left]
        left -= len(piece)
