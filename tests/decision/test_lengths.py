"""Lengths learned from packets that were read."""

from __future__ import annotations

import random
from itertools import accumulate

import attrs

from halfbit.decision.lengths import learned, whole_piece
from halfbit.event import Packet
from halfbit.limits import Limits
from halfbit.simulate.distort import polled
from tests.decision.test_any_durations import whole
from tests.decision.test_sums import US, some_packets, station


def test_a_loop_whose_turns_are_all_alike_does_not_hide_the_length_of_zeros() -> None:
    """Halves of 96 us last one turn of 39.5 us more or less: 79 or 118.5 us, and the median is 79.

    With some zeros stretched, the median once was the length that was learned, and recovery read FF 00 FF as 7F 00 7F.
    """
    durations = polled(station(some_packets(3), 60, (96, 96), 0.05), (39_500, 39_500), random.Random(1))
    limits = attrs.evolve(Limits.for_sampling_period(40), recover=False)
    times = list(accumulate(durations, initial=0))
    packets = [event for event in whole(durations, limits) if isinstance(event, Packet)]
    assert packets
    lengths = learned([piece for p in packets for piece in whole_piece(p.data, p.preamble, p.end, times)], 40 * US)
    assert lengths is not None and lengths.stretched > 0
    assert abs((lengths.zero_first + lengths.zero_last) // 2 - 96 * US) < 4 * US
