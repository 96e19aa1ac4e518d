"""Levels at a fixed rate."""

from __future__ import annotations

import io
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.capture import open_capture
from halfbit.cli.main import main
from halfbit.edge import Edge, edges_from_samples
from halfbit.error import CaptureError, HalfbitError

from .support_capture import Pieces, error_of, times_of
from .support_signal import changes_of, level_at, packets_in, some_packets

PACKETS, DURATIONS = some_packets(6)


def sampled(rate: int) -> bytes:
    """The signal's levels as bytes, with some time before and behind it."""
    changes = changes_of(DURATIONS, 300_000)
    count = (changes[-1] + 300_000) * rate // 1_000_000_000
    return bytes(level_at(index * 1_000_000_000 / rate, changes) for index in range(count))


def as_text(levels: bytes) -> bytes:
    text = levels.translate(bytes.maketrans(b"\x00\x01", b"01"))
    return b"\r\n".join(text[at : at + 80] for at in range(0, len(text), 80)) + b"\n"


@pytest.mark.parametrize("rate", [500_000, 1_000_000])
@pytest.mark.parametrize("text", [True, False])
def test_packets(rate: int, text: bool) -> None:
    levels = sampled(rate)
    data = as_text(levels) if text else levels
    assert packets_in(open_capture(io.BytesIO(data), format="levels", unit=rate))[:-1] == PACKETS


def test_unit_may_be_a_time() -> None:
    assert times_of(b"0011101", format="levels", unit="us") == [0, 3_000, 4_000]
    assert times_of(b"0011101", format="levels", unit="ms") == [0, 3_000_000, 4_000_000]


def test_first_level_is_no_change() -> None:
    edges = list(open_capture(io.BytesIO(b"1100 1"), format="levels", unit="us"))
    assert edges == [Edge(0, 0), Edge(2_000, 1)]


@given(st.lists(st.integers(0, 1), min_size=1, max_size=200), st.lists(st.integers(1, 40), min_size=1, max_size=4), st.booleans())
def test_same_as_counting_runs_however_the_bytes_come_in(levels: list[int], sizes: list[int], text: bool) -> None:
    # Checked against itertools.groupby of the standard library.
    runs = [len(list(run)) for _, run in groupby(levels)]
    expected = [1000 * sum(runs[1:index]) for index in range(1, len(runs))]
    data = as_text(bytes(levels)) if text else bytes(levels)
    assert times_of(data, format="levels", unit="us") == expected
    pieces = Pieces.of(data, sizes * len(data))
    edges = list(open_capture(pieces, format="levels", unit="us"))
    assert edges == list(edges_from_samples(levels))


@pytest.mark.parametrize(
    ("data", "place", "words"),
    [
        (b"", "", "holds no levels"),
        (b" \n\n", "", "holds no levels"),
        (b"0101\n0021\n", "byte 8", "'2' is neither 0 nor 1"),
        (b"\x00\x01\x02", "byte 3", "0x02 is neither 0 nor 1"),
        (b"\x00\x01\n", "byte 3", "0x0a is neither 0 nor 1"),
        (b"01\x00", "byte 3", "0x00 is neither 0 nor 1"),
        (b"# levels\n01", "byte 1", "'#' is neither 0 nor 1"),
        (b"0" * 70_000 + b"x", "byte 70001", "'x' is neither"),
    ],
)
def test_wrong(data: bytes, place: str, words: str) -> None:
    error = error_of(data, format="levels", unit="us")
    assert words in error.problem
    assert error.place == place


def test_nothing_says_how_far_apart_they_are() -> None:
    assert "how many levels there are per second: give unit=" in error_of(b"0101", format="levels").problem


@pytest.mark.parametrize("options", [{"unit": 0}, {"unit": "bits"}, {"wrap": 5}, {"threshold": 1.0}])
def test_wrong_option(options: dict[str, Any]) -> None:
    (name,) = options
    with pytest.raises(HalfbitError, match=name):
        open_capture(io.BytesIO(b"01"), format="levels", **{"unit": "us", **options})


def test_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "pin.dat"
    path.write_bytes(as_text(sampled(1_000_000)))
    assert main(["decode", str(path), "--format", "levels", "--unit", "1000000"]) == 0
    assert "packets  7" in capsys.readouterr().out
    path.write_bytes(b"0012")
    assert main(["decode", str(path), "--format", "levels", "--unit", "1000000"]) == 2
    assert f"{path}: byte 4: '2' is neither 0 nor 1" in capsys.readouterr().err


def test_levels_in_a_text_file_are_found_by_what_they_are(tmp_path: Path) -> None:
    path = tmp_path / "levels.txt"
    path.write_bytes(bytes(48 + level for level in sampled(250_000)) + b"\n")
    assert packets_in(open_capture(path, unit=250_000))[:-1] == PACKETS


@pytest.mark.parametrize("text", ["01" * 60 + "\n5\n", "1" * 60_000 + "x\n"])
def test_what_only_begins_like_levels_or_a_number_is_refused(text: str, tmp_path: Path) -> None:
    """Patterns once tried every way to cut such a text into parts, and did not end."""
    path = tmp_path / "capture"
    path.write_text(text)
    with pytest.raises(CaptureError):
        list(open_capture(path, holds="durations"))
