"""What the reader by sequence assumes may have gone wrong: one thing at every place of a packet, which comes through."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from halfbit.decision.costs import How
from halfbit.decision.lengths import Lengths
from halfbit.decision.reader import MARGIN, Found, SequenceReader
from halfbit.limits import Limits
from halfbit.simulate.distort import extra_edge, lost_edge, spike
from halfbit.simulate.signal import Timing, bit_durations, packet_durations, with_error_byte

US = 1000

#: Not nominal: what a reader needs to know of a station it is given.
TIMING = Timing(57 * US, 57 * US, 98 * US, 104 * US)
LENGTHS = Lengths(57 * US, 98 * US, 104 * US)
SENT = [with_error_byte(bytes(data)) for data in ([0x37, 0x74], [0x03, 0x3F, 0x85], [0xFF, 0x00])]
PACKETS = [packet_durations(data, 14, TIMING) for data in SENT]
SIGNAL = [duration for packet in PACKETS for duration in packet] + bit_durations([1] * 14, TIMING)
#: The half-bits of the second packet's bytes: from its start bit on, without its end bit.
INSIDE = range(len(PACKETS[0]) + 28, len(PACKETS[0]) + len(PACKETS[1]) - 2)


def read(durations: list[int], limits: Limits, lengths: Lengths = LENGTHS) -> list[Found]:
    """The packets that are clear."""
    reader = SequenceReader(limits, lengths, max(limits.latency_max, 3 * US))
    for duration in durations:
        reader.feed(duration)
    reader.finish()
    return [found for found in reader.found if found.margin >= MARGIN]


def moved(durations: list[int], at: int, by: int) -> list[int]:
    """The change after duration ``at`` comes later by so much, ns."""
    return [*durations[:at], durations[at] + by, durations[at + 1] - by, *durations[at + 2 :]]


def vanished(durations: list[int], at: int) -> list[int]:
    """The two changes after duration ``at`` are missing."""
    return [*durations[:at], sum(durations[at : at + 3]), *durations[at + 3 :]]


EXACT = Limits(decision="sequence", latency_max=3 * US)
LOOP = Limits(decision="sequence", latency_max=10 * US, latency_rare=120 * US)
TEARS: dict[str, tuple[Limits, int, Callable[[list[int], int], list[int]]]] = {
    "one change missed": (EXACT, How.MISSED, lambda durations, at: lost_edge(durations, at)),
    "a change noted twice": (EXACT, How.DOUBLED, lambda durations, at: extra_edge(durations, at, 2 * US)),
    "a spike": (EXACT, How.DOUBLED | How.SPIKE, lambda durations, at: spike(durations, at, 21 * US, 5 * US)),
    "a change 20 us late": (EXACT, How.LATE, lambda durations, at: moved(durations, at, 20 * US)),
    "a change 42 us late": (EXACT, How.LATE, lambda durations, at: moved(durations, at, 42 * US)),
    "a change 20 us early": (EXACT, How.LATE, lambda durations, at: moved(durations, at, -20 * US)),
    "two changes in a long turn": (LOOP, How.TURN, lambda durations, at: vanished(durations, at)),
    "two changes in a long turn, and the third late": (
        LOOP, How.TURN | How.LATE, lambda durations, at: moved(vanished(durations, at), at, 20 * US)
    ),
    "a change in a long turn": (LOOP, How.LATE, lambda durations, at: moved(durations, at, 50 * US)),
}


@pytest.mark.parametrize("name", list(TEARS))
def test_one_tear_at_every_half_bit(name: str) -> None:
    """No packet is lost, nothing is given that was not sent, and nearly always it is said what was wrong."""
    limits, how, tear = TEARS[name]
    said = 0
    for at in INSIDE:
        found = read(tear(SIGNAL, at), limits)
        assert [packet.data for packet in found] == SENT, at
        assert found[0].how == found[2].how == 0
        # The change that ends it may be the late one.
        assert abs(found[1].end - sum(len_of(packet) for packet in PACKETS[:2])) <= 20 * US
        said += bool(found[1].how & how)
    assert said >= 0.9 * len(INSIDE)


def len_of(packet: list[int]) -> int:
    return sum(packet)


def test_stretched_zeros_are_sound() -> None:
    """S-9.1 A: a station may stretch any zero. A packet that has some is not recovered."""
    signal = list(SIGNAL)
    for at in INSIDE:
        if signal[at] > 90 * US and at % 5 == 0:
            signal[at] += 700 * US
    found = read(signal, EXACT, LENGTHS._replace(stretched=0.2))
    assert [packet.data for packet in found] == SENT
    assert found[1].how == How.STRETCHED


def test_the_end_bit_may_run_into_a_cutout() -> None:
    """S-9.3.2, RCN-217 (from memory): a cutout ends 454 to 488 us after the packet end bit."""
    for cutout in (454, 470, 488):
        end = len(PACKETS[0]) - 1
        signal = [*SIGNAL[:end], SIGNAL[end] + cutout * US, *SIGNAL[end + 1 :]]
        found = read(signal, EXACT)
        assert [packet.data for packet in found] == SENT
        assert [packet.how for packet in found] == [How.CUTOUT, 0, 0]
        assert found[0].end == sum(PACKETS[0])


def test_of_two_readings_none_is_given() -> None:
    """A station whose zeros last as two ones: with a missed change nothing tells them apart in a packet of few bits."""
    limits = Limits(decision="sequence", latency_max=60 * US)
    durations = [57 * US] * 40
    # Halves between a one's and a zero's, all along: nothing is read out of that.
    assert read([*durations, *[78 * US] * 56, *durations], limits) == []


def test_a_wrong_error_byte_is_no_packet() -> None:
    wrong = packet_durations(bytes((0x37, 0x74, 0x42)), 14, TIMING)
    found = read([*PACKETS[0], *wrong, *PACKETS[2], *bit_durations([1] * 14, TIMING)], EXACT)
    assert [packet.data for packet in found] == [SENT[0], SENT[2]]


# One edge: each duration holds two half-bits.

ONE_EDGE = Limits(decision="sequence", latency_max=3 * US, one_edge=True)
STRETCHED = LENGTHS._replace(stretched=0.2)


def pairs(durations: list[int], first: int) -> list[int]:
    """The durations of one edge: between the bits' starts if ``first`` is 0, within the bits if it is 1."""
    return [before + after for before, after in zip(durations[first::2], durations[first + 1 :: 2])]


