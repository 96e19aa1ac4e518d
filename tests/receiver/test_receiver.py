"""Layers 2 to 4 at once: the same events as layer by layer, in bulk, with nothing kept."""

from __future__ import annotations

import array
import tracemalloc

import pytest

from halfbit.event import PacketEvent
from halfbit.event import Fault, FaultKind
from halfbit.limits import RECEIVE, Limits
from halfbit.event import Packet
from halfbit.receiver import HalvesReceiver
from halfbit.simulate.signal import bit_durations, packet_durations
from tests.support import events_of

US = 1000
DATA = bytes([0x37, 0x74, 0x43])
GOOD = packet_durations(DATA)


def test_events_come_with_the_duration_that_completes_them() -> None:
    receiver = HalvesReceiver()
    given = [receiver.feed(duration) for duration in GOOD]
    assert given == [()] * (len(GOOD) - 1) + [(Packet(DATA, 14, 0, sum(GOOD)),)]
    assert receiver.now == sum(GOOD)
    assert receiver.finish() == ()


def test_time_starts_at_the_given_start() -> None:
    start = 5_000_000
    receiver = HalvesReceiver(start=start)
    (packet,) = receiver.feed_many(GOOD)
    assert (packet.start, packet.end) == (start, start + sum(GOOD))


def test_counts_of_a_scale() -> None:
    """Captured counts are multiplied here, so that no list of ns need be made."""
    microseconds = [duration // US for duration in GOOD]
    assert HalvesReceiver().feed_many(microseconds, US) == HalvesReceiver().feed_many(GOOD)
    quarters = array.array("L", [duration // 250 for duration in GOOD])
    assert HalvesReceiver().feed_many(quarters, 250) == HalvesReceiver().feed_many(GOOD)
    assert HalvesReceiver().feed_many(memoryview(quarters), 250) == HalvesReceiver().feed_many(GOOD)


@pytest.mark.parametrize("limits", [RECEIVE, Limits(preamble_min=40), Limits(preamble_min=255)])
def test_the_run_that_ends_a_loss_is_found_whole(limits: Limits) -> None:
    """However long a preamble must be, the fault before it ends where its first one-bit starts."""
    noise = [20 * US, 77 * US, 58 * US, 100 * US]
    ones = limits.preamble_min
    durations = noise * 40 + packet_durations(DATA, ones)
    fault, packet = events_of(durations, limits)
    assert isinstance(fault, Fault) and isinstance(packet, Packet)
    assert fault.end == packet.start == sum(noise) * 40
    assert packet.preamble == ones


def test_memory_does_not_grow_with_the_signal() -> None:
    """Neither among good packets, nor among ones without end, nor in noise without end."""
    for piece in (GOOD, bit_durations([1] * 50), [20 * US, 77 * US, 58 * US] * 30):
        for singly in (False, True):
            receiver = HalvesReceiver()
            tracemalloc.start()
            try:
                _fed(receiver, piece * 50, singly)
                before, _ = tracemalloc.get_traced_memory()
                _fed(receiver, piece * 200, singly)
                after, _ = tracemalloc.get_traced_memory()
            finally:
                tracemalloc.stop()
            # The last few thousand durations may be kept; what came since is up to 20000 of them.
            assert after - before < 40_000, (piece[:3], singly)


def _fed(receiver: HalvesReceiver, durations: list[int], singly: bool) -> None:
    if singly:
        for duration in durations:
            receiver.feed(duration)
    else:
        receiver.feed_many(durations)


def test_a_lone_half_at_the_end() -> None:
    """Where the last half-bit has no other half, the capture is cut there, which is no fault of the signal's."""
    assert events_of(GOOD + [58 * US]) == events_of(GOOD)
    (_, fault) = events_of(GOOD + bit_durations([1] * 10) + [100 * US])
    assert isinstance(fault, Fault)
    assert (fault.kind, fault.start, fault.end) == (
        FaultKind.CUT,
        sum(GOOD) + 20 * 58 * US,
        sum(GOOD) + 20 * 58 * US + 100 * US,
    )


def test_a_finished_receiver_has_nothing_pending() -> None:
    receiver = HalvesReceiver()
    events: list[PacketEvent] = receiver.feed_many(GOOD[:40])
    assert events == []
    (cut,) = receiver.finish()
    assert isinstance(cut, Fault) and cut.kind is FaultKind.CUT
    assert receiver.finish() == ()


@pytest.mark.parametrize(
    ("end", "half", "expected"),
    [
        ((55, 61), 64, Packet),
        ((61, 55), 61, Packet),
        ((61, 55), 62, Fault),
    ],
)
def test_the_last_half_of_a_flawless_packet_may_be_the_next_preamble_s_first(
    end: tuple[int, int], half: int, expected: type
) -> None:
    """If a half was lost before it. Nine bits follow, and a tenth if they pair with that half (S-9.2 A).

    The halves of a one-bit differ by 6 us at most (S-9.1 A, table 1).
    """
    first = [*GOOD[:-1], 58 * US]
    flawless = [*GOOD[:-2], *(US * part for part in end)]
    events = events_of([*first, *flawless, half * US, *[58 * US] * 18, *packet_durations(DATA, 0)])
    assert [type(event) for event in events[:3]] == [Packet, Packet, expected]
