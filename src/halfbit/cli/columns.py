"""The terminal: its width and colours, and rows in columns that fit it."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections.abc import Sequence

__all__ = ["Columns", "milliseconds", "shows_color", "terminal_width"]

_GAP = "  "
_LEAST_LAST = 20  # least width of the last column, on a narrow terminal


def milliseconds(nanoseconds: int) -> str:
    """A time given in ns as text in ms, with a precision of 1 us."""
    return f"{nanoseconds // 1_000_000}.{nanoseconds // 1000 % 1000:03d}"


def terminal_width() -> int | None:
    """Width of the terminal in columns; ``None`` if standard output is not a terminal."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def shows_color() -> bool:
    """True if standard output is a terminal with colours: NO_COLOR is not set and the terminal is not ``dumb``."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


class Columns:
    """Formats titles and rows as lines. The last column gets the rest of the width and wraps if necessary.

    :param titles: one title for each column.
    :param widths: the widths of all columns except the last; negative for numbers, which are right-aligned.
    :param width: the terminal's width in columns; ``None`` for no limit.
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
        """A row as text; it may have several lines."""
        padded = (cell.rjust(-width) if width < 0 else cell.ljust(width) for cell, width in zip(cells, self._widths))
        start = _GAP.join(padded)
        last = cells[-1]
        parts = [last] if self._last is None else textwrap.wrap(last, self._last) or [""]
        below = " " * (len(start) + len(_GAP))
        return "\n".join(((start + _GAP if index == 0 else below) + part).rstrip() for index, part in enumerate(parts))
