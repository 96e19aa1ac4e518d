"""Packets to half-bits: what is sent is what the standards say, and comes back."""

from __future__ import annotations

import pytest

from halfbit.error import HalfbitError
from halfbit.simulate.signal import Timing, bit_durations, packet_bits, packet_durations, with_error_byte
from tests.support import packets_of


def test_the_error_byte_is_the_exclusive_or_of_all() -> None:
    assert with_error_byte(bytes([0x37, 0x74])) == bytes([0x37, 0x74, 0x43])  # S-9.2, worked value
    assert with_error_byte(b"") == b"\0"


def test_bits_of_a_packet() -> None:
    """The idle packet of S-9.2 B, framed by hand as S-9.2 A says."""
    expected = "1" * 14 + "0" + "11111111" + "0" + "00000000" + "0" + "11111111" + "1"
    assert "".join(map(str, packet_bits(bytes([255, 0, 255])))) == expected
    assert packet_bits(b"\x80", preamble=0) == [0, 1, 0, 0, 0, 0, 0, 0, 0, 1]
    with pytest.raises(HalfbitError, match="preamble: -1"):
        packet_bits(b"", preamble=-1)


def test_durations() -> None:
    """58 and 100 us are the nominal halves (S-9.1 A, table 1)."""
    assert bit_durations([1, 0]) == [58_000, 58_000, 100_000, 100_000]
    assert bit_durations([1, 0], Timing(1, 2, 3, 4)) == [1, 2, 3, 4]
    durations = packet_durations(bytes([255, 0, 255]), 20)
    assert len(durations) == 2 * (20 + 3 * 9 + 1)
    assert packets_of(durations) == [bytes([255, 0, 255])]
