"""The ways from durations to packets and instructions."""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Callable, Iterable

from halfbit.bit import bits
from halfbit.edge import edges_from_durations
from halfbit.half_bit import half_bits
from halfbit.limits import RECEIVE
from halfbit.packet import packets
from halfbit.receiver import Receiver
from halfbit.stream import decode

from .frame import row


def _all(values: Iterable[object]) -> None:
    deque(values, maxlen=0)


@row("core.Receiver alone")
def core_receiver(durations: list[int]) -> Callable[[], object]:
    scaled = [1000 * duration for duration in durations]

    def work() -> None:
        feed = RECEIVE.receiver_core().feed
        for duration in scaled:
            feed(duration)

    return work


@row("Receiver, to packets, in bulk")
def receiver(durations: list[int]) -> Callable[[], object]:
    return lambda: Receiver().feed_many(durations, 1000)


@row("decode, a list")
def decode_list(durations: list[int]) -> Callable[[], object]:
    return lambda: _all(decode(edges_from_durations(durations)))


@row("decode, an array")
def decode_array(durations: list[int]) -> Callable[[], object]:
    numbers = array("L", durations)
    return lambda: _all(decode(edges_from_durations(numbers)))


@row("decode, a live iterator")
def decode_live(durations: list[int]) -> Callable[[], object]:
    return lambda: _all(decode(edges_from_durations(iter(durations))))


@row("layer by layer, to packets")
def layers(durations: list[int]) -> Callable[[], object]:
    return lambda: _all(packets(bits(half_bits(edges_from_durations(durations)))))
