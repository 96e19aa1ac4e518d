"""Rows in columns, fitted to a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

__all__ = ["Columns", "milliseconds"]

_GAP = "  "
_LEAST_LAST = 20  # columns for the last one on the narrowest terminal


def milliseconds(nanoseconds: int) -> str:
    """A time in ms, to the us."""
    return f"{nanoseconds // 1_000_000}.{nanoseconds // 1000 % 1000:03d}"


class Columns:
    """Titles and rows to lines. The last column takes what is left, and goes on below itself if that is not enough.

    :param titles: one for each column.
    :param widths: of all columns but the last; negative: numbers, to the right.
    :param width: of the terminal; ``None``: lines may be as long as they need.
    """

    def __init__(self, titles: Sequence[str], widths: Sequence[int], width: int | None) -> None:
        self._titles = titles
        self._widths = widths
        used = sum(abs(one) for one in widths) + len(_GAP) * len(widths)
        self._last = None if width is None else max(width - used, _LEAST_LAST)

    @property
    def head(self) -> str:
        """The line with the titles."""
        return self.row(self._titles)

    def row(self, cells: Sequence[str]) -> str:
        """A row, perhaps of several lines."""
        start = _GAP.join(
            cell.rjust(-width) if width < 0 else cell.ljust(width) for cell, width in zip(cells, self._widths)
        )
        last = cells[-1]
        parts = [last] if self._last is None else textwrap.wrap(last, self._last) or [""]
        below = " " * (len(start) + len(_GAP))
        return "\n".join(((start + _GAP if index == 0 else below) + part).rstrip() for index, part in enumerate(parts))

    def rows(self, rows: Iterable[Sequence[str]]) -> list[str]:
        """The titles and all rows."""
        return [self.head, *map(self.row, rows)]
