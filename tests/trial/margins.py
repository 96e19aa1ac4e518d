"""What each margin costs: the rows read with others than the library's own.

A margin says how much better a packet must fit than every other reading. With a smaller one more packets are given, and
more of them were never sent.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import attrs

from .library import margin_by_default
from .rows import ROWS, Row, group_of
from .run import CAPTURE, Result, Task, results

__all__ = ["KINDS", "MARGIN_HEAD", "Kind", "MarginResult", "margin_results"]

MARGIN_HEAD = f"{'way':9} {'margin':>6} {'sent':>7} {'right':>8} {'false':>6}"


@attrs.frozen
class Kind:
    """A margin that is tried: the way whose margin it is, and its values."""

    way: str
    values: tuple[float, ...]

    def rows(self) -> Iterator[Row]:
        """The rows whose margin it is."""
        return (row for row in ROWS if self.way == _way_of(row))

    def tasks(self, row: Row, packets: int, seed: int, margin: float) -> Iterator[Task]:
        """Captures of a row. The sum decides alone: what it loses is not read again by sequence."""
        for index in range(-(-packets // CAPTURE)):
            yield Task(row.name, self.way, index, min(packets, CAPTURE), seed, {"recover": False}, margin)


def _way_of(row: Row) -> str:
    """The way whose margin decides in a row: uniform loops to 42 us are read by sum."""
    if row.by_sum:
        return "sum"
    return "one edge" if group_of(row) == "One edge" else "sequence"


KINDS = (
    Kind("sum", (0, 25, 50, 75, 100)),
    Kind("sequence", (0, 1, 2, 4, 6, 8)),
    Kind("one edge", (0, 1, 3, 5, 7, 9)),
)


@attrs.frozen
class MarginResult:
    """What came of all rows of a kind with one margin."""

    way: str
    margin: float
    sent: int
    right: int
    false: int

    @property
    def share(self) -> float:
        return self.right / self.sent

    @property
    def default(self) -> bool:
        """True if it is the library's own margin."""
        return self.margin == margin_by_default(self.way)

    def __str__(self) -> str:
        own = "  the library's" if self.default else ""
        return f"{self.way:9} {self.margin:6g} {self.sent:7} {self.share:8.2%} {self.false:6}{own}"


def margin_results(packets: int, seed: int, jobs: int = 1, kinds: Sequence[Kind] = KINDS) -> Iterator[MarginResult]:
    """Read captures of each row with each margin.

    :param packets: of a row.
    """
    for kind in kinds:
        rows = list(kind.rows())
        for margin in kind.values:
            whole = Result("", kind.way)
            tasks = [task for row in rows for task in kind.tasks(row, packets, seed, margin)]
            for result in results(tasks, jobs):
                whole.add(result)
            yield MarginResult(kind.way, margin, whole.sent, whole.right, whole.false)
