"""Packets laid over the changes of a lost stretch."""

from __future__ import annotations

from itertools import accumulate

from halfbit.inspect.match import laid, station_of
from halfbit.limits import RECEIVE
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte


def test_packets_are_tried_in_the_same_order_in_every_run() -> None:
    """They came in the order of a set, which differs from run to run: so did the cause, if two fitted equally well."""
    packets = [with_error_byte(bytes([3, speed])) for speed in range(0x60, 0x80)]
    times = [*accumulate(packet_durations(packets[5]) + bit_durations([1] * 12), initial=0)]
    station = station_of(RECEIVE, [], times)
    runs = station.runs(times, 0, len(times) - 1)
    tried = [each.data for each in laid(station, times, runs, set(packets), 40)]
    assert len({*tried}) > 4 and tried == sorted(tried)
