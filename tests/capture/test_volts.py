"""Tables of volts: the threshold, the crossings, both rails."""

from __future__ import annotations

import csv
import io
import math
import random
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.capture import open_capture
from halfbit.capture.samples import Finder, Samples, changes
from halfbit.capture.threshold import STRETCH, Threshold, threshold_of
from halfbit.cli.main import main
from halfbit.edge import Edge
from halfbit.error import CaptureError, HalfbitError

from .support_capture import Pieces, error_of, times_of
from .support_signal import changes_of, level_at, packets_in, some_packets

PACKETS, DURATIONS = some_packets(6)


def written(rows: Iterable[Sequence[object]], names: Sequence[str] = ("time [us]", "volts"), **form: Any) -> bytes:
    """A table as the csv module writes it."""
    text = io.StringIO()
    writer = csv.writer(text, **form)
    writer.writerow(names)
    writer.writerows(rows)
    return text.getvalue().encode()


def volts_at(time: float, changes: Sequence[int], low: float, high: float, slope: float = 4_000) -> float:
    """A signal whose changes last ``slope`` ns, with the middle at the time of the change."""
    before = low + (high - low) * level_at(time - slope / 2, changes)
    after = low + (high - low) * level_at(time + slope / 2, changes)
    if before == after:
        return before
    nearest = min(changes, key=lambda change: abs(change - time))
    return before + (after - before) * ((time - nearest) / slope + 0.5)


def sampled(low: float, high: float, period: int = 3_000, noise: float = 0.0) -> list[tuple[float, float]]:
    """Times in us and volts of the signal, each ``period`` ns."""
    rng = random.Random(3)
    changes = changes_of(DURATIONS, 200_000)
    times = range(0, changes[-1] + 100_000, period)
    return [(t / 1000, volts_at(t, changes, low, high) + rng.uniform(-noise, noise)) for t in times]


@pytest.mark.parametrize(("low", "high"), [(0.0, 3.3), (-15.0, 15.0), (1.2, 1.9), (-24.0, 0.0)])
def test_threshold_is_found_between_the_levels(low: float, high: float) -> None:
    data = written(sampled(low, high))
    edges = open_capture(io.BytesIO(data), format="volts")
    assert edges.remarks == (
        f"threshold {(low + high) / 2:.4g}, hysteresis {(high - low) / 4:.4g} "
        f"(from the levels {low:.4g} and {high:.4g} at the start)",
    )
    assert packets_in(edges)[:-1] == PACKETS


