"""Surveys of loops: rare long turns may be read; turns that are always longer than half of a one may not.

Half of a one lasts 55 to 61 us (S-9.1 A, table 1). In a longer turn both its changes can go unseen.
"""

from __future__ import annotations

import random
from itertools import islice

import pytest

from halfbit import RECEIVE, edges_from_durations
from halfbit.decision.sequence import FIRST
from halfbit.survey import Finding, Survey, survey
from tests.benchmarks.simulated import sent
from tests.trial.library import AUTO, read
from tests.trial.observer import Capture, Loop, Observer
from tests.trial.rows import Row, loops_between, row_named
from tests.trial.run import made
from tests.trial.score import Score, score
from tests.trial.station import Station
from tests.trial.traffic import layout_packets

FAST = "loop of 5 us, one turn in 500 of 80 us, any station"
OFTEN = "loop of 5 us, one turn in 100 of 120 us"
RARE = "loop of 10 us, one turn in 500 of 80 us, any station"
SLOWER = "loop of 40 us, one turn in 100 of 120 us, any station"


def captured(station: Station, observer: Observer, seed: int, packets: int = 60) -> Capture:
    rng = random.Random(seed)
    return observer.capture(station.signal(islice(layout_packets(rng), packets + 2), rng), rng)


def surveyed(capture: Capture) -> Survey:
    return survey(edges_from_durations(capture.durations, "ns"), thorough=False)


@pytest.mark.parametrize("name, index, seed", [(FAST, 11, 530001), (SLOWER, 23, 581001)])
def test_a_loop_with_rare_long_turns_is_read(name: str, index: int, seed: int) -> None:
    """Both captures were lost once: many preambles meet long turns, and the loops were called too coarse."""
    scene, capture = made(row_named(name), index, 150, seed)
    found: Score = score(capture.packets, read(capture.durations, AUTO, scene.observer).packets)
    assert found.right >= 0.98 * found.sent
    assert not found.false


@pytest.mark.parametrize("name, period, turn", [(OFTEN, 5, 120), (RARE, 10, 80)])
def test_the_latency_is_the_loops_usual_one(name: str, period: int, turn: int) -> None:
    """Much more latency reads a little more, for then a change in a long turn may seem usual: so may wrong readings."""
    _, capture = made(row_named(name), 0, 60, 550102)
    found = surveyed(capture)
    assert period <= found.limits.latency_max / 1000 < 1.2 * period
    assert turn * 1000 <= found.limits.latency_rare <= 150_000
    assert "the loop period is up to about" in found.verdict.reason


@pytest.mark.parametrize("seed, index, latency", [(552001, 7, 30_000), (570001, 0, 12_000), (571001, 15, 5_500)])
def test_a_reading_with_long_turns_must_be_clear(seed: int, index: int, latency: int) -> None:
    """A fifth of the time is in long turns. Each capture gave packets that were not sent.

    In the first, readings with a wrong error detection byte were likelier. In the second, a zero was taken for a
    stretched one, although the station stretches none. In the third, another reading was nearly as likely.
    """
    scene, capture = made(row_named(OFTEN), index, 150, seed)
    limits = {"latency_max": latency, "latency_rare": 120_000}
    found = score(capture.packets, read(capture.durations, "sequence", scene.observer, limits).packets)
    assert found.right >= 0.7 * found.sent
    assert not found.false


@pytest.mark.parametrize(
    "loop",
    [
        # Ones of 58 us are seen nearly alike, so most preambles show a small latency.
        Loop(period=61, jitter=0.1),
        # Turns of all lengths up to that: times between changes may be short.
        Loop(period=70, jitter=0.9),
        # Most preambles meet a long turn.
        Loop(period=10, one_in=50, long=80),
    ],
    ids=["always", "of all lengths", "often"],
)
def test_a_loop_whose_long_turns_are_not_rare_is_too_coarse(loop: Loop) -> None:
    found = surveyed(captured(Station(), Observer(loop=loop), 3))
    assert found.verdict.finding is Finding.COARSE
    assert found.limits == RECEIVE


def test_limits_that_lose_much_of_a_slow_loop_are_not_believed() -> None:
    """The preambles show less lateness than half of a one, and one of the packets that fit was not sent."""
    scene, capture = made(Row(name="loop 58", scene=loops_between(58, 58.9), ways=()), 1, 150, 550907)
    assert scene.observer.loop and scene.observer.loop.period > scene.station.one[0]
    found = surveyed(capture)
    assert found.verdict.finding is Finding.COARSE
    assert max(found.trials, key=lambda trial: trial.packets).packets > 100


def test_a_coarse_timer_does_not_make_a_loop_too_coarse() -> None:
    found = surveyed(captured(Station(), Observer(loop=Loop(period=56), tick=10), 1, packets=30))
    assert found.verdict.finding is Finding.POLLED


@pytest.mark.parametrize("one_edge, decision", [(False, "halves"), (True, "sequence")])
def test_much_time_without_packets_does_not_make_a_loop_of_exact_times(one_edge: bool, decision: str) -> None:
    """Between packet end bit and preamble there may be other protocols' signals (S-9.2 A)."""
    durations = [*sent(6).durations, *[300_000] * 200] * 4
    if one_edge:
        durations = [first + last for first, last in zip(durations[::2], durations[1::2])]
    found = survey(edges_from_durations(durations, "ns"), thorough=False)
    assert found.trials[0].packets == 24 and found.trials[0].share < 0.6
    assert found.verdict.finding.readable
    assert found.limits.decision == decision


def test_a_loop_is_too_coarse_even_if_no_first_guess_of_the_lengths_is_right() -> None:
    """Later in the capture a guess is right, by chance nearly. That shows a loop, so it is not called nothing."""
    found = surveyed(captured(Station(), Observer(loop=Loop(period=60, jitter=0.03)), 1, packets=45))
    assert found.verdict.finding is Finding.COARSE


@pytest.mark.parametrize(
    "loop, missed", [(Loop(period=52), 0.0), (Loop(period=20, one_in=100, long=120), 0.0), (None, 0.01)]
)
def test_a_short_capture_is_read_by_sequence(loop: Loop | None, missed: float) -> None:
    """It ends before the durations from which lengths are first learned."""
    capture = captured(Station(), Observer(loop=loop, missed=missed), 4, packets=8)
    assert len(capture.durations) < FIRST
    found = surveyed(capture)
    assert found.limits.decision == "sequence"
    assert found.trials[0].packets == len(capture.packets) == 8
    assert (found.limits.latency_rare > 0) == (loop is not None and loop.one_in > 0)
