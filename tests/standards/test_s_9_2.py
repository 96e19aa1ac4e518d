"""NMRA S-9.2 (July 2004), sections A to C: framing, error detection byte, preamble, worked values."""

from __future__ import annotations

import random

import pytest

from halfbit.simulate import distort
from halfbit.event import Fault, FaultKind
from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.event import Packet
from halfbit.simulate.signal import bit_durations, packet_bits, packet_durations, with_error_byte
from tests.support import events_of, faults_of, packets_of

US = 1000


def from_bits(text: str) -> list[int]:
    """Durations of a row of bits written as the standard writes them."""
    return bit_durations([int(character) for character in text if character in "01"])


#: S-9.2 B: packets as the standard gives them, preamble to packet end bit.
WRITTEN = {
    # S-9.2, worked value: locomotive 55, forward, step 6: 37 74 43.
    "11111111111111 0 00110111 0 01110100 0 01000011 1": "37 74 43",
    # S-9.2 B: digital decoder reset packet for all decoders.
    "11111111111111 0 00000000 0 00000000 0 00000000 1": "00 00 00",
    # S-9.2 B: digital decoder idle packet for all decoders.
    "11111111111111 0 11111111 0 00000000 0 11111111 1": "FF 00 FF",
    # S-9.2 B: broadcast stop packet, 01DC000S with D = 1, C = 0, S = 0 and its error byte.
    "11111111111111 0 00000000 0 01100000 0 01100000 1": "00 60 60",
}


@pytest.mark.parametrize("text", WRITTEN)
def test_packets_as_written(text: str) -> None:
    (packet,) = events_of(from_bits(text))
    assert isinstance(packet, Packet)
    assert str(packet) == WRITTEN[text]
    assert packet.preamble == 14
    assert "".join(map(str, packet_bits(packet.data))) == text.replace(" ", "")


def test_bytes_come_most_significant_bit_first() -> None:
    """S-9.2 A."""
    durations = from_bits("1111111111 0 10000000 0 00000001 0 10000001 1")
    assert packets_of(durations) == [bytes([0x80, 0x01, 0x81])]


