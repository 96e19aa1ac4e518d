"""Limits found by a survey read as much as any made by hand, whatever the capture and the station."""

from __future__ import annotations

from typing import Any

import pytest

from halfbit.edge import Edge
from halfbit.error import HalfbitError
from halfbit.limits import RECEIVE
from halfbit.survey import Finding, auto_limits
from tests.benchmarks.simulated import CAPTURES, TIMINGS, Capture, found_limits, result, sent, single_halves

PACKETS = 60
#: Packets the limits found may fall short of the best by, as a share: less than one of them.
SHORT = 0.005

#: Captures read for each way a station times its bits; they are the hard ones.
HARD = (
    "jitter of 3 us",
    "loop of 30 to 40 us",
    "loop of 45 to 56 us",
    "falling edges only",
)

#: What the survey says of some: the finding, words of its reason and of its advice.
FINDINGS = {
    "clean": (Finding.SOUND, "58 us long", "Decode it as it is"),
    "cutouts": (Finding.SOUND, "58 us long", "as it is"),
    "jitter of 3 us": (Finding.JITTER, "wider windows", "--limits auto"),
    "noise": (Finding.NOISE, "closer than any half-bit", "--filter"),
    "loop of 20 to 30 us": (Finding.POLLED, "loop period is up to about", "decides by sum"),
    "loop of 36 us": (Finding.POLLED, "steps of 36 us", "decides by sum"),
    "loop of 45 to 56 us": (Finding.POLLED, "in sequence can", "decides by sequence"),
    "rising edges only": (Finding.ONE_EDGE, "116, 158 and 200 us", "decides by sequence"),
    "falling edges only": (Finding.ONE_EDGE, "116, 158 and 200 us", "decides by sequence"),
}


def best(capture: Capture, timing: str) -> float:
    """The greatest share that limits made by hand read."""
    signal = sent(PACKETS, timing=TIMINGS[timing])
    durations = capture.durations(signal)
    stretching = int("stretched" in capture.name)
    limits = [RECEIVE, single_halves(), capture.by_sequence()]
    if capture.jitter is None:
        limits.append(capture.by_sum())
    return max(result(signal, durations, each, capture.filter, stretching).share for each in limits)


@pytest.mark.parametrize("name", list(CAPTURES))
def test_the_survey_says_what_a_capture_is_and_finds_limits_as_good_as_the_best(name: str) -> None:
    assert FINDINGS.keys() <= CAPTURES.keys()
    capture = CAPTURES[name]
    signal = sent(PACKETS)
    durations = capture.durations(signal)
    found = found_limits(durations)
    got = result(signal, durations, found.limits, found.filter, int("stretched" in name))
    assert got.share >= best(capture, "58/100") - SHORT
    assert got.false == 0
    if name in FINDINGS:
        finding, reason, advice = FINDINGS[name]
        assert found.verdict.finding is finding
        assert reason in found.verdict.reason
        assert advice in found.verdict.advice
        if finding is Finding.SOUND:
            assert found.limits == RECEIVE
            assert found.filter == 0
            assert [trial.limits for trial in found.trials] == [RECEIVE]  # nothing else needed to be tried


@pytest.mark.parametrize("timing", [name for name in TIMINGS if name != "58/100"])
@pytest.mark.parametrize("name", HARD)
def test_the_station_may_time_its_bits_otherwise(name: str, timing: str) -> None:
    capture = CAPTURES[name]
    signal = sent(PACKETS, timing=TIMINGS[timing])
    durations = capture.durations(signal)
    found = found_limits(durations)
    got = result(signal, durations, found.limits)
    assert got.share >= best(capture, timing) - SHORT
    assert got.false == 0
    # What the survey says of the station is so, to half a microsecond where changes are seen 56 us late.
    assert found.fit is not None
    assert found.fit.one == pytest.approx(TIMINGS[timing].one_first, abs=300)
    assert found.fit.zero == pytest.approx(TIMINGS[timing].zero_first, abs=500)


@pytest.mark.parametrize("wrong", [None, 5, [58], [Edge(5, 1), Edge(3, 0)], [Edge(0.5, 1)]])  # type: ignore[arg-type]
def test_what_is_no_row_of_edges_is_refused(wrong: Any) -> None:
    with pytest.raises(HalfbitError):
        auto_limits(wrong)
