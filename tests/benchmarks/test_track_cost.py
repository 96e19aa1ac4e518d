"""Following a track: what is measured is the whole work, and memory stays flat."""

from __future__ import annotations

from halfbit.decoder import TrackState
from halfbit.instruction import InstructionMachine

from .track_cost import cost, growth, track


def test_the_track_is_a_busy_one() -> None:
    machine, state = InstructionMachine(), TrackState()
    changes = [change for packet in track(6_000) for event in machine.feed(packet) for change in state.feed(event)]
    assert len(state.seen) > 60
    assert len(changes) > 500
    assert {change.item.value for change in changes} >= {"speed", "direction", "function", "output", "CV"}
    assert (
        sum(row.packets for row in state.seen.values()) + state.losses + sum(row.losses for row in state.seen.values())
        == 6_000
    )


def test_both_are_measured() -> None:
    found = cost(300, 1)
    assert found.decoding > 0 and found.track_state > 0


def test_memory_is_flat() -> None:
    """What is remembered is bounded: 32 bytes more for each packet would show."""
    assert max(growth(45_000, 9)) < 45_000 * 32