def test_crossings_are_finer_than_the_samples() -> None:
    times = times_of(written(sampled(0.0, 3.3)), format="volts")
    changes = changes_of(DURATIONS)
    assert len(times) == len(changes)
    # A slope of 4 us and samples each 3 us: there is always one on the slope, so the line is nearly it.
    off = [time - change - (times[9] - changes[9]) for time, change in zip(times, changes)]
    assert max(map(abs, off)) < 700
    assert sorted(map(abs, off))[len(off) // 2] < 250


def test_noise_is_below_the_hysteresis() -> None:
    # S-9.1 B: noise of a quarter of the signal's peak to peak.
    edges = list(open_capture(io.BytesIO(written(sampled(-10.0, 10.0, 2_000, noise=2.5))), format="volts"))
    assert len(edges) == len(DURATIONS) + 1
    assert packets_in(edges)[:-1] == PACKETS


def test_threshold_and_hysteresis_as_given() -> None:
    rows = [(0, 0.0), (10, 2.0), (20, 0.0), (30, 4.0), (40, 1.5), (50, 0.0), (60, 4.0)]
    data = written(rows)
    # The level is 1 from 2.5 V, and 0 below 1.5 V; the lines cross 2 V at 25, 38 and 55 us.
    assert times_of(data, format="volts", threshold=2, hysteresis=1) == [0, 13_000, 30_000]
    edges = open_capture(io.BytesIO(data), format="volts", threshold=2, hysteresis=1)
    assert list(edges)[0] == Edge(0, 1)
    assert edges.remarks == ("threshold 2, hysteresis 1",)
    assert len(times_of(data, format="volts", threshold=1.0, hysteresis=0)) == 5


def test_only_one_of_both_given() -> None:
    data = written(sampled(0.0, 4.0))
    (remark,) = open_capture(io.BytesIO(data), format="volts", threshold=1).remarks
    assert remark.startswith("threshold 1, hysteresis 1 (from")
    (remark,) = open_capture(io.BytesIO(data), format="volts", hysteresis=0.5).remarks
    assert remark.startswith("threshold 2, hysteresis 0.5 (from")


def test_both_rails() -> None:
    rows = [(time, 3.0 + volts / 2, 3.0 - volts / 2) for time, volts in sampled(-12.0, 12.0)]
    data = written(rows, ("time [us]", "rail a", "rail b"))
    edges = open_capture(io.BytesIO(data), format="volts", level_column="rail a", other_rail="rail b")
    assert edges.remarks[0].startswith("threshold 0, hysteresis 6 ")
    first = list(edges)
    assert packets_in(first)[:-1] == PACKETS
    second = list(open_capture(io.BytesIO(data), format="volts", other_rail=2, level_column=3))
    assert [edge.time for edge in first] == [edge.time for edge in second]
    assert [edge.level for edge in first] == [1 - edge.level for edge in second]


def test_noise_common_to_both_rails_cancels() -> None:
    rng = random.Random(1)
    rows = []
    for time, volts in sampled(-12.0, 12.0):
        hum = rng.uniform(-30, 30)
        rows.append((time, volts / 2 + hum, -volts / 2 + hum))
    data = written(rows, ("time [us]", "a", "b"))
    assert packets_in(open_capture(io.BytesIO(data), format="volts", level_column="a", other_rail="b"))[:-1] == PACKETS


def test_decimal_comma_and_seconds() -> None:
    rows = [(f"{time / 1e6:.7f}".replace(".", ","), f"{volts:.3f}".replace(".", ",")) for time, volts in sampled(0.0, 3.3)]
    data = written(rows, ("Time (s)", "Channel 1 (V)"), delimiter=";")
    assert packets_in(open_capture(io.BytesIO(data), format="volts"))[:-1] == PACKETS


def test_counter_that_starts_over() -> None:
    rows = [(int(time * 10) % 4096, volts) for time, volts in sampled(0.0, 3.3)]
    data = written(rows, ("t", "v"))
    assert packets_in(open_capture(io.BytesIO(data), format="volts", unit=10_000_000, wrap=4096))[:-1] == PACKETS
    assert "time goes backwards" in error_of(data, format="volts", unit=10_000_000).problem


def reference(times: Sequence[int], values: Sequence[int], middle: int, half: int) -> list[Fraction]:
    """The exact crossings, one sample at a time; fractions.Fraction of the standard library rounds nothing."""
    level: int | None = None
    crossed: Fraction | None = None
    found = []
    for i, value in enumerate(values):
        if i and (values[i - 1] < middle) != (value < middle):
            part = Fraction(middle - values[i - 1], value - values[i - 1])
            crossed = times[i - 1] + part * (times[i] - times[i - 1])
        beyond = 1 if value >= middle + half else 0 if value < middle - half else None
        if beyond is not None and level is not None and beyond != level:
            assert crossed is not None
            found.append(crossed)
        level = level if beyond is None else beyond
    return found


@given(
    st.lists(st.tuples(st.integers(0, 50), st.integers(-9, 9)), min_size=2, max_size=80),
    st.integers(-3, 3),
    st.integers(0, 4),
    st.lists(st.integers(1, 12), min_size=1, max_size=4),
)
def test_crossings_are_those_of_exact_arithmetic_however_they_come_in(
    samples: list[tuple[int, int]], middle: int, half: int, sizes: list[int]
) -> None:
    times, values = [0], [value for _, value in samples]
    for step, _ in samples[1:]:
        times.append(times[-1] + step)
    expected = reference(times, values, middle, half)

    def cut() -> Iterable[Samples]:
        at, turn = 0, 0
        while at < len(times):
            size = sizes[turn % len(sizes)]
            yield Samples(times[at : at + size], b"", lambda _: "", values[at : at + size])
            at, turn = at + size, turn + 1

    found = [time for block in changes(cut(), Finder(None, Threshold(middle, 2 * half))) for time in block.values]
    assert found == pytest.approx([float(time) for time in expected])
    assert found == sorted(found)


def test_same_however_the_bytes_come_in() -> None:
    data = written(sampled(0.0, 3.3)[:400])
    whole = times_of(data, format="volts")
    for sizes in ([1], [7, 100], [64, 3]):
        edges = open_capture(Pieces.of(data, sizes * 10_000), format="volts")
        assert [edge.time for edge in edges] == whole


@pytest.mark.parametrize("noise", [0.0, 0.2, 1.0])
def test_signal_that_sets_in_late(noise: float) -> None:
    rng = random.Random(2)
    silence = [rng.gauss(0, noise) for _ in range(STRETCH)]
    signal = [12.0 * (1 if i // 29 % 2 else -1) + rng.gauss(0, noise) for i in range(20_000)]
    found = threshold_of([silence, signal], None, None)
    assert found.middle == pytest.approx(0, abs=0.3)
    assert found.hysteresis == pytest.approx(6, rel=0.05)


def test_levels_are_found_though_a_cutout_has_a_third() -> None:
    # Both rails shorted (S-9.3.2, RCN-217, from memory): a difference of 0 V for a tenth of the time.
    values = ([14.0] * 29 + [-14.0] * 29) * 80 + [0.0] * 480
    assert threshold_of([values], None, None) == Threshold(
        0.0, 7.0, "from the levels -14 and 14 at the start"
    )


@pytest.mark.parametrize(
    "values",
    [
        [],
        [1.0],
        [2.5] * 1000,
        [random.Random(1).gauss(0, 1) for _ in range(5000)],
        [random.Random(1).random() for _ in range(5000)],
    ],
    ids=["nothing", "one", "constant", "noise", "even noise"],
)
def test_no_levels_to_be_found(values: list[float]) -> None:
    with pytest.raises(CaptureError, match=f"first {len(values)} values.*threshold=VOLTS"):
        threshold_of([values], None, None)


@pytest.mark.parametrize(
    ("text", "place", "words", "options"),
    [
        ("time,volts\n0,0\n1,x\n", "line 3", "'x' is not a number", {"threshold": 1, "hysteresis": 0}),
        ("time,volts\n0,0\n1,nan\n", "line 3", "'nan' is not a finite number", {"threshold": 1, "hysteresis": 0}),
        ("time,volts\n0,0\n1,2,3\n", "line 3", "number of fields is 3", {"threshold": 1, "hysteresis": 0}),
        ("time,volts\n5,0\n1,2\n", "line 3", "time goes backwards", {"threshold": 1, "hysteresis": 0}),
        ("time,volts\n0,0\n1,x\n", "line 3", "'x' is not a number", {}),
        ("time,volts\n0,0\n1,0\n", "", "no two levels stand out", {}),
        ("time,volts\n", "", "holds no values", {}),
        ("time,a,b\n0,0,0\n", "line 1", "level_column=COLUMN (1 'time', 2 'a', 3 'b')", {}),
        ("time,a,b\n0,0,0\n", "line 1", "other_rail: there is no column 'c'", {"level_column": "a", "other_rail": "c"}),
        ("time,a,b\n0,0,0\n", "line 1", "the same column", {"level_column": "a", "other_rail": 2}),
        ("time\n0\n1\n", "line 1", "only one column", {}),
        ("duration,volts\n58,1\n", "line 1", "holds durations", {}),
        ("", "", "is empty", {}),
    ],
)
def test_wrong(text: str, place: str, words: str, options: dict[str, Any]) -> None:
    error = error_of(text.encode(), format="volts", **options)
    assert words in error.problem
    assert error.place == place


def test_volts_taken_for_levels() -> None:
    error = error_of(b"time,volts\n0,0\n1,3.28\n", format="csv")
    assert "level '3.28' is neither 0 nor 1 (if these are volts, read them with format=volts)" in error.problem


@pytest.mark.parametrize(
    "options", [{"hysteresis": -1}, {"threshold": math.nan}, {"threshold": True}, {"other_rail": 0}, {"hysteresis": math.inf}]
)
def test_wrong_option(options: dict[str, Any]) -> None:
    (name,) = options
    with pytest.raises(HalfbitError, match=name):
        open_capture(io.BytesIO(b"time,volts\n0,0\n"), format="volts", **options)


def test_both_rails_as_levels() -> None:
    # Where both are the same, as in a cutout, the level stays.
    text = b"time,a,b\n0,0,1\n10,1,0\n20,1,1\n30,0,1\n40,0,0\n50,0,1\n60,1,0\n"
    assert times_of(text, format="csv", level_column="a", other_rail="b") == [0, 20_000, 50_000]
    edges = list(open_capture(io.BytesIO(text), format="csv", other_rail="b", level_column="a"))
    assert [edge.level for edge in edges] == [1, 0, 1]
    assert times_of(b"time,a,b\n0,0,0\n1,1,1\n", format="csv", level_column="a", other_rail="b") == []


def test_command_line_says_what_was_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "scope.csv"
    path.write_bytes(written(sampled(0.0, 3.3)))
    assert main(["decode", str(path), "--format", "volts"]) == 0
    out, _ = capsys.readouterr()
    assert "capture  threshold 1.65, hysteresis 0.825 (from the levels 0 and 3.3 at the start)\n" in out
    assert main(["decode", str(path), "--format", "volts", "--threshold", "9", "--hysteresis", "1"]) == 1
    assert main(["decode", str(path), "--format", "volts", "--hysteresis", "-1"]) == 2
