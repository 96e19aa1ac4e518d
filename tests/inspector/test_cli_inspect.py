"""``halfbit inspect``; from a pipe as a process."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.inspector.test_strips import THIRD, US, signal, with_duration
from tests.support_cli import here, run


@pytest.fixture(scope="module")
def torn(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("torn") / "capture.txt"
    durations = with_duration(THIRD, 78 * US)(signal())
    path.write_text("# halfbit: durations us\n" + "".join(f"{duration // US}\n" for duration in durations))
    return str(path)


def test_text_shows_layers_under_one_another(torn: str) -> None:
    done = here("inspect", "--packets", "2", torn)
    lines = done.stdout.decode().splitlines()
    assert done.returncode == 0
    assert all(len(line) <= 100 for line in lines)
    at = next(index for index, line in enumerate(lines) if line.startswith("us ") and " 78 " in line)
    column = lines[at].index(" 78 ")
    assert lines[at - 1].startswith("level ") and lines[at - 2].startswith("ms ")
    assert lines[at + 1].startswith("half ") and lines[at + 1][column + 1] == "?"
    assert lines[at + 2].startswith("bit ") and "?" in lines[at + 2][column:]
    band = lines[at : at + 8]
    place = next(line for line in band if line.startswith("fault "))
    assert place[column] == "^"
    assert any("half-bit of 78 us is too long for a one and too short for a zero" in line for line in band)
    assert any(line.startswith("packet  |preamble 14") for line in lines)
    assert "short 55" in done.stdout.decode()  # the packet behind it


def test_the_other_ways_to_say_a_time_agree(torn: str) -> None:
    shown = {here("inspect", "--at", time, "--packets", "1", torn).stdout for time in ("6", "6ms", "6.0ms", "0.006s", "6000us")}
    assert len(shown) == 1
    assert b"lost: " in shown.pop()


def test_json_has_these_keys(torn: str) -> None:
    done = here("inspect", "--json", "--packets", "2", torn)
    objects = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(objects) == 3
    assert objects.pop()["type"] == "diagnosis"
    for found in objects:
        assert list(found) == ["times", "level", "half_bits", "bits", "parts", "meanings", "faults", "left_out"]
        assert list(found["bits"][0]) == ["start", "end", "text"]
    fault = objects[0]["faults"][0]
    assert list(fault) == ["schema", "type", "kind", "layer", "start", "end", "at", "duration", "data", "count"]
    assert (fault["kind"], fault["layer"], fault["duration"]) == ("GAP", 2, 78_000)


def test_a_pipe_is_shown_as_a_file_is(torn: str) -> None:
    piped = run("inspect", "-", stdin=Path(torn).read_bytes())
    assert b"\ncause: " in piped.stdout
    assert here("inspect", torn).stdout == piped.stdout


def test_limits_are_found_or_given(torn: str) -> None:
    assert b"\nhalf " not in here("inspect", "--decision", "sum", torn).stdout
    assert here("inspect", "--limits", "auto", torn).returncode == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--at", "noon"], "'noon' is not a time"),
        (["--at", "1..2"], "is not a time"),
        (["--at", "-3"], "--at"),
        (["--at", "9s"], "nothing was decoded at"),
        (["--packets", "0"], "events: 0 is less than 1"),
        (["--plot", "picture.bmp"], ".svg, .png, .pdf"),
        (["--one-max", "95"], "reaches zero_min"),
    ],
)
def test_wrong_use_is_status_2(arguments: list[str], words: str, torn: str) -> None:
    done = here("inspect", *arguments, torn)
    assert (done.returncode, done.stdout) == (2, b"")
    assert words in done.stderr.decode()


def test_nothing_to_show_is_status_1() -> None:
    done = run("inspect", "-", stdin=b"# halfbit: times us\n5\n")
    assert done.returncode == 1
    assert b"nothing to show" in done.stderr


def test_a_plot_is_written(torn: str, tmp_path: Path) -> None:
    path = tmp_path / "picture.svg"
    assert run("inspect", "--plot", str(path), torn).returncode == 0  # a process hashes strings in another way
    first = path.read_bytes()
    assert first.startswith(b"<?xml") and b"half-bit of 78 us" in first
    here("inspect", "--plot", str(path), torn)
    assert path.read_bytes() == first


def test_a_picture_that_cannot_hold_all_says_so(tmp_path: Path) -> None:
    text = "# halfbit: durations us\n" + "20\n" + "9999\n" * 400
    done = run("inspect", "--plot", str(tmp_path / "picture.svg"), "-", stdin=text.encode())
    assert done.returncode == 0
    assert b"(the first 24 of " in (tmp_path / "picture.svg").read_bytes()
