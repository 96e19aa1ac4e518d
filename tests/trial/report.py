"""Results as lines of a table, and where they fall short of what is asked."""

from __future__ import annotations

import json
import platform
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import attrs

from .library import AUTO
from .margins import MarginResult
from .rows import ROWS, Row
from .run import Result

__all__ = ["FALSE_MOST", "HEAD", "best", "by_row", "figures_of", "kept", "line", "long_runs_of", "margins_of", "shortfalls"]

#: How far below what is possible, and below the best way, a share may be.
POSSIBLE_LESS, BEST_LESS = 0.03, 0.01
#: The sum's share at least, on loops to 42 us; elsewhere at most this share of false packets.
SUM_RIGHT, FALSE_MOST = 0.999, 1e-4
#: The number of lost packets that weigh as much as a false one. Repeats make up for losses, nothing for a false packet.
FALSE_WEIGHT = 100

HEAD = (
    f"{'row':58} {'way':9} {'sent':>7} {'right':>8}  {'95 %':15} {'false':>5} {'at most':>8} {'possible':>8} {'us':>5}"
)


def line(result: Result, row: Row) -> str:
    """A line of the table; us is processor time for a half-bit, the survey's not counted."""
    low, high = result.bounds
    possible = "" if row.possible is None else f"{row.possible:.0%}"
    return (
        f"{result.row:58} {result.way:9} {result.sent:7} {result.share:8.2%}  {f'{low:.2%}-{high:.2%}':15} "
        f"{result.false:5} {result.false_bound:8.1e} {possible:>8} {result.microseconds:5.1f}"
    )


def best(found: Iterable[Result]) -> Result:
    """The way that reads most, false packets weighed in; the first of equals."""
    return max(found, key=lambda result: result.right - FALSE_WEIGHT * result.false)


def by_row(found: Iterable[Result]) -> Iterator[tuple[Row, dict[str, Result]]]:
    """Rows in the table's order with what there is of them, by way."""
    results: dict[str, dict[str, Result]] = {}
    for result in found:
        results.setdefault(result.row, {})[result.way] = result
    for row in ROWS:
        if row.name in results:
            yield row, results[row.name]


def shortfalls(found: Iterable[Result]) -> Iterator[str]:
    """What is asked and not reached, in words. A share falls short if even its upper 95 % bound does."""
    for row, ways in by_row(found):
        for result in ways.values():
            if result.false > FALSE_MOST * result.sent or result.false and row.by_sum:
                yield f"{row.name}, {result.way}: {result.false} false of {result.sent}"
        if row.by_sum and "sum" in ways and ways["sum"].bounds[1] < SUM_RIGHT:
            yield f"{row.name}, sum: {ways['sum'].share:.2%} right, {SUM_RIGHT:.1%} asked"
        top = best(ways.values())
        if row.possible is not None and top.bounds[1] < row.possible - POSSIBLE_LESS:
            yield f"{row.name}, {top.way}: {top.share:.2%} right, {row.possible:.0%} possible"
        auto = ways.get(AUTO)
        if auto is not None and auto.share < top.share - BEST_LESS:
            yield f"{row.name}: auto reads {auto.share:.2%}, {top.way} {top.share:.2%}"


def figures_of(path: Path) -> list[Result]:
    """The results kept in a file."""
    return [Result(**item) for item in json.loads(path.read_text("utf-8"))["results"]]


def margins_of(path: Path) -> list[MarginResult]:
    """What the margins cost, as kept in a file."""
    return [MarginResult(**item) for item in json.loads(path.read_text("utf-8")).get("margins", [])]


def long_runs_of(path: Path) -> list[Result]:
    """The results of long runs kept in a file."""
    return [Result(**item) for item in json.loads(path.read_text("utf-8")).get("long_runs", [])]


def kept(
    path: Path, found: Sequence[Result], seed: int, margins: Sequence[MarginResult] = (), long_runs: bool = False
) -> None:
    """Add results to a file; those of the same rows and ways are replaced, and all margins if there are new ones.

    :param long_runs: True if the results are a long run, which has a table of its own.
    """
    old_long_runs = long_runs_of(path) if path.exists() else []
    new_long_runs = found if long_runs else old_long_runs
    found = [] if long_runs else found
    new = {(result.row, result.way) for result in found}
    old, old_margins = (figures_of(path), margins_of(path)) if path.exists() else ([], [])
    results = [*(result for result in old if (result.row, result.way) not in new), *found]
    figures: dict[str, Any] = {
        "python": platform.python_version(),
        "seed": seed,
        "results": [attrs.asdict(result) for _, ways in by_row(results) for result in ways.values()],
        "long_runs": [attrs.asdict(result) for result in new_long_runs],
        "margins": [attrs.asdict(result) for result in margins or old_margins],
    }
    path.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")
