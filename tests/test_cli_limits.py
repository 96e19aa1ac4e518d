"""The options for the limits: that each sets its own, and that the signal is held against it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import attrs
import pytest

from halfbit.cli.main import main
from halfbit.cli.options import PRESETS, CaptureOptions, limits_of
from halfbit.limits import RECEIVE, TRANSMIT, Limits

from .support_cli import durations_of, packet

STEP = packet("37 74")  # address 55, forward, step 6 of 28 (S-9.2 B)
WRITE = packet("7C 00 05")  # direct mode, write byte, CV 1 (S-9.2.3 E)

#: For each option a value, and what the limit then is.
VALUES: dict[str, tuple[list[str], Any]] = {
    "one_min": (["45"], 45_000),
    "one_max": (["70.5"], 70_500),
    "one_difference": (["off"], None),
    "zero_min": (["80.001"], 80_001),
    "zero_max": (["12e3"], 12_000_000),
    "zero_total_max": (["13000"], 13_000_000),
    "latency_max": (["7"], 7_000),
    "latency_rare": (["80"], 80_000),
    "preamble_min": (["12"], 12),
    "packet_min": (["4"], 4),
    "packet_max": (["6"], 6),
    "decision": (["sum"], "sum"),
    "recover": ([], True),
    "one_edge": ([], True),
}


def option(name: str) -> str:
    return "--" + name.replace("_", "-")


def limits(*arguments: str) -> Limits:
    parser = argparse.ArgumentParser()
    CaptureOptions(parser, everything=True).add_shared()
    found = limits_of(parser.parse_args(["capture.txt", *arguments]))
    assert found is not None
    return found


@pytest.mark.parametrize("name", [field.name for field in attrs.fields(Limits)])
def test_an_option_sets_its_limit_and_no_other(name: str) -> None:
    words, value = VALUES[name]
    assert getattr(RECEIVE, name) != value
    changes = {name: value}
    if name == "one_edge":
        changes["decision"] = "sequence"  # no other decision reads such a capture
    assert limits(option(name), *words) == attrs.evolve(RECEIVE, **changes)


def test_limits_by_name_and_on_top_of_them() -> None:
    assert limits("--limits", "receive") == RECEIVE
    assert {name: limits("--limits", name) for name in PRESETS} == {"receive": RECEIVE, "transmit": TRANSMIT}
    assert limits("--limits", "transmit", "--one-difference", "6") == attrs.evolve(TRANSMIT, one_difference=6_000)
    assert limits("--limits", "transmit", "--zero-total-max", "off").zero_total_max is None


# Half-bits that one limit alone keeps out, and the option's value that lets them through.
def changed(**halves: int) -> list[int]:
    first, last = halves.get("one_first", 58), halves.get("one_last", 58)
    ones = (half for _ in range(1000) for half in (first, last))
    zero = halves.get("zero", 100)
    return [next(ones) if half == 58 else zero for half in durations_of([STEP])]


LETS_THROUGH = {
    "--one-min": ("45", changed(one_first=45, one_last=45)),
    "--one-max": ("70", changed(one_first=70, one_last=70)),
    "--one-difference": ("off", changed(one_first=54, one_last=62)),
    "--zero-min": ("80", changed(zero=80)),
    "--zero-max": ("12000.5", changed(zero=12_000)),
}
KEEPS_OUT = {
    "--one-min": ("58.5", durations_of([STEP])),
    "--one-max": ("57.999", durations_of([STEP])),
    "--one-difference": ("3.5", changed(one_first=56, one_last=60)),
    "--zero-min": ("100.001", durations_of([STEP])),
    "--zero-max": ("99", durations_of([STEP])),
    "--zero-total-max": ("199", durations_of([STEP])),
    "--packet-max": ("3", durations_of([WRITE])),
    "--packet-min": ("4", durations_of([STEP])),
    "--preamble-min": ("14", durations_of([STEP])[2:]),
    "--limits": ("transmit", durations_of([STEP])[2:]),
}


def status(path: Path, halves: list[int], *arguments: str) -> int:
    path.write_text("".join(f"{half}\n" for half in halves))
    limits = () if "--limits" in arguments else ("--limits", "receive")
    return main(["decode", str(path), "--holds", "durations", *limits, *arguments])


@pytest.mark.parametrize("name", LETS_THROUGH)
def test_a_limit_lets_through(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    value, halves = LETS_THROUGH[name]
    assert status(tmp_path / "capture.txt", halves) == 1
    assert status(tmp_path / "capture.txt", halves, name, value) == 0


def test_auto_finds_all_limits_or_none(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["decode", "capture.txt", "--limits", "auto", "--one-min", "50"]) == 2
    assert "leave out --one-min, or say --limits receive" in capsys.readouterr().err


@pytest.mark.parametrize("name", KEEPS_OUT)
def test_a_limit_keeps_out(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    value, halves = KEEPS_OUT[name]
    assert status(tmp_path / "capture.txt", halves) == 0
    assert status(tmp_path / "capture.txt", halves, name, value) == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--one-min", "x"], "'x' is not a time"),
        (["--one-min", "-1"], "'-1' is not a time"),
        (["--one-min", "0.0005"], "'0.0005' us is not a whole number of ns"),
        (["--one-min", "off"], "'off' is not a time"),
        (["--limits", "decoder"], "invalid choice: 'decoder'"),
        (["--preamble-min", "2.5"], "'2.5' is not a whole number"),
    ],
)
def test_values_that_are_none(arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["decode", "capture.txt", *arguments])
    assert left.value.code == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--one-max", "95"], "one_max 95000 reaches zero_min 90000"),
        (["--one-min", "65"], "one_min 65000 is above one_max 64000"),
        (["--preamble-min", "9"], "--preamble-min: 9 is not a count from 10"),
        (["--packet-max", "256"], "--packet-max: 256"),
    ],
)
def test_limits_that_contradict_one_another(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["decode", "capture.txt", *arguments]) == 2
    assert words in capsys.readouterr().err