def test_of_one_edge_a_packet_waits_for_its_rivals() -> None:
    """At the bits' starts, a packet with a stretched zero as long as two one-bits was refused at its last change.

    Perhaps a change was missed between two one-bits. The error byte of that reading is wrong, but comes one bit later.
    """
    sent = [SENT[0], with_error_byte(bytes((0x03, 0x3F, 0x84))), SENT[2]]
    before, packet, after = (packet_durations(data, 14, TIMING) for data in sent)
    zeros = [at for at in range(28, len(packet), 2) if packet[at] > 57 * US]
    for at in zeros:
        longer = [*packet[: at + 1], 4 * 57 * US - packet[at], *packet[at + 2 :]]
        signal = [*before, *longer, *after, *bit_durations([1] * 14, TIMING)]
        assert [found.data for found in read(pairs(signal, 0), ONE_EDGE, STRETCHED)] == sent


def test_a_stretched_zero_may_end_where_another_reading_expects_a_change() -> None:
    """Idle, FF 00 FF (S-9.2 B), was read as 7F 00 7F: "digital decoder reset" for locomotive 127.

    Within the bits, a one and a zero together show that the bits change. Here stretched zeros hide all four changes.
    The last such duration is 202 us long, as two halves of zeros are. So the bits' starts fit all durations too.
    """
    idle = packet_durations(SENT[2], 14, TIMING)
    for half, longer in ((28, 2000), (29, 3000), (46, 70), (65, 41)):
        idle[half] += longer * US
    signal = [*PACKETS[0], *PACKETS[1], *idle, *PACKETS[0], *bit_durations([1] * 14, TIMING)]
    found = [found.data for found in read(pairs(signal, 1), ONE_EDGE, STRETCHED)]
    assert found in ([*SENT[:2], SENT[0]], [*SENT, SENT[0]])
