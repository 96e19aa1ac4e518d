"""On signals of all sorts: the events are the letter's, the same every way, and ledger for all time."""

from __future__ import annotations

from itertools import accumulate

from hypothesis import given
from hypothesis import strategies as st

from halfbit.event import Cutout, Fault, FaultKind
from halfbit.limits import Limits
from halfbit.event import Packet
from tests.support import events_of, show
from tests.support_reference import reference_packets
from tests.support_strategies import all_limits, signals


@given(signals(), all_limits)
def test_packets_are_those_the_standards_see(durations: list[int], limits: Limits) -> None:
    times = list(accumulate(durations, initial=0))
    got = [event for event in events_of(durations, limits) if isinstance(event, Packet)]
    expected = reference_packets(durations, limits)
    assert [(event.data, event.preamble, event.end) for event in got] == [
        (found.data, min(found.preamble, 255), times[found.end]) for found in expected
    ]


@given(signals(), all_limits)
def test_every_nanosecond_is_accounted_for(durations: list[int], limits: Limits) -> None:
    """Events lie in order and do not overlap, on changes; between them are halves of ones only."""
    events = events_of(durations, limits)
    times = list(accumulate(durations, initial=0))
    changes = set(times)
    before = 0
    for start, end in [*((event.start, event.end) for event in events), (times[-1], times[-1])]:
        assert before <= start <= end, show(events)
        assert {start, end} <= changes, show(events)
        for time, duration in zip(times, durations):
            if duration and before <= time < start:
                assert limits.one_min <= duration <= limits.one_max, show(events)
        before = end


@given(signals(), all_limits)
def test_what_is_lost_is_told_truly(durations: list[int], limits: Limits) -> None:
    """A fault lies in its stretch; none is empty, unless a half-bit of no length is all it is about."""
    events = events_of(durations, limits)
    for index, event in enumerate(events):
        if isinstance(event, Fault):
            assert event.start < event.end or 0 in durations
            assert event.start <= event.at <= event.end
            assert event.count >= (event.kind is not FaultKind.CUT)
            assert str(event)
        elif isinstance(event, Cutout):
            before = events[index - 1]
            assert isinstance(before, Packet) and before.end == event.start


@given(signals(), st.integers(0, 10**13))
def test_time_shifts_move_events_and_nothing_else(durations: list[int], shift: int) -> None:
    """A signal decodes the same whenever it starts: a long silence before it only moves it."""
    plain = [event for event in events_of(durations) if isinstance(event, Packet)]
    later = [event for event in events_of([10**9 + shift, *durations]) if isinstance(event, Packet)]
    assert [event.data for event in later] == [event.data for event in plain]
    assert [event.end - 10**9 - shift for event in later] == [event.end for event in plain]
