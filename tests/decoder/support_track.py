"""Signals for tests of decoders: packets with times, and half-bits of programming sessions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from halfbit import Packet, StreamDecoder, edges_from_durations
from halfbit.decoder import AccessoryDecoder, Effect, MultiFunctionDecoder
from halfbit.simulate.signal import NOMINAL, Timing, packet_durations, with_error_byte

__all__ = ["RESET", "effects_of", "half_bits", "packets"]

RESET = "00 00"
MS = 1_000_000


def packets(*bodies: str, gap: int = 8 * MS, start: int = 0) -> list[Packet]:
    """Packets from hexadecimal bytes without the error detection byte, one each ``gap`` ns."""
    return [
        Packet(with_error_byte(bytes.fromhex(body)), 14, start + gap * index, start + gap * (index + 1))
        for index, body in enumerate(bodies)
    ]


def half_bits(bodies: Iterable[str], preamble: int = 20, timing: Timing = NOMINAL) -> list[int]:
    """The half-bits of packets, ns: the long preamble of service mode unless another is given (S-9.2.3 E)."""
    return [
        duration
        for body in bodies
        for duration in packet_durations(with_error_byte(bytes.fromhex(body)), preamble, timing)
    ]


def effects_of(decoder: MultiFunctionDecoder | AccessoryDecoder, durations: Sequence[int]) -> list[Effect]:
    """What a decoder does when it sees half-bits."""
    stream = StreamDecoder()
    events = [*stream.feed_many(edges_from_durations(durations, "ns")), *stream.finish()]
    return [effect for event in events for effect in decoder.feed(event)]
