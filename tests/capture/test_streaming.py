"""Long files of the exported formats: read in constant memory."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from halfbit.capture import open_capture

from .support_sound_card import recorded


def dump(path: Path, count: int) -> None:
    with path.open("w") as file:
        file.write("$timescale 1 us $end\n$var wire 1 ! a $end\n$var wire 1 % b $end\n$enddefinitions $end\n#0\n0!\n0%\n")
        for index in range(1, count):
            file.write(f"#{58 * index}\n{index % 2}!\n" + ("1%\n" if index % 7 == 0 else ""))


def volts(path: Path, count: int) -> None:
    with path.open("w") as file:
        file.write("time [us],volts\n")
        for index in range(count * 3):
            file.write(f"{20 * index},{14 if index // 3 % 2 else 0}\n")


def levels(path: Path, count: int) -> None:
    path.write_bytes((b"\x00" * 58 + b"\x01" * 58) * (count // 2))


def wav(path: Path, count: int) -> None:
    path.write_bytes(recorded([([0.5] * 11 + [-0.5] * 11) * (count // 2)], 192_000))


FORMATS: dict[str, tuple[Callable[[Path, int], None], int, dict[str, Any]]] = {
    "vcd": (dump, 20_000, {"signal": "a"}),
    # The threshold is given, for else a long stretch at the start is looked at to find it.
    "volts": (volts, 5_000, {"threshold": 7, "hysteresis": 2}),
    "levels": (levels, 20_000, {"unit": 1_000_000}),
    "wav": (wav, 3_000, {"threshold": 0, "hysteresis": 0.2}),
}


@pytest.mark.parametrize("name", FORMATS)
def test_memory_does_not_grow_with_the_file(name: str, tmp_path: Path) -> None:
    write, count, options = FORMATS[name]

    def peak(changes: int) -> int:
        path = tmp_path / f"long.{changes}"
        write(path, changes)
        tracemalloc.start()
        try:
            total = 0
            for durations, _ in open_capture(path, format=name, **options)._rows():
                total += len(durations)
            _, most = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        assert total == pytest.approx(changes, abs=3)
        return most

    assert peak(2 * count) < 1.15 * peak(count) + 200_000
