"""What a survey says is wrong with a capture, with the figure, held against what was done to the capture.

The captures are the trial's (``tests/trial``), which shares no code with the library.
"""

from __future__ import annotations

import random
import re
from itertools import islice

import pytest

from halfbit import RECEIVE, Instruction, Limits, auto_limits, decode, edges_from_durations
from halfbit.survey import Finding, Survey, survey
from halfbit.survey.search import LATENCIES
from tests.trial.observer import EVEN, Loop, Observer
from tests.trial.station import CutoutSeen, Station
from tests.trial.traffic import layout_packets

US = 1000
#: Halves of 58 and 100 us (S-9.1 A, table 1, nominal).
NOMINAL = Station()
PACKETS = 60


def surveyed(observer: Observer, station: Station = NOMINAL, packets: int = PACKETS, seed: int = 1) -> Survey:
    rng = random.Random(seed)
    signal = station.signal(islice(layout_packets(rng), packets), rng)
    return survey(edges_from_durations(observer.capture(signal, rng).durations, "ns"), thorough=False)


def figure(found: Survey, pattern: str) -> float:
    """The number in a survey's reason."""
    match = re.search(pattern, found.verdict.reason)
    assert match is not None, found.verdict.reason
    return float(match[1])


@pytest.mark.parametrize("one_in", [100, 300])
def test_missed_changes(one_in: int) -> None:
    found = surveyed(Observer(missed=1 / one_in), packets=90)
    assert found.verdict.finding is Finding.MISSED
    assert figure(found, r"one level change in (\d+) is missing") == pytest.approx(one_in, rel=0.4)
    assert "shorter interrupt routine" in found.verdict.advice


def test_doubled_changes() -> None:
    found = surveyed(Observer(doubled=1 / 100), packets=150)
    assert found.verdict.finding is Finding.NOISE
    assert figure(found, r"one level change in (\d+) is less than") == pytest.approx(100, rel=0.4)


@pytest.mark.parametrize("late", [5, 10, 15])
def test_one_direction_late(late: int) -> None:
    found = surveyed(Observer(one_way_late=late))
    assert found.verdict.finding is Finding.ONE_LATE
    assert figure(found, r"about ([\d.]+) us later") == pytest.approx(late, abs=0.5)
    assert "optocoupler" in found.verdict.advice


def test_a_stations_own_difference_is_not_one_direction_late() -> None:
    """S-9.1 A, table 1: a station's halves of a one may differ by 3 us."""
    found = surveyed(Observer(), Station(one=(56.5, 59.5)))
    assert found.verdict.finding is Finding.SOUND


@pytest.mark.parametrize(("clock", "words"), [(0.9, "slow"), (1.08, "fast")])
def test_a_clock_that_is_off(clock: float, words: str) -> None:
    """S-9.1 A, table 1: a station sends halves of ones of 55 to 61 us. From there on the clock is surely off."""
    found = surveyed(Observer(clock=clock))
    least = abs(58 * clock / (55 if clock < 1 else 61) - 1)
    assert figure(found, r"clock is ([\d.]+)% or more too " + words) == pytest.approx(100 * least, abs=0.1)


@pytest.mark.parametrize("one", [55.0, 61.0])
def test_a_station_at_its_limits_is_no_clock_that_is_off(one: float) -> None:
    """S-9.1 A, table 1, the station's column."""
    assert "clock" not in surveyed(Observer(), Station(one=(one, one))).verdict.reason


def test_long_turns_of_a_loop() -> None:
    found = surveyed(Observer(loop=Loop(period=20, one_in=100, long=120)))
    assert found.verdict.finding is Finding.POLLED
    assert figure(found, r"loop period is up to about ([\d.]+) us") == pytest.approx(20, rel=0.15)
    assert 80 <= figure(found, r"now and then ([\d.]+) us or more") <= 150
    assert "long turns" in found.verdict.advice


@pytest.mark.parametrize(("period", "slow"), [(30, False), (50, True)])
def test_a_loop_that_is_too_slow_to_be_sure(period: int, slow: bool) -> None:
    """Above 42 us not even sums can be told apart: half of the difference of 116 and 200 us (S-9.1 A, table 1)."""
    verdict = surveyed(Observer(loop=Loop(period=period))).verdict
    assert ("too slow to be sure" in verdict.reason) == slow
    assert ("at least every 42 us" in verdict.advice) == slow
    assert "Above 42 us" in (Limits.for_sampling_period.__doc__ or "")


@pytest.mark.parametrize("period", [90, 100, 105])
def test_a_loop_slower_than_a_half_is_named(period: int) -> None:
    """S-9.1 A, table 1: a whole one lasts 104 us or more, so these are not the changes of one edge either."""
    verdict = surveyed(Observer(loop=Loop(period=period))).verdict
    assert verdict.finding is Finding.COARSE and "the loop or timer is too coarse" in verdict.reason
    assert "at least every 42 us" in verdict.advice


