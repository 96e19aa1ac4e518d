"""One thing wrong at every place of a signal in turn: what it did not touch must come through.

S-9.2 A: after a missing or invalid start, separator or end bit, or a wrong error byte, the next
valid preamble must be recognised, even where its first one-bits were taken for data.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice

import pytest

from halfbit.simulate import distort
from halfbit.event import Packet
from halfbit.receiver import HalvesReceiver
from halfbit.simulate.signal import packet_bits
from tests.support import events_of
from tests.support_reference import reference_packets

US = 1000

#: Packets with runs of ones and zeros at their ends; preambles as short as allowed, and the usual one.
SENT = [
    (bytes((0x03, 0x3F, 0x81, 0xBD)), 14),
    (bytes((0xFF, 0x00, 0xFF)), 10),
    (bytes((0x00, 0x00, 0x00)), 10),
    (bytes((0x37, 0x74, 0x43)), 12),
    (bytes((0x80, 0x7F, 0xFF)), 10),
    (bytes((0x03, 0x3F, 0x81, 0xBD)), 14),
]

#: Halves of neighbouring one-bits in us, dealt out in turn: the halves of a bit differ by up to 6,
#: those of neighbours across bits by up to 12 (52 after 64).
TIMINGS: dict[str, list[tuple[int, int]]] = {
    "nominal": [(58, 58)],
    "across 12": [(58, 52), (64, 58)],
    "across 12 at every other": [(58, 52), (64, 64), (52, 58)],
    "within 6, first long": [(61, 55)],
    "within 6, last long": [(55, 61)],
    "wandering": [(52, 58), (58, 64), (64, 58), (58, 52)],
}

#: With each timing, every third place is damaged.
EVERY = 3

#: What is done to duration ``at`` of a signal, and how many durations from there on it touches.
Damage = Callable[[list[int], int], list[int]]


def _replaced(duration: int) -> Damage:
    return lambda durations, at: [*durations[:at], duration, *durations[at + 1 :]]


def _flipped_bit(durations: list[int], at: int) -> list[int]:
    return distort.flipped_half(distort.flipped_half(durations, at), at + 1)


DAMAGES: dict[str, tuple[int, Damage]] = {
    "too short": (1, _replaced(51_999)),
    "between": (1, _replaced(77_000)),
    "too long": (1, _replaced(10_000_001)),
    "flipped half": (1, distort.flipped_half),
    "flipped bit": (2, _flipped_bit),
    "lost edge": (2, lambda durations, at: distort.lost_edge(durations, at + 1)),
    "extra edge": (1, lambda durations, at: distort.extra_edge(durations, at, durations[at] // 2)),
    "early extra edge": (1, lambda durations, at: distort.extra_edge(durations, at, 2_000)),
    "spike": (1, lambda durations, at: distort.spike(durations, at, 20_000, 5_000)),
    "missing half": (1, lambda durations, at: durations[:at] + durations[at + 1 :]),
    "doubled half": (1, lambda durations, at: durations[: at + 1] + durations[at:]),
}


def _signal(timing: str) -> tuple[list[int], list[tuple[int, int]]]:
    """Durations, and for each packet its first preamble bit's index and that after its end bit."""
    halves = TIMINGS[timing]
    durations: list[int] = []
    places = []
    for data, preamble in SENT:
        start = len(durations)
        for bit in packet_bits(data, preamble):
            first, last = halves[len(durations) // 2 % len(halves)] if bit else (100, 100)
            durations += [first * US, last * US]
        places.append((start, len(durations)))
    return durations, places


def _cases(timing: str, damage: str) -> Iterator[tuple[int, list[int], list[bytes]]]:
    """For every third place: the damaged signal, and the packets it did not touch.

    The timings begin at different places, so that all together each damage is done at each place twice.
    """
    durations, places = _signal(timing)
    width, act = DAMAGES[damage]
    step = 2 if damage == "flipped bit" else 1
    begin = list(TIMINGS).index(timing) % EVERY * step
    for at in range(begin, len(durations) - width + 1, EVERY * step):
        untouched = [
            data
            for (data, _), (start, end) in zip(SENT, places)
            if at + width <= start or at >= end
        ]
        yield at, act(durations, at), untouched


def _within(some: list[bytes], others: list[bytes]) -> bool:
    """Whether all of some are among the others, in the same order."""
    left = iter(others)
    return all(data in left for data in some)


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("timing", TIMINGS)
def test_untouched_packets_come_through(timing: str, damage: str) -> None:
    sent = [data for data, _ in SENT]
    seen = 0
    for at, durations, untouched in _cases(timing, damage):
        receiver = HalvesReceiver()
        events = [*receiver.feed_many(durations), *receiver.finish()]
        got = [event.data for event in events if isinstance(event, Packet)]
        if seen % 5 == 0:  # the slow way round
            expected = [found.data for found in reference_packets(durations)]
            assert got == expected, f"{timing}, {damage} at duration {at}"
        assert _within(untouched, got), f"{timing}, {damage} at duration {at}: {got}"
        assert _within(got, sent), f"{timing}, {damage} at duration {at}: {got}"
        seen += 1
    assert seen >= len(_signal(timing)[0]) // (2 * EVERY) - 1


@pytest.mark.parametrize("damage", DAMAGES)
def test_torn_signals_give_the_same_events_every_way(damage: str) -> None:
    for _, durations, _ in islice(_cases("across 12", damage), 0, None, 8):
        events_of(durations)


@pytest.mark.parametrize("damage", ["too short", "between", "flipped bit", "lost edge"])
def test_a_broken_end_bit_costs_one_packet(damage: str) -> None:
    """The end bit's first half, last half or both: the preamble behind it starts the next packet."""
    _, act = DAMAGES[damage]
    for timing in TIMINGS:
        durations, places = _signal(timing)
        sent = [data for data, _ in SENT]
        for index, (_, end) in enumerate(places[:-1]):
            got = [
                event.data
                for event in events_of(act(durations, end - 2))
                if isinstance(event, Packet)
            ]
            assert got == sent[:index] + sent[index + 1 :], (timing, index)
