"""``python -m tests.trial``: of hard captures, how many packets are read right, and how many were never sent.

Prints a line for each row and way when it is done, and at the end what falls short of what is asked.
``--json`` keeps the figures, ``--page`` makes the page of the docs from them.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .library import AUTO, WAYS
from .margins import MARGIN_HEAD, margin_results
from .observer import Loop, Observer
from .page import PAGE, page
from .report import HEAD, figures_of, kept, line, long_runs_of, margins_of, shortfalls
from .rows import ROWS, rows_named
from .run import CAPTURE, results, tasks_of
from .tears import TEAR_HEAD, tear_results


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.trial", description=(__doc__ or "").replace("``", ""))
    parser.add_argument("--rows", default="", metavar="TEXT", help="only rows with this in their names")
    parser.add_argument("--list", action="store_true", help="list these rows, and do nothing else")
    parser.add_argument("--packets", type=int, default=300, metavar="N", help="packets a row and way")
    parser.add_argument(
        "--limits", default=AUTO, choices=(*WAYS, "best", "all"), help="best: all ways of a row but auto; all: auto too"
    )
    parser.add_argument(
        "--set", action="append", default=[], metavar="FIELD=VALUE", help="a field of the limits set otherwise, as JSON"
    )
    parser.add_argument("--capture", type=int, default=CAPTURE, metavar="N", help="packets a capture")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processors")
    parser.add_argument("--examples", action="store_true", help="show also what was found, and false packets")
    parser.add_argument("--json", type=Path, metavar="FILE", help="add the figures to this file")
    parser.add_argument("--page", type=Path, metavar="FILE", help=f"make docs/{PAGE.name} from this file")
    parser.add_argument("--long", action="store_true", help="for --json: a long run, which has a table of its own")
    parser.add_argument("--margins", action="store_true", help="instead: all rows with other margins")
    parser.add_argument("--tears", action="store_true", help="instead: a tear at every half-bit of the packets")
    parser.add_argument("--every", type=int, default=1, metavar="N", help="for --tears: at every Nth half-bit")
    parser.add_argument("--loop", type=float, default=0, metavar="US", help="for --tears: a loop of this period")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    parser = _options()
    options = parser.parse_args(arguments)
    if options.page:
        file = options.page
        PAGE.write_text(page(figures_of(file), margins_of(file), long_runs_of(file)), "utf-8")
        return 0
    changes: dict[str, Any] = {}
    for item in options.set:
        name, _, value = item.partition("=")
        changes[name] = json.loads(value)
    if options.tears:
        ways = {"best": ("receive", "sum", "sequence"), "all": WAYS}.get(options.limits, (options.limits,))
        print(TEAR_HEAD)
        observer = Observer(loop=Loop(period=options.loop) if options.loop else None)
        for torn in tear_results(ways, options.packets, options.every, options.seed, changes, observer, options.jobs):
            print(torn, *(f"    {example}" for example in torn.examples[:3]), sep="\n", flush=True)
        return 0
    if options.margins:
        print(MARGIN_HEAD)
        margins = []
        for margin in margin_results(options.packets, options.seed, options.jobs):
            print(margin, flush=True)
            margins.append(margin)
        if options.json:
            kept(options.json, [], options.seed, margins)
        return 0
    rows = rows_named(options.rows)
    if options.list:
        print(*(row.name for row in rows), sep="\n")
        return 0
    if not rows:
        parser.error(f"no row has {options.rows!r} in its name")
    rows_by_name = {row.name: row for row in ROWS}
    found = []
    print(HEAD)
    tasks = tasks_of(rows, options.packets, options.limits, options.capture, options.seed, changes)
    for result in results(tasks, options.jobs):
        found.append(result)
        print(line(result, rows_by_name[result.row]), flush=True)
        if options.examples:
            notes = sorted(result.notes.items(), key=lambda item: -item[1])[:4]
            means = [f"{count} packets by {way}" for way, count in result.recovered.items()]
            for text in (*(f"{count} x {note}" for note, count in notes), *means, *result.examples):
                print(f"    {text}")
    short = list(shortfalls(found))
    print("", "Short of what is asked:" if short else "All that is asked is reached.", *short, sep="\n")
    if options.json:
        kept(options.json, found, options.seed, long_runs=options.long)
    return 0


if __name__ == "__main__":
    sys.exit(main())
