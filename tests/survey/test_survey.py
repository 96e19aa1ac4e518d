"""What a survey says of captures of all kinds, of which it is known what they are."""

from __future__ import annotations

import random
import tracemalloc
from collections.abc import Iterator

import pytest

from halfbit.simulate.distort import counted, polled
from halfbit.edge import edges_from_durations
from halfbit.error import HalfbitError
from halfbit.limits import RECEIVE, Limits
from halfbit.simulate.signal import bit_durations
from halfbit.stream import decode
from halfbit.instruction import Instruction
from halfbit.survey import Finding, Survey, auto_limits, look_ahead, survey
from halfbit.survey.stretch import LENGTH, NUMBER, Stretches
from halfbit.survey.tick import tick_of
from tests.benchmarks.simulated import CAPTURES, sent
from tests.support import edges_of

US = 1000


def surveyed(durations: list[int], *, thorough: bool = False) -> Survey:
    return survey(edges_from_durations(durations, "ns"), thorough=thorough)


def noise(least: int, greatest: int) -> list[int]:
    rng = random.Random(3)
    return [rng.randint(least, greatest) for _ in range(5_000)]


@pytest.fixture(scope="module")
def clean() -> list[int]:
    return list(sent(80).durations)


@pytest.mark.parametrize("period", [20, 30, 40, 50])
def test_the_loop_period_is_found(period: int, clean: list[int]) -> None:
    found = surveyed(polled(clean, (period * US - 5 * US, period * US), random.Random(1)))
    assert found.fit is not None
    assert found.fit.late == pytest.approx(period * US, rel=0.08)
    assert found.fit.latency_rare == 0


def test_a_loops_long_turns_are_found() -> None:
    found = surveyed(CAPTURES["loop of 30 to 36 us, one turn in 500 of 80 us"].durations(sent(200)))
    assert found.fit is not None
    assert found.fit.late == pytest.approx(36 * US, rel=0.08)
    assert found.fit.latency_rare == pytest.approx(80 * US, rel=0.15)
    assert "now and then" in found.verdict.reason


@pytest.mark.parametrize(
    ("factor", "words"),
    [(1 / 1000, "milliseconds read as microseconds"), (1000, "nanoseconds read as microseconds"), (2, "ticks of a timer"), (1 / 8, "ticks of a timer")],
)
def test_a_wrong_unit_is_seen(factor: float, words: str, clean: list[int]) -> None:
    found = surveyed([round(duration * factor) for duration in clean])
    assert found.verdict.finding is Finding.UNIT
    assert words in found.verdict.reason
    assert found.factor == pytest.approx(1 / factor, rel=0.05)


def test_times_too_short_to_be_told_apart_are_a_wrong_unit_too(clean: list[int]) -> None:
    assert surveyed([0] * len(clean)).verdict.finding is Finding.UNIT


@pytest.mark.parametrize(
    "durations",
    [
        [],
        [58 * US],
        [500 * US] * 5_000,
        [58 * US] * 2_000,
        noise(100, 300 * US),
        noise(40 * US, 120 * US),
        [10**12] * 3,
        [0, 10**24, 0, 5],
    ],
    ids=["no change", "one half-bit", "a square wave", "only ones", "noise", "noise like halves", "hours", "absurd"],
)
def test_what_holds_no_packet_holds_nothing(durations: list[int]) -> None:
    found = surveyed(durations)
    assert found.verdict.finding is Finding.NOTHING
    assert found.limits == RECEIVE
    assert found.half_bits == len(durations)


@pytest.mark.parametrize("period", [70, 90])
def test_too_slow_a_loop_is_told(period: int, clean: list[int]) -> None:
    found = surveyed(polled(clean, (period * US, period * US + 15 * US), random.Random(2)))
    assert found.verdict.finding is Finding.COARSE
    assert "changes go unseen" in found.verdict.reason


