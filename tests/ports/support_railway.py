"""Track for the whole decoders in emulators: an invented railway, with all that comes to a decoder in it."""

from __future__ import annotations

import random
from collections.abc import Iterator

from halfbit.limits import Limits
from halfbit.simulate.signal import NOMINAL, Timing, packet_durations, with_error_byte

__all__ = ["IDLE", "LIMITS", "packets", "track"]


IDLE = (255, 0)
#: The decoder's limits (S-9.1 A, table 1) on a timer of half a us whose counts may be one off, as the boards have them.
LIMITS = Limits(one_min=51_500, one_max=64_500, one_difference=7_000, zero_min=89_500, zero_max=10_000_500)


def packets(*bodies: tuple[int, ...], preamble: int = 16, timing: Timing = NOMINAL) -> list[int]:
    """Durations of packets, ns."""
    return [d for body in bodies for d in packet_durations(with_error_byte(bytes(body)), preamble, timing)]


def session(rng: random.Random) -> list[int]:
    """A service mode session in direct mode: a CV is verified, written and verified again (S-9.2.3 E)."""
    cv, value = rng.choice(((3, rng.choice((0, 0, 1, 2))), (4, rng.choice((0, 1))), (2, rng.randrange(99)), (6, rng.randrange(256))))
    verify, write = (0x74, cv - 1, value), (0x7C, cv - 1, value)
    bodies = [*[(0, 0)] * 20, *[verify] * 5, *[(0, 0)] * 3, *[write] * 5, *[(0, 0)] * 9, *[verify] * 5, *[(0, 0)] * 3]
    return packets(*bodies, preamble=20) + packets(IDLE, IDLE)


def track(seconds: float, seed: int) -> Iterator[list[int]]:
    """Track of an invented railway: speeds, functions, others' packets, CV writes, service mode, damage, pauses of 50 ms."""
    rng = random.Random(seed)
    time = 0
    yield packets(*[IDLE] * 4)
    while time < seconds * 1e9:
        body = rng.choice((IDLE, (3, 0x3F, rng.randrange(256)), (3, 0x40 | rng.randrange(64)), (3, 0x80 | rng.randrange(32)),
                           (9, 0x3F, rng.randrange(256)), (0, 0), (3, 0xEC, rng.choice((2, 3)), rng.choice((0, 0, 1, 2))),
                           (3, 0x12, rng.choice((0, 9)))))  # fmt: skip
        piece = packets(*[body] * rng.choice((1, 1, 2, 3)), preamble=rng.choice((14, 16, 20)))
        if rng.random() < 0.2:
            piece += packets(*[IDLE] * 30)  # time for momentum
        if rng.random() < 0.02:
            piece = session(rng)
        piece = [d + rng.randint(-1_000, 1_000) for d in piece]
        if rng.random() < 0.2:
            at = rng.randrange(len(piece))
            piece[at] = rng.choice((20_000, 77_000, 130_000, 12_000_000))
        if rng.random() < 0.02:
            piece.append(50_000_000)
        yield piece
        time += sum(piece)
    yield packets(*[IDLE] * 4)