@pytest.mark.parametrize("period", [110, 130, 150])
def test_a_loop_still_slower_is_named_as_one_of_two_reasons(period: int) -> None:
    verdict = surveyed(Observer(loop=Loop(period=period))).verdict
    assert verdict.finding is Finding.NOTHING
    assert "the loop or timer is slower than that, or it is not this signal" in verdict.reason
    assert "Check the wiring" in verdict.advice and "at least every 42 us" in verdict.advice


def test_one_edge_of_an_idle_signal_is_not_called_too_coarse() -> None:
    """S-9.1 A, table 1: whole ones of 104 us, the shortest that a decoder must accept."""
    found = survey(edges_from_durations([104 * US] * 2_000, "ns"))
    assert found.verdict.finding is Finding.NOTHING


def test_cutouts_are_named_and_sound() -> None:
    """S-9.3.2, RCN-217 (from memory): a cutout may follow every packet."""
    found = surveyed(Observer(), Station(cutout=CutoutSeen.ONE_PART, preamble=(18, 18)))
    assert found.verdict.finding is Finding.SOUND
    assert figure(found, r"cutouts follow (\d+)% of the packets") > 90


def test_what_loses_more_than_2_percent_is_not_sound() -> None:
    rng = random.Random(1)
    signal = NOMINAL.signal(islice(layout_packets(rng), PACKETS), rng)
    durations = Observer().capture(signal, rng).durations
    rate = 0.0
    for share in (0, 1 / 1500, 1 / 25):  # of the halves, torn to a length that is neither of a one nor of a zero
        torn = [77 * US if rng.random() < share else duration for duration in durations]
        found = survey(edges_from_durations(torn, "ns"), thorough=False)
        strict = next(trial for trial in found.trials if trial.limits == RECEIVE)
        assert strict.lost >= rate
        rate = strict.lost
        if found.trials[0].lost > 0.02:
            assert found.verdict.finding is not Finding.SOUND
            assert "of the time is lost" in found.verdict.reason
    assert rate > 0.02 and found.limits != RECEIVE
    assert found.trials[0].lost > 0.02  # by the last share, whatever the limits


@pytest.mark.parametrize("first", [0, 77])
def test_chance_is_not_believed(first: int) -> None:
    """An error byte is right by chance once in 256 times: noise that looks like halves gives a packet now and then."""
    rng = random.Random(first)
    signals = (
        [rng.choice((58, 58, 58, 100)) * US for _ in range(20_000)],
        [rng.randint(30, 130) * US for _ in range(6_000)],
    )
    for durations in signals[first > 0 :]:  # the first takes seconds, so it is tried with one seed
        found = survey(edges_from_durations(durations, "ns"), thorough=False)
        assert found.verdict.finding is Finding.NOTHING, found.verdict
        assert found.limits == RECEIVE


def test_a_filter_is_advised_only_if_it_gives_more_packets() -> None:
    thrice = surveyed(Observer(tripled=1 / 100))
    assert thrice.filter > 0 and "--filter" in thrice.verdict.advice
    assert thrice.trials[0].packets > max(trial.packets for trial in thrice.trials if not trial.filter)
    one_spike = list(NOMINAL.signal(islice(layout_packets(random.Random(1)), 200), random.Random(1)).durations)
    durations = [round(duration * US) for duration in one_spike]
    durations[5000:5001] = [durations[5000] // 2 - 2 * US, 4 * US, durations[5000] - durations[5000] // 2 - 2 * US]
    found = survey(edges_from_durations(durations, "ns"), thorough=False)
    assert found.filter == 0


def test_limits_alone_read_what_a_filter_would() -> None:
    """``auto_limits`` cannot give a filter. It once gave the limits for behind one: 54 of 150 packets."""
    rng = random.Random(3)
    signal = NOMINAL.signal(islice(layout_packets(rng), PACKETS), rng)
    durations = Observer(tripled=1 / 100).capture(signal, rng).durations
    edges = edges_from_durations(durations, "ns")
    assert survey(edges, thorough=False).filter > 0
    events = list(decode(edges, auto_limits(edges)))
    assert sum(isinstance(event, Instruction) for event in events) >= PACKETS - 3


def test_the_latency_is_never_more_than_a_loops() -> None:
    """Changes missed among exact times must not be taken for a slow loop."""
    found = surveyed(Observer(missed=1 / 100), packets=150)
    assert found.limits.latency_max <= 12 * US
    assert max(LATENCIES) < 80 * US


def test_simple_limits_are_preferred_to_others_that_read_the_same() -> None:
    found = surveyed(Observer(loop=Loop(period=30)))
    assert found.limits.decision == "sum"
    best = found.trials[0].score
    assert all(trial.score <= best + 0.005 for trial in found.trials)


def test_one_edge_with_zeros_that_are_all_stretched_alike() -> None:
    found = surveyed(Observer(edges=EVEN), Station(stretched=1, stretch=(100, 500)))
    assert found.verdict.finding is Finding.ONE_EDGE
    assert found.trials[0].packets == PACKETS - 2