@pytest.mark.parametrize("low, high, count, seed", [(60, 65, 40, 4), (58, 60, 12, 0)], ids=["60 us", "58 us"])
def test_a_loop_that_misses_halves_gives_no_packet_that_was_not_sent(
    low: int, high: int, count: int, seed: int
) -> None:
    """Both changes of a half fall into one turn now and then; readings without them can be packets, and false."""
    signal = sent(count)
    durations = polled(list(signal.durations), (low * US, high * US), random.Random(seed))
    found = surveyed(durations)
    assert found.verdict.finding in (Finding.COARSE, Finding.NOTHING), found.verdict
    assert found.limits == RECEIVE
    given = decode(edges_from_durations(durations, "ns"), found.limits)
    packets = [event.packet for event in given if isinstance(event, Instruction)]
    assert {packet.data for packet in packets if packet is not None} <= set(signal.packets)


def test_a_capture_of_one_packet_is_no_nothing() -> None:
    durations = list(sent(1).durations)
    found = surveyed(durations)
    assert (found.verdict.finding, found.limits) == (Finding.SOUND, RECEIVE)
    assert "one packet" in found.verdict.reason
    found = surveyed(polled(durations, (30 * US, 40 * US), random.Random(2)))
    assert found.verdict.finding is Finding.NOTHING
    assert "too few to learn from" in found.verdict.reason


def test_polarity_and_what_comes_first_mean_nothing(clean: list[int]) -> None:
    for start in (0, 1, 57):
        edges = edges_of(clean[start:], level=start % 2)
        assert survey(edges).verdict.finding is Finding.SOUND


def test_packets_of_one_edge_may_come_late_in_a_capture(clean: list[int]) -> None:
    """The lengths are first guessed from the first durations. Here they hold no two preambles, so they prove nothing."""
    halves = [*[58 * US] * 3_600, *clean[:2_200]]
    found = surveyed([first + last for first, last in zip(halves[::2], halves[1::2])])
    assert found.verdict.finding is Finding.ONE_EDGE
    assert found.limits.one_edge and found.trials[0].packets >= 20


def test_the_histogram_holds_each_duration_once(clean: list[int]) -> None:
    found = surveyed([*clean, 400 * US, 7 * US])
    assert found.half_bits == len(clean) + 2 == sum(found.histogram) + found.longer
    assert found.length == sum(clean) + 407 * US
    assert found.histogram[58] == clean.count(58 * US)
    assert found.histogram[100] == clean.count(100 * US)
    assert (found.histogram[7], found.longer) == (1, 1)
    shares = found.shares
    assert shares.below + shares.ones + shares.between + shares.zeros + shares.above == pytest.approx(1)
    assert shares.ones == pytest.approx(clean.count(58 * US) / found.half_bits)


def test_preambles_are_counted() -> None:
    found = surveyed(list(sent(80).durations))
    assert sum(found.preambles.values()) == 80
    assert set(found.preambles) <= {14, 15, 16, 17, 18}  # 14, 16 or 17 sent, the end bit before counted (S-9.2 A)


def test_a_thorough_survey_tries_all_and_finds_the_same(clean: list[int]) -> None:
    for durations in (clean, CAPTURES["loop of 20 to 30 us"].durations(sent(80))):
        found, quick = surveyed(durations, thorough=True), surveyed(durations)
        assert len(found.trials) > len(quick.trials)
        assert found.trials[0].limits.decision == quick.trials[0].limits.decision
        assert found.trials[0].packets == quick.trials[0].packets == 80


def test_memory_is_constant() -> None:
    """What is kept of a capture does not grow with it."""
    kept = Stretches()
    for _ in range(3 * NUMBER):
        kept.add([58 * US] * LENGTH)
    tracemalloc.start()
    for _ in range(3 * NUMBER):
        kept.add([58 * US] * LENGTH)
    grown = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert grown < 2 * NUMBER * LENGTH * 8
    assert sum(map(len, kept.kept())) == NUMBER * LENGTH


