"""The edge filter on the command line: the summary counts what it removed."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from halfbit.cli.main import main
from halfbit.simulate.distort import chatter, spikes

from .support_cli import durations_of, packet, text_of

STEP = packet("37 74")  # address 55, forward, step 6 of 28: 37 74 43 (S-9.2 B)


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """Thirty packets with noise at one crossing in twenty, and some spikes, in ns."""
    rng = random.Random(3)
    durations = [1000 * duration for duration in durations_of([STEP] * 31)]
    noisy = spikes(chatter(durations, 0.05, 4_000, rng), 0.004, (100, 4_900), rng)
    path = tmp_path / "noisy.txt"
    path.write_text("# halfbit: durations ns\n" + "".join(f"{duration}\n" for duration in noisy))
    return path


def test_what_was_taken_out_is_in_the_summary(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["decode", str(capture), "--filter", "0"])
    out, _ = capsys.readouterr()
    assert "packets  31" not in out
    assert "filter   " not in out
    assert main(["decode", str(capture)]) == 0  # it is found that one is needed
    out, errors = capsys.readouterr()
    assert "packets  31, 1 of them distinct" in out
    assert "noise shorter than 5 us filtered" in errors
    assert main(["decode", str(capture), "--filter", "5"]) == 0
    out, _ = capsys.readouterr()
    assert "packets  31, 1 of them distinct" in out
    (line,) = (line for line in out.splitlines() if line.startswith("filter   "))
    assert line.startswith("filter   ") and " level changes taken out: at " in line and " spikes; from " in line


def test_figures_in_json(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["decode", "--json", "--filter", "5", str(capture)])
    summary = json.loads(capsys.readouterr().out.splitlines()[-1])
    removed = summary["removed"]
    assert list(removed) == ["crossings", "spikes", "changes", "first", "last", "longest"]
    raw = capture.read_text().count("\n") - 1
    assert summary["half_bits"] == raw - removed["changes"]
    assert summary["packets"] == 31
    assert 0 <= removed["first"] < removed["last"] < summary["length"]
    assert removed["longest"] < 10_000
    main(["decode", "--json", "--filter", "0", str(capture)])
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["removed"] is None


def test_nothing_to_take_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "clean.txt"
    path.write_bytes(text_of([STEP]))
    assert main(["decode", "--filter", "0.5", str(path)]) == 0
    assert "filter   nothing to take out\n" in capsys.readouterr().out


@pytest.mark.parametrize("value", ["-1", "x", "0.0001"])
def test_wrong_filter(value: str, capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        status = main(["decode", f"--filter={value}", str(capture)])
    except SystemExit as stop:
        status = int(str(stop.code))
    assert status == 2
    assert "filter" in capsys.readouterr().err


def test_survey_looks_behind_the_filter(capture: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", "--filter", "5", str(capture)]) == 0
    assert "--filter" not in capsys.readouterr().out  # it has nothing left to advise
