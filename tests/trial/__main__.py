"""``python -m tests.trial``: how many packets of hard captures are read right, and how many are given that were not sent.

Prints a line for each row and way as it is done. ``--json`` keeps the figures, ``--page`` makes the page of the docs from them.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs

from .library import AUTO, WAYS
from .rows import ROWS, rows_named
from .run import CAPTURE, Result, results, tasks_of

HEAD = f"{'row':58} {'way':9} {'sent':>7} {'right':>8}  {'95 %':15} {'false':>5} {'at most':>8} {'possible':>8} {'us':>5}"


def line(result: Result, possible: float | None) -> str:
    """A line of the table."""
    low, high = result.bounds
    return (
        f"{result.row:58} {result.way:9} {result.sent:7} {result.share:8.2%}  {f'{low:.2%}-{high:.2%}':15} "
        f"{result.false:5} {result.false_bound:8.1e} {'' if possible is None else f'{possible:.0%}':>8} "
        f"{result.microseconds:5.1f}"
    )


def best(found: Sequence[Result]) -> Result:
    """The way that reads most; a false packet outweighs a hundred right ones."""
    return max(found, key=lambda result: (result.right - 100 * result.false, -result.microseconds))


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.trial", description=__doc__.replace("``", ""))
    parser.add_argument("--rows", default="", metavar="TEXT", help="only rows with this in their names")
    parser.add_argument("--packets", type=int, default=300, metavar="N", help="packets a row and way")
    parser.add_argument("--limits", default=AUTO, choices=(*WAYS, "best", "all"), help="best: all of a row but auto")
    parser.add_argument("--set", action="append", default=[], metavar="FIELD=VALUE", help="a field of the limits, as JSON")
    parser.add_argument("--capture", type=int, default=CAPTURE, metavar="N", help="packets a capture")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processors")
    parser.add_argument("--examples", action="store_true", help="show some false packets, and what surveys found")
    parser.add_argument("--json", type=Path, metavar="FILE", help="add the figures to this file")
    parser.add_argument("--list", action="store_true", help="list the rows")
    options = parser.parse_args(arguments)
    rows = rows_named(options.rows)
    if options.list:
        print(*(row.name for row in rows), sep="\n")
        return 0
    if not rows:
        parser.error(f"no row has {options.rows!r} in its name")
    changes = {name: json.loads(value) for name, _, value in (item.partition("=") for item in options.set)}
    possible = {row.name: row.possible for row in ROWS}
    print(HEAD)
    kept = []
    tasks = tasks_of(rows, options.packets, options.limits, options.capture, options.seed, changes)
    for result in results(tasks, options.jobs):
        print(line(result, possible[result.row]), flush=True)
        if options.examples:
            for note, count in sorted(result.notes.items(), key=lambda item: -item[1])[:4]:
                print(f"    {count} x {note}")
            print(*(f"    false: {example}" for example in result.examples), sep="\n" if result.examples else "", end="")
            print()
        kept.append(result)
    if options.json:
        _keep(options.json, kept, options.seed)
    return 0


def _keep(path: Path, kept: Sequence[Result], seed: int) -> None:
    """Add figures to a file; those of the same rows and ways are replaced."""
    figures: dict[str, Any] = json.loads(path.read_text("utf-8")) if path.exists() else {"results": []}
    new = {(result.row, result.way) for result in kept}
    old = [item for item in figures["results"] if (item["row"], item["way"]) not in new]
    figures["python"], figures["seed"] = platform.python_version(), seed
    figures["results"] = old + [attrs.asdict(result) for result in kept]
    path.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    sys.exit(main())
