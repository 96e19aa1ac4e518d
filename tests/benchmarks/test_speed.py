"""The benchmark of speed runs, its page is made of the checked-in figures, and these keep what is promised."""

from __future__ import annotations

import json
from typing import Any

import pytest

from halfbit.edge import edges_from_durations
from halfbit.event import Packet
from halfbit.instruction import Instruction, Unknown
from halfbit.receiver import HalvesReceiver
from halfbit.stream import decode

from .frame import plain_loop
from .memory import SIGNALS, growth
from .rows import ROWS
from .speed import main
from .speed_page import FIGURES, PAGE, page
from .speed_signals import HOSTILE, stretched, torn, torn_packets, track


def _figures() -> list[dict[str, Any]]:
    return [json.loads(path.read_text(encoding="utf-8")) for path in FIGURES]


def test_the_page_is_made_of_the_figures() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(_figures())


@pytest.mark.parametrize("figures", _figures(), ids=lambda figures: str(figures["python"]))
def test_the_figures_keep_what_is_promised(figures: dict[str, Any]) -> None:
    """No way takes more plain loops than its mark, so each is far faster than a track; memory is flat."""
    assert list(figures["rows"]) == [row.name for row in ROWS]
    for row in ROWS:
        if row.mark is not None:
            assert figures["rows"][row.name] <= row.mark, row.name
    assert figures["track_ns"] > 10 * max(figures["rows"].values()) * figures["loop_ns"]
    assert max(figures["memory"].values()) * 1024 < figures["memory_half_bits"]


def test_every_row_is_measured(capsys: pytest.CaptureFixture[str]) -> None:
    """On short signals: the figures mean nothing, but all work runs."""
    short = ["--half-bits", "600", "--rounds", "1", "--memory", "0"]
    assert main(short) == 0
    printed = capsys.readouterr().out
    assert all(row.name in printed for row in ROWS)
    assert main([*short, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert list(rows) == [row.name for row in ROWS]
    assert all(ratio > 0 for ratio in rows.values())


def test_the_signals_are_what_they_say() -> None:
    """So no way has less to do than it seems."""
    durations = track(84 * 200)
    assert len(durations) == 84 * 200
    decoded = list(decode(edges_from_durations(durations)))
    assert len(decoded) == 200
    assert all(isinstance(one, Instruction) and not isinstance(one, Unknown) for one in decoded)
    assert plain_loop(durations)() == sum(56 <= duration <= 60 for duration in durations)

    def packets(signal: list[int]) -> int:
        return sum(isinstance(event, Packet) for event in HalvesReceiver().feed_many(signal, 1000))

    assert packets(stretched(84 * 200)) == 200
    assert packets(torn_packets(84 * 200)) == 190
    assert 50 < packets(torn(durations)) < 120
    assert not any(map(packets, (signal(10_000) for signal in HOSTILE.values())))


@pytest.mark.parametrize("signal", SIGNALS)
def test_memory_is_flat(signal: str) -> None:
    """Fifteen times the signal takes no more memory: below a byte for each further half-bit."""
    assert growth(signal, 150_000) * 1024 < 150_000
