"""Seeded losses of each cause, made half-bit by half-bit apart from the code that finds the cause.

A signal of packets in turn, as stations repeat them; one thing is wrong at one place, and the packet there is lost.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from itertools import pairwise

import attrs

from halfbit.decision import receiver_for
from halfbit.edge import edges_from_durations
from halfbit.event import Fault, Packet
from halfbit.inspect.cause import CAUSE_OF, Cause, Diagnosis
from halfbit.inspect.losses import diagnosed_events
from halfbit.limits import RECEIVE, US, Limits

__all__ = ["Loss", "MAKERS", "found", "losses"]


@attrs.frozen
class Loss:
    """A signal with one loss."""

    cause: Cause
    durations: list[int]
    #: The packet that is lost, and where the cause lies, ns.
    packet: bytes
    at: int
    limits: Limits
    #: All packets, each with its start, ns.
    sent: list[tuple[int, bytes]]


@attrs.frozen
class Capture:
    """How a signal is captured."""

    name: str
    limits: Limits
    #: How late a change may be seen, ns.
    late: int = 0
    #: Every how many changes are captured.
    every: int = 1
    #: By how much half-bits of a kind differ, ns: halves of ones, and of zeros.
    differ: tuple[int, int] = (0, 0)


#: Every change at its time; later and later ones; and one edge only.
HALVES = Capture("halves", RECEIVE, differ=(US, 3 * US))
SUMS = Capture("sums", attrs.evolve(Limits.for_sampling_period(34), recover=False), 34 * US)
RECOVERED = Capture("sums, recovered", Limits.for_sampling_period(34), 34 * US)
SEQUENCE = Capture("sequence", Limits.for_sampling_period(50), 50 * US)
EXACT = Capture("sequence, exact", attrs.evolve(Limits.for_sampling_period(50), latency_max=6 * US), 6 * US)
ONE_EDGE = Capture("one edge", Limits.for_one_edge(3), 6 * US, 2)
CAPTURES = (HALVES, SUMS, RECOVERED, SEQUENCE, EXACT, ONE_EDGE)


def _seen(durations: Sequence[int], capture: Capture, rng: random.Random) -> list[int]:
    """The durations between the changes as they are seen."""
    now, seen = 0, [0]
    for number, duration in enumerate(durations, 1):
        now += duration
        if number % capture.every == 0:
            seen.append(max(now + rng.randint(0, capture.late), seen[-1] + US))
    return [after - before for before, after in pairwise(seen)]


def _packet(rng: random.Random) -> bytes:
    """A packet to some address; the error byte is the exclusive or of the others (S-9.2 A)."""
    data = [rng.randrange(1, 128), *(rng.randrange(256) for _ in range(rng.choice((1, 2, 2, 3))))]
    check = 0
    for byte in data:
        check ^= byte
    return bytes((*data, check))


def _sibling(data: bytes, rng: random.Random) -> bytes:
    """The packet nearest to another: one bit of it differs, and the same bit of its error byte."""
    byte, mask = rng.randrange(len(data) - 1), 1 << rng.randrange(8)
    return bytes((*data[:byte], data[byte] ^ mask, *data[byte + 1 : -1], data[-1] ^ mask))


def _bits(data: bytes, preamble: int) -> list[int]:
    bits = [1] * preamble
    for byte in data:
        bits += [0, *(byte >> place & 1 for place in range(7, -1, -1))]
    return [*bits, 1]


def _halves(bits: Sequence[int], capture: Capture, rng: random.Random) -> list[int]:
    """Ones of about 58 us, zeros of about 100, each half on its own (S-9.1 A, table 1, station's column)."""
    ones, zeros = capture.differ
    one, zero = (58 * US - ones, 58 * US + ones), (100 * US - zeros, 100 * US + zeros)
    return [rng.randint(*(one if bit else zero)) for bit in bits for _ in (0, 1)]


Maker = Callable[[list[int], int, random.Random, int], list[int]]


def _missed(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    return [*halves[:at], halves[at] + halves[at + 1], *halves[at + 2 :]]


def _added(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    after = rng.randint(4 * US, halves[at] - 4 * US)
    return [*halves[:at], after, halves[at] - after, *halves[at + 1 :]]


def _spiked(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    width = rng.randint(2 * US, 20 * US)
    after = rng.randint(4 * US, halves[at] - width - 4 * US)
    return [*halves[:at], after, width, halves[at] - after - width, *halves[at + 1 :]]


def _stretched(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    return [*halves[:at], halves[at] + rng.randint(10 * US, 600 * US) + late, *halves[at + 1 :]]


def _early(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    by = rng.randint(12 * US, 45 * US) + late
    return [*halves[:at], halves[at] - by, halves[at + 1] + by, *halves[at + 2 :]]


def _late(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    by = rng.randint(12 * US, 45 * US) + late
    return [*halves[:at], halves[at] + by, halves[at + 1] - by, *halves[at + 2 :]]


def _shortened(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    return [*halves[:at], halves[at] - rng.randint(10 * US, 45 * US) - late, *halves[at + 1 :]]


def _two(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    return [*halves[:at], sum(halves[at : at + 3]), *halves[at + 3 :]]


def _flipped(halves: list[int], at: int) -> list[int]:
    at -= at % 2
    half = (100 if halves[at] < 77 * US else 58) * US
    return [*halves[:at], half, half, *halves[at + 2 :]]


def _silent(halves: list[int], at: int, rng: random.Random, late: int) -> list[int]:
    """So long that some changes are missed in a row, an even number, after which the level is what it was."""
    count = min(2 * rng.randint(2, 8) + 1, len(halves) - at - 1)
    count -= 1 - count % 2
    return [*halves[:at], sum(halves[at : at + count]), *halves[at + count :]]


MAKERS: dict[Cause, Maker] = {
    Cause.MISSED_CHANGE: _missed,
    Cause.ADDED_CHANGE: _added,
    Cause.SPIKE: _spiked,
    Cause.STRETCHED_HALF: _stretched,
    Cause.SHORTENED_HALF: _shortened,
    Cause.EARLY_CHANGE: _early,
    Cause.LATE_CHANGE: _late,
    Cause.TWO_MISSED: _two,
    Cause.NO_CONTACT: _silent,
}
#: The causes that are in the signal, not in its capture.
SENT = (Cause.FLIPPED_BIT, Cause.SHORT_PREAMBLE)
CAUSES = (*MAKERS, *SENT)


def _signal(cause: Cause, capture: Capture, rng: random.Random, repeated: bool) -> Loss:
    """Packets in turn; the cause is in one of them, somewhere from its start bit to its last byte."""
    turn = [_packet(rng) for _ in range(rng.randint(1, 6))]
    lost = rng.randrange(len(turn), 2 * len(turn))
    sent = turn * 3
    if capture.late:  # lengths are learned from more packets then
        sent = turn * 2 + sent + turn * 2
        lost += 2 * len(turn)
    if not repeated:
        sent[lost] = rng.choice((_sibling(sent[lost], rng), _packet(rng)))
    durations: list[int] = []
    starts: list[tuple[int, bytes]] = []
    place = 0
    for number, data in enumerate(sent):
        preamble = rng.randint(3, 8) if number == lost and cause is Cause.SHORT_PREAMBLE else rng.randint(14, 20)
        halves = _halves(_bits(data, preamble), capture, rng)
        starts.append((sum(durations), data))
        if number == lost:
            at = rng.randrange(2 * preamble, len(halves) - 6)
            place = len(durations) + (0 if cause is Cause.SHORT_PREAMBLE else at)
            if cause is Cause.FLIPPED_BIT:
                halves = _flipped(halves, at)
        durations += halves
    durations += _halves([1] * 20, capture, rng)
    seen, place = _seen(durations, capture, rng), place // capture.every
    at = sum(seen[:place])
    if cause in MAKERS:
        seen = MAKERS[cause](seen, place, rng, capture.late)
    return Loss(cause, seen, sent[lost], at, capture.limits, starts)


def losses(cause: Cause, count: int, seed: int, repeated: bool = True, capture: Capture = HALVES) -> list[Loss]:
    """Signals in which the cause loses a packet or has to be undone to read it, by the receiver's own word."""
    rng = random.Random(f"{cause.name} {seed}")
    made: list[Loss] = []
    for _ in range(20 * count):
        try:
            loss = _signal(cause, capture, rng, repeated)
        except ValueError:  # the durations there are too short for it
            continue
        if min(loss.durations) > 0 and noticed(loss):
            made.append(loss)
            if len(made) == count:
                break
    return made


def noticed(loss: Loss) -> list[Fault | Packet]:
    """The losses, and the packets that had to be recovered from an error."""
    receiver = receiver_for(loss.limits)
    events = [*receiver.feed_many(loss.durations), *receiver.finish()]
    near = [each for each in events if each.start <= loss.at + 4_000_000 and each.end > loss.at]
    return [each for each in near if isinstance(each, Fault) or isinstance(each, Packet) and each.recovered in CAUSE_OF]


def found(loss: Loss) -> list[Diagnosis]:
    """The diagnoses of a signal."""
    edges = edges_from_durations(loss.durations, "ns")
    return [diagnosis for _, diagnosis in diagnosed_events(edges, loss.limits) if diagnosis is not None]
