"""How much of captures that are hard to read each way to decide gets right: ``python -m tests.benchmarks.captures``.

Writes JSON; ``--page`` puts the figures of a file so written into ``docs/captured.rst``.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
from pathlib import Path

from halfbit.limits import RECEIVE

from .simulated import CAPTURES, Result, found_limits, result, sent, single_halves

__all__ = ["FIGURES", "PAGE", "page_with", "table"]

DOCS = Path(__file__).resolve().parents[2] / "docs"
#: The checked-in figures, and the page they are on.
FIGURES = DOCS / "captured.json"
PAGE = DOCS / "captured.rst"

_BEGIN = ".. The table is made by ``python -m tests.benchmarks.captures --page``: change nothing here.\n"
_END = ".. Here the table ends.\n"
_COLUMNS = ("receive", "threshold", "sum", "sequence", "auto")
_TITLES = ("each half in its window", "each half against 77 us", "sum", "sequence", "found by itself")

#: The big runs: a capture, the decision, and how many packets.
BIG = (
    ("loop of 5 to 10 us", "sum", 100_000),
    ("loop of 20 to 30 us", "sum", 100_000),
    ("loop of 30 to 40 us", "sum", 100_000),
    ("loop of 35 to 42 us", "sum", 100_000),
    ("loop of 40 to 50 us", "sum", 100_000),
    ("loop of 45 to 56 us", "sequence", 10_000),
    ("loop of 30 to 36 us, one turn in 500 of 80 us", "sequence", 10_000),
    ("rising edges only", "sequence", 10_000),
    ("falling edges only", "sequence", 10_000),
    ("rising edges only, one zero in twenty stretched", "sequence", 10_000),
    ("falling edges only, one zero in twenty stretched", "sequence", 10_000),
)


def table(packets: int, only: str = "") -> dict[str, object]:
    """Each capture read in each way."""
    rows: dict[str, object] = {}
    for name, capture in CAPTURES.items():
        if only not in name:
            continue
        signal = sent(packets)
        durations = capture.durations(signal)
        stretching = int("stretched" in name)
        found = found_limits(durations)
        ways = {"receive": RECEIVE, "threshold": single_halves(), "sequence": capture.by_sequence()}
        if capture.jitter is None:
            ways["sum"] = capture.by_sum()  # of one edge there are no halves to add
        results = {way: result(signal, durations, limits, capture.filter, stretching) for way, limits in ways.items()}
        results["auto"] = result(signal, durations, found.limits, found.filter, stretching)
        rows[name] = {
            "finding": found.verdict.finding.value,
            "decision": found.limits.decision,
            **{way: _object(each) for way, each in results.items()},
        }
        print(name, {way: f"{each.share:.4f}/{each.false}" for way, each in results.items()}, file=sys.stderr)
    return rows


def big(only: str = "") -> list[dict[str, object]]:
    """The big runs, in parts of a thousand packets so that little is held at once; each part has its own seed."""
    rows: list[dict[str, object]] = []
    for name, way, packets in BIG:
        if only not in name:
            continue
        capture = CAPTURES[name]
        limits = capture.by_sum() if way == "sum" else capture.by_sequence()
        right = 0.0
        false = 0
        for part in range(packets // 1000):
            signal = sent.__wrapped__(1000, seed=100 + part)
            each = result(signal, capture.durations(signal, seed=part), limits, stretching=int("stretched" in name))
            right += each.share * 1000
            false += each.false
        rows.append({"capture": name, "decision": way, "packets": packets, "share": round(right / packets, 6), "false": false})
        print(rows[-1], file=sys.stderr)
    return rows


def _object(each: Result) -> dict[str, float]:
    return {"share": round(each.share, 6), "false": each.false}


def page_with(page: str, figures: dict[str, object]) -> str:
    """The page with the figures put in."""
    head, rest = page.split(_BEGIN)
    _, tail = rest.split(_END)
    return head + _BEGIN + "\n" + _tables(figures) + "\n" + _END + tail


def _tables(figures: dict[str, object]) -> str:
    rows = figures["table"]
    assert isinstance(rows, dict)
    lines = [f"{figures['packets']} packets each:", "", ".. list-table::", "   :header-rows: 1", "   :widths: 30 14 14 14 14 14", ""]
    lines += _row(["capture", *_TITLES])
    for name, row in rows.items():
        cells = [_cell(row[way]) if way in row else "" for way in _COLUMNS]
        cells[-1] += f" ({row['decision']})"
        lines += _row([name, *cells])
    lines += ["", "Longer runs:", "", ".. list-table::", "   :header-rows: 1", "   :widths: 46 14 14 14 12", ""]
    lines += _row(["capture", "decision", "packets", "read right", "false"])
    runs = figures["big"]
    assert isinstance(runs, list)
    for run in runs:
        lines += _row([run["capture"], run["decision"], f"{run['packets']}", f"{run['share']:.3%}", f"{run['false']}"])
    return "\n".join(lines) + "\n"


def _row(cells: list[str]) -> list[str]:
    return [("   * - " if not index else "     - ") + cell for index, cell in enumerate(cells)]


def _cell(each: dict[str, float]) -> str:
    text = f"{each['share']:.2%}"
    return text + (f", {each['false']:.0f} false" if each["false"] else "")


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.captures", description=__doc__)
    parser.add_argument("--packets", type=int, default=1000, help="packets of each capture of the table")
    parser.add_argument("--only", default="", help="only captures whose name contains this")
    parser.add_argument("--no-big", action="store_true", help="leave the big runs out")
    parser.add_argument("--page", metavar="FIGURES", help="do not measure: put the figures of this file into the page")
    options = parser.parse_args(arguments)
    if options.page:
        figures = json.loads(Path(options.page).read_text(encoding="utf-8"))
        PAGE.write_text(page_with(PAGE.read_text(encoding="utf-8"), figures), encoding="utf-8")
        return 0
    figures = {
        "python": platform.python_version(),
        "packets": options.packets,
        "table": table(options.packets, options.only),
        "big": [] if options.no_big else big(options.only),
    }
    print(json.dumps(figures, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
