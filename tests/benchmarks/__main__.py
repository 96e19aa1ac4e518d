"""Run the benchmarks and print them: ``python -m tests.benchmarks``."""

from __future__ import annotations

import argparse
import json
import platform
import sys

import attrs

from .frame import Measured, all_rows, measure, signal
from .memory import WAYS, Peak, peak

#: The length the others are compared to, and how long a signal is decoded each way.
SHORT = 10_000
LONG = {"bulk": 10_000_000, "live": 1_000_000}


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--half-bits", type=int, default=100_000, help="length of the signal timed")
    parser.add_argument("--rounds", type=int, default=7, help="how often each row is timed")
    parser.add_argument("--only", default="", help="only rows whose name contains this")
    parser.add_argument("--no-memory", action="store_true", help="leave memory out")
    parser.add_argument("--json", action="store_true", help="print JSON")
    options = parser.parse_args(arguments)

    durations = signal(options.half_bits)
    rows = [
        measure(one, durations, options.rounds) for one in all_rows() if options.only in one.name
    ]
    peaks: list[Peak] = []
    if not options.no_memory:
        peaks = [peak(way, length) for way in WAYS for length in (SHORT, LONG[way])]
    if options.json:
        print(json.dumps(_document(len(durations), rows, peaks), indent=2))
    else:
        _print(len(durations), rows, peaks)
    return 0


def _document(half_bits: int, rows: list[Measured], peaks: list[Peak]) -> dict[str, object]:
    return {
        "python": platform.python_version(),
        "machine": platform.machine(),
        "half_bits": half_bits,
        "rows": [attrs.asdict(one) for one in rows],
        "memory": [attrs.asdict(one) for one in peaks],
    }


def _print(half_bits: int, rows: list[Measured], peaks: list[Peak]) -> None:
    print(f"{half_bits} half-bits; times as long as a plain loop over them, and half-bits per second")
    for one in rows:
        print(f"  {one.name:32} {one.ratio:8.1f}  {one.half_bits_per_second:12,.0f}/s")
    if peaks:
        print("memory that decoding adds to the process at most")
    for each in peaks:
        print(f"  {each.way:6} {each.half_bits:12,} half-bits {each.growth_kib:8,} KiB")


if __name__ == "__main__":
    sys.exit(main())