def test_stretches_come_from_the_whole_capture_and_in_order() -> None:
    kept = Stretches()
    for number in range(50 * LENGTH):
        kept.add([number])
    rows = kept.kept()
    assert sum(map(len, rows)) == NUMBER * LENGTH
    starts = [row[0] for row in rows]
    assert starts == sorted(starts)
    assert starts[-1] > 25 * LENGTH  # as good as certain for eight of fifty
    assert all(row == list(range(row[0], row[0] + len(row))) for row in rows)


@pytest.mark.parametrize(
    ("tick", "expected"),
    [(1000, 1000), (10_000, 10_000), (1_000_000_000 / 32768, 30_517.6), (500, 500)],
)
def test_the_tick_of_a_timer_is_found(tick: float, expected: float, clean: list[int]) -> None:
    """32768 Hz is a watch crystal's rate (common practice, no source); its tick is no whole number of ns."""
    rng = random.Random(1)
    time, before, durations = 0.0, 0, []
    for duration in clean:
        time += duration + rng.uniform(-900, 900)
        now = round(time // tick * tick)
        durations.append(now - before)
        before = now
    assert tick_of(durations) == pytest.approx(expected, rel=1e-3)


def test_no_tick_is_seen_where_there_is_none(clean: list[int]) -> None:
    rng = random.Random(1)
    assert tick_of(duration + rng.randint(-3000, 3000) for duration in clean) == 0
    assert tick_of([]) == 0
    assert tick_of(counted([58 * US] * 20, 58 * US)) == 0  # one value says nothing


def test_a_live_source_is_looked_ahead_of_and_replayed_whole() -> None:
    durations = CAPTURES["loop of 30 to 40 us"].durations(sent(120))
    taken = []

    def live() -> Iterator[int]:
        for duration in durations:
            taken.append(duration)
            yield duration

    found, edges = look_ahead(edges_from_durations(live(), "ns"), seconds=0.4)
    assert 0.4e9 <= sum(taken) < 0.41e9  # no more is waited for
    assert found.limits.decision == "sum"
    decoded = list(decode(edges, found.limits))
    assert decoded == list(decode(edges_from_durations(durations, "ns"), found.limits))
    with pytest.raises(HalfbitError, match="only once"):
        list(edges._rows())


def test_replayed_edges_are_the_captures() -> None:
    durations = list(sent(3).durations)
    _, edges = look_ahead(edges_from_durations(iter(durations), "ns"), seconds=0.01)
    assert list(edges) == edges_of(durations)


@pytest.mark.parametrize("seconds", [0, -1, float("nan")])
def test_no_time_to_look_is_refused(seconds: float) -> None:
    with pytest.raises(HalfbitError, match="seconds"):
        look_ahead(edges_from_durations([58_000], "ns"), seconds=seconds)


def test_automatic_limits_are_the_surveys() -> None:
    durations = CAPTURES["loop of 5 to 10 us"].durations(sent(80))
    edges = edges_from_durations(durations, "ns")
    assert auto_limits(edges) == surveyed(durations).limits != RECEIVE


def test_limits_are_fitted_to_two_groups_of_durations() -> None:
    rng = random.Random(5)
    durations = [duration + rng.randint(-9000, 9000) for duration in bit_durations([rng.randint(0, 1) for _ in range(3000)])]
    limits = Limits.fitted(durations)
    assert all(limits.one_min <= duration <= limits.one_max for duration in durations if duration < 77 * US)
    assert all(duration >= limits.zero_min for duration in durations if duration > 80 * US)
    # S-9.1 A, table 1: the decoder's windows end at 64 us and begin at 90 us; between them the two must meet.
    assert 64 * US < limits.one_max < limits.zero_min < 90 * US


@pytest.mark.parametrize("durations", [[], [58 * US] * 100, [rng * US for rng in range(20, 180)]], ids=["none", "one group", "no gap"])
def test_limits_are_not_fitted_to_what_is_no_two_groups(durations: list[int]) -> None:
    with pytest.raises(HalfbitError, match="no two groups"):
        Limits.fitted(durations)
