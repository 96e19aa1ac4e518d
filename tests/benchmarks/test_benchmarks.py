"""The benchmarks run, and what they time is the whole work."""

from __future__ import annotations

import json

import pytest

from halfbit.edge import edges_from_durations
from halfbit.instruction import Instruction, Unknown
from halfbit.stream import decode

from .__main__ import main
from .frame import all_rows, plain_loop, signal
from .memory import WAYS, peak


def test_they_print_and_give_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--half-bits", "600", "--rounds", "1", "--no-memory"]) == 0
    names = [one.name for one in all_rows()]
    printed = capsys.readouterr().out
    assert all(name in printed for name in names)
    assert main(["--half-bits", "600", "--rounds", "2", "--no-memory", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [one["name"] for one in document["rows"]] == names
    assert len(set(names)) == len(names)
    assert all(one["ratio"] > 0 and one["half_bits_per_second"] > 0 for one in document["rows"])


def test_the_signal_decodes_whole() -> None:
    """Nothing in it is a fault or unknown, so that no way has less to do than it seems."""
    durations = signal(5_000)
    decoded = list(decode(edges_from_durations(durations)))
    assert len(decoded) >= len(durations) // 120
    assert all(isinstance(one, Instruction) and not isinstance(one, Unknown) for one in decoded)
    assert plain_loop(durations)() == sum(duration == 58 for duration in durations)


@pytest.mark.parametrize("way", WAYS)
def test_memory_is_flat(way: str) -> None:
    """Thirty times the signal takes no more memory: below a byte for each further half-bit."""
    short, long = peak(way, 10_000), peak(way, 300_000)
    assert (long.growth_kib - short.growth_kib) * 1024 < 300_000
