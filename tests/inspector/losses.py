"""Seeded losses of each cause, made half-bit by half-bit apart from the code that finds the cause.

A signal of packets in turn, as stations repeat them; one thing is wrong at one place, and the packet there is lost.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

import attrs

from halfbit.decision import receiver_for
from halfbit.edge import edges_from_durations
from halfbit.event import Fault
from halfbit.inspect.diagnosis import Cause, Diagnosis
from halfbit.inspect.losses import diagnosed_events
from halfbit.limits import RECEIVE, US

__all__ = ["Loss", "MAKERS", "found", "losses"]


@attrs.frozen
class Loss:
    """A signal with one loss."""

    cause: Cause
    durations: list[int]
    #: The packet that is lost, and where the cause lies, ns.
    packet: bytes
    at: int


def _packet(rng: random.Random) -> bytes:
    """A packet to some address; the error byte is the exclusive or of the others (S-9.2 A)."""
    data = [rng.randrange(1, 128), *(rng.randrange(256) for _ in range(rng.choice((1, 2, 2, 3))))]
    check = 0
    for byte in data:
        check ^= byte
    return bytes((*data, check))


def _bits(data: bytes, preamble: int) -> list[int]:
    bits = [1] * preamble
    for byte in data:
        bits += [0, *(byte >> place & 1 for place in range(7, -1, -1))]
    return [*bits, 1]


def _halves(bits: Sequence[int], rng: random.Random) -> list[int]:
    """Ones of 57 to 59 us, zeros of 97 to 103, each half on its own (S-9.1 A, table 1, station's column)."""
    ones, zeros = (57 * US, 59 * US), (97 * US, 103 * US)
    return [rng.randint(*(ones if bit else zeros)) for bit in bits for _ in (0, 1)]


Maker = Callable[[list[int], int, random.Random], list[int]]


def _missed(halves: list[int], at: int, rng: random.Random) -> list[int]:
    return [*halves[:at], halves[at] + halves[at + 1], *halves[at + 2 :]]


def _added(halves: list[int], at: int, rng: random.Random) -> list[int]:
    after = rng.randint(4 * US, halves[at] - 4 * US)
    return [*halves[:at], after, halves[at] - after, *halves[at + 1 :]]


def _spiked(halves: list[int], at: int, rng: random.Random) -> list[int]:
    width = rng.randint(2 * US, 20 * US)
    after = rng.randint(4 * US, halves[at] - width - 4 * US)
    return [*halves[:at], after, width, halves[at] - after - width, *halves[at + 1 :]]


def _stretched(halves: list[int], at: int, rng: random.Random) -> list[int]:
    return [*halves[:at], halves[at] + rng.randint(10 * US, 600 * US), *halves[at + 1 :]]


def _flipped(halves: list[int], at: int, rng: random.Random) -> list[int]:
    at -= at % 2
    half = (100 if halves[at] < 77 * US else 58) * US
    return [*halves[:at], half, half, *halves[at + 2 :]]


def _silent(halves: list[int], at: int, rng: random.Random) -> list[int]:
    """So long that some changes are missed in a row, an even number, after which the level is what it was."""
    count = min(2 * rng.randint(2, 8) + 1, len(halves) - at - 1)
    count -= 1 - count % 2
    return [*halves[:at], sum(halves[at : at + count]), *halves[at + count :]]


MAKERS: dict[Cause, Maker] = {
    Cause.MISSED_CHANGE: _missed,
    Cause.ADDED_CHANGE: _added,
    Cause.SPIKE: _spiked,
    Cause.STRETCHED_HALF: _stretched,
    Cause.FLIPPED_BIT: _flipped,
    Cause.NO_CONTACT: _silent,
}


def _signal(cause: Cause, rng: random.Random, repeated: bool) -> Loss:
    """Packets in turn; the cause is in one of them, somewhere from its start bit to its last byte."""
    turn = [_packet(rng) for _ in range(rng.randint(1, 6))]
    lost = rng.randrange(len(turn), 2 * len(turn))
    sent = (turn * 3)[: 3 * len(turn)]
    if not repeated:
        sent[lost] = _packet(rng)
    durations: list[int] = []
    place = 0
    for number, data in enumerate(sent):
        preamble = rng.randint(14, 20)
        if number == lost and cause is Cause.SHORT_PREAMBLE:
            preamble = rng.randint(3, 8)
        halves = _halves(_bits(data, preamble), rng)
        if number == lost:
            at = rng.randrange(2 * preamble, len(halves) - 6)
            place = sum(durations) + sum(halves[:at])
            if cause is Cause.SHORT_PREAMBLE:
                place = sum(durations)
            else:
                halves = MAKERS[cause](halves, at, rng)
        durations += halves
    return Loss(cause, durations + _halves([1] * 20, rng), sent[lost], place)


def losses(cause: Cause, count: int, seed: int, repeated: bool = True) -> list[Loss]:
    """Signals in which the cause loses a packet, by the receiver's own word."""
    rng = random.Random(f"{cause.name} {seed}")
    made: list[Loss] = []
    while len(made) < count:
        loss = _signal(cause, rng, repeated)
        receiver = receiver_for(RECEIVE)
        events = [*receiver.feed_many(loss.durations), *receiver.finish()]
        if any(isinstance(event, Fault) for event in events):
            made.append(loss)
    return made


def found(loss: Loss) -> list[Diagnosis]:
    """The diagnoses of a signal."""
    edges = edges_from_durations(loss.durations, "ns")
    return [diagnosis for _, diagnosis in diagnosed_events(edges, RECEIVE) if diagnosis is not None]
