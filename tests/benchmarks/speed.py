"""How fast halfbit is beside a plain loop, and how much memory it takes: ``python -m tests.benchmarks.speed``.

Prints a table. Every ratio is the median of pairs run in turn in this process: the work, and
``for d in durations: if 52 <= d <= 64: n += 1`` over a list of the same durations. Processor time counts. A ratio above its
mark is marked. ``--json`` gives the figures for ``docs/``; ``--page`` puts such files into ``docs/performance.rst``.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
from pathlib import Path
from typing import Any

from .frame import plain_loop, ratio, seconds
from .memory import SIGNALS, growth
from .rows import ROWS
from .speed_page import write_page
from .speed_signals import track

__all__ = ["main", "measured"]


def measured(half_bits: int, rounds: int, memory: int, only: str = "") -> dict[str, Any]:
    """All figures of this Python on this machine.

    :param half_bits: of each signal.
    :param rounds: pairs of each ratio.
    :param memory: half-bits of the signals whose memory is measured; 0 for none.
    :param only: rows whose name does not contain it are left out.
    """
    durations = track(half_bits)
    loop = min(seconds(plain_loop(durations)) for _ in range(rounds)) / len(durations)
    rows = {}
    for row in ROWS:
        if only in row.name:
            signal = row.signal(half_bits)
            rows[row.name] = ratio(row.prepare(signal), signal, rounds)
    return {
        "python": platform.python_version(),
        "processor": platform.machine(),
        "half_bits": half_bits,
        "rounds": rounds,
        #: How long a half-bit lasts on the track, and how long the plain loop takes for it.
        "track_ns": round(1000 * sum(durations) / len(durations)),
        "loop_ns": round(loop * 1e9, 1),
        "rows": rows,
        "memory": {name: growth(name, memory) for name in SIGNALS} if memory else {},
        "memory_half_bits": memory,
    }


def _print(figures: dict[str, Any]) -> None:
    marks = {row.name: row.mark for row in ROWS}
    print(f"plain loop {figures['loop_ns']} ns a half-bit; a track {figures['track_ns']} ns")
    for name, found in figures["rows"].items():
        mark = marks[name]
        missed = "" if mark is None else f"  of {mark:g}" + ("  MISSED" if found > mark else "")
        print(f"{name:48} {found:7.2f}{missed}")
    for name, kib in figures["memory"].items():
        print(f"memory, {name:40} {kib:7} KiB more for {figures['memory_half_bits']} half-bits")


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.speed", description=__doc__)
    parser.add_argument("--half-bits", type=int, default=60_000, help="of each signal")
    parser.add_argument("--rounds", type=int, default=15, help="pairs of each ratio")
    parser.add_argument("--memory", type=int, default=1_000_000, help="half-bits whose memory is measured; 0: none")
    parser.add_argument("--only", default="", help="only rows whose name contains this")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--page", nargs="+", metavar="FIGURES", help="do not measure: write the page from these files")
    options = parser.parse_args(arguments)
    if options.page:
        write_page([json.loads(Path(name).read_text(encoding="utf-8")) for name in options.page])
        return 0
    figures = measured(options.half_bits, options.rounds, options.memory, options.only)
    if options.json:
        print(json.dumps(figures, indent=1))
    else:
        _print(figures)
    return 0


if __name__ == "__main__":
    sys.exit(main())
