"""A signal to capture in any way, and what must come out of it."""

from __future__ import annotations

import random
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import accumulate

from halfbit.edge import Edge
from halfbit.instruction import Instruction
from halfbit.limits import RECEIVE, Limits
from halfbit.simulate.signal import packet_durations, with_error_byte
from halfbit.stream import decode

__all__ = ["changes_of", "level_at", "packets_in", "share", "some_packets"]


def some_packets(count: int, seed: int = 1, longest: int = 3) -> tuple[list[bytes], list[int]]:
    """Packets to multi-function decoders, and their half-bits, ns; an idle packet follows them."""
    rng = random.Random(seed)
    packets = [
        with_error_byte(bytes(rng.randrange(1, 100) for _ in range(rng.randint(2, longest)))) for _ in range(count)
    ]
    durations: list[int] = []
    for data in packets:
        durations += packet_durations(data, rng.randint(14, 17))
    return packets, durations + packet_durations(with_error_byte(bytes([255, 0])))


def changes_of(durations: Sequence[int], start: int = 0) -> list[int]:
    """The times of the level changes, ns."""
    return list(accumulate(durations, initial=start))


def level_at(time: float, changes: Sequence[int]) -> int:
    """The level at a time: 0 before the first change."""
    return bisect_right(changes, time) % 2


def packets_in(edges: Iterable[Edge], limits: Limits = RECEIVE) -> list[bytes]:
    """The packets that are decoded."""
    found = {id(event.packet): event.packet for event in decode(edges, limits) if isinstance(event, Instruction)}
    return [packet.data for packet in found.values() if packet is not None]


def share(sent: Iterable[bytes], edges: Iterable[Edge], limits: Limits = RECEIVE) -> float:
    """Which share of some packets is decoded."""
    wanted = Counter(sent)
    return 1 - (wanted - Counter(packets_in(edges, limits))).total() / wanted.total()
