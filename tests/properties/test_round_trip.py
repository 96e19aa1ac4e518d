"""What was sent comes out, no more and no fewer, however it was timed inside the limits."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from halfbit.event import Packet
from halfbit.simulate.signal import bit_durations
from tests.support import events_of
from tests.support_strategies import Sound, sound_signals


@given(sound_signals(), st.data())
def test_packets_come_out_as_sent(sound: Sound, data: st.DataObject) -> None:
    """Also where the capture begins with any half-bit of the first preamble and packet."""
    first = data.draw(st.one_of(st.just(0), st.integers(0, sound.places[0][1])))
    events = events_of(sound.durations[first:])
    packets = [event.data for event in events if isinstance(event, Packet)]
    enough = first <= sound.places[0][0] - 20  # ten one-bits of the first preamble are left
    assert packets == (sound.packets if enough else sound.packets[1:])
    if enough:
        assert len(events) == len(packets)


@given(sound_signals())
def test_packets_lie_where_they_were_sent(sound: Sound) -> None:
    times = [0]
    for duration in sound.durations:
        times.append(times[-1] + duration)
    events = [event for event in events_of(sound.durations) if isinstance(event, Packet)]
    assert [event.end for event in events] == [times[end] for _, end in sound.places]
    assert [event.start for event in events] == [0, *(event.end for event in events[:-1])]
    before = [0, *(end for _, end in sound.places)]
    counts = [(start - end) // 2 for (start, _), end in zip(sound.places, before)]
    shared = [counts[0], *(count + 1 for count in counts[1:])]  # the end bit before counts (S-9.2 A)
    assert [event.preamble for event in events] == shared


@given(sound_signals(most=2), st.integers(1, 47), st.booleans())
def test_the_phase_is_found_among_ones_of_either_phase(sound: Sound, ones: int, odd: bool) -> None:
    """One-bits before, whole or begun with a last part, change nothing but the first count."""
    lead = bit_durations([1] * ones)[1 if odd else 0 :]
    events = events_of(lead + sound.durations)
    assert [event.data for event in events if isinstance(event, Packet)] == sound.packets
    assert len(events) == len(sound.packets)