@pytest.mark.parametrize("length", [3, 4, 5, 6])
def test_the_error_byte_is_checked_bit_by_bit(length: int) -> None:
    """S-9.2 A: the exclusive or of all bytes before it. Any single bit that is wrong shows."""
    data = with_error_byte(bytes(random.Random(length).randrange(256) for _ in range(length - 1)))
    assert packets_of(packet_durations(data)) == [data]
    for place in range(8 * length):
        wrong = bytearray(data)
        wrong[place // 8] ^= 0x80 >> place % 8
        (fault,) = faults_of(packet_durations(bytes(wrong)))
        assert fault.kind is FaultKind.ERROR_BYTE
        assert fault.detail == 0x80 >> place % 8
        assert fault.data == wrong


def test_ten_preamble_bits_are_enough_and_nine_are_not() -> None:
    """S-9.2 A: a decoder must not accept fewer than 10, and must not require more than 12."""
    data = bytes([0x37, 0x74, 0x43])
    for count in range(16):
        expected = [data] if count >= 10 else []
        assert packets_of(packet_durations(data, count)) == expected
        # One half-bit more, from a bit cut by the capture's start, makes no complete one-bit.
        assert packets_of([58 * US, *packet_durations(data, count)]) == expected
    assert RECEIVE.preamble_min == 10
    assert TRANSMIT.preamble_min == 14  # S-9.2 A: what a station sends at least


def test_the_end_bit_may_be_a_preamble_bit_of_the_next_packet() -> None:
    """S-9.2 A."""
    first, second = bytes([0x37, 0x74, 0x43]), bytes([0xFF, 0x00, 0xFF])
    for count in (8, 9, 10):
        got = packets_of(packet_durations(first) + packet_durations(second, count))
        assert got == ([first, second] if count >= 9 else [first])


@pytest.mark.parametrize("place", ["start bit", "first separator", "second separator", "end bit"])
def test_after_a_bit_that_is_invalid_the_next_preamble_counts(place: str) -> None:
    """S-9.2 A: missing or invalid start, separator or end bit; here neither a one nor a zero."""
    data = bytes([0x37, 0x74, 0x43])
    at = 2 * {"start bit": 14, "first separator": 23, "second separator": 32, "end bit": 41}[place]
    durations = packet_durations(data)
    for half in (0, 1):
        torn = [*durations]
        torn[at + half] = 77 * US
        events = events_of(durations + torn + durations)
        assert [type(event) for event in events] == [Packet, Fault, Packet]


@pytest.mark.parametrize("place", ["start bit", "first separator", "second separator"])
def test_after_a_zero_that_came_as_a_one_the_next_preamble_counts(place: str) -> None:
    """S-9.2 A: a missing start or separator bit."""
    data = bytes([0x37, 0x74, 0x43])
    at = {"start bit": 14, "first separator": 23, "second separator": 32}[place]
    bits = packet_bits(data)
    bits[at] = 1
    durations = packet_durations(data)
    events = events_of(durations + bit_durations(bits) + durations)
    packets = [event.data for event in events if isinstance(event, Packet)]
    assert packets == [data, data]


def test_a_missing_end_bit_costs_no_more_than_its_packet() -> None:
    """S-9.2 A: the preamble behind it is taken for data, and is a preamble all the same."""
    data = bytes([0x37, 0x74, 0x43])
    for preamble in range(10, 40):
        bits = packet_bits(data)[:-1] + [0]
        durations = bit_durations(bits) + packet_durations(data, preamble)
        assert packets_of(durations) == [data], preamble


@pytest.mark.parametrize("length", range(3, 16))
def test_lengths(length: int) -> None:
    """Baseline packets have 3 bytes, extended ones 3 to 6 (S-9.2.1, introduction); longer ones from memory."""
    data = with_error_byte(bytes(range(7, 6 + length)))
    assert len(data) == length
    assert packets_of(packet_durations(data)) == [data]
    assert packets_of(packet_durations(data), TRANSMIT) == ([data] if length <= 6 else [])


def test_no_packet_is_long_enough_to_hold_a_preamble() -> None:
    """S-9.2 A: eight data bits and the end bit are the most one-bits in a row; ten make a preamble."""
    longest = "".join(map(str, packet_bits(bytes([255] * 4), preamble=0)))
    assert max(map(len, longest.split("0"))) == 9 < RECEIVE.preamble_min


def test_the_least_time_between_packets_to_one_decoder() -> None:
    """S-9.2 C: a decoder acts on packets 5 ms apart; with ones between, that is idle time, not a fault."""
    data = bytes([0x37, 0x74, 0x43])
    ones = bit_durations([1] * (5_000 // 116 + 1))
    assert sum(ones) >= 5_000 * US
    events = events_of(packet_durations(data) + ones + packet_durations(data, 0))
    assert [type(event) for event in events] == [Packet, Packet]


def test_other_signals_or_no_power_between_packets() -> None:
    """S-9.2 C allows them between a packet end bit and the next preamble: one fault, no packet lost."""
    data = bytes([0x37, 0x74, 0x43])
    good = packet_durations(data)
    for seed in range(20):
        for gap in (distort.foreign(40_000 * US, random.Random(seed)), [400_000 * US]):
            events = events_of(good + gap + good)
            # A stretch of a foreign signal that happens to be a whole packet would be a packet.
            assert [type(event) for event in events] == [Packet, Fault, Packet]


def test_a_signal_need_not_go_on_after_the_end_bit_for_its_packet_to_count() -> None:
    """S-9.2 A: it does, for 26 us at least; so the end bit's end is always seen as a change."""
    data = bytes([0x37, 0x74, 0x43])
    durations = packet_durations(data)
    assert packets_of(durations) == [data]
    assert packets_of([*durations, 26 * US]) == [data]
    assert packets_of(durations[:-1]) == []


def test_longer_preambles_may_be_asked_for() -> None:
    """S-9.2 A: a decoder may require up to 12."""
    data = bytes([0x37, 0x74, 0x43])
    limits = Limits(preamble_min=12)
    assert packets_of(packet_durations(data, 12), limits) == [data]
    assert packets_of(packet_durations(data, 11), limits) == []
