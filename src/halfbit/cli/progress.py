"""Shows the progress in a long file: one line on standard error, if that is a terminal."""

from __future__ import annotations

import sys
import time

from .input import Watched

__all__ = ["Progress"]

PATIENCE = 1.0  # seconds before anything is shown
INTERVAL = 0.2  # seconds between updates


class Progress:
    """The progress line. It is not shown for live input (its size is unknown) or without a terminal."""

    def __init__(self, source: Watched) -> None:
        self._source = source
        self._size = source.size if sys.stderr.isatty() else None
        self._next = time.monotonic() + PATIENCE
        self._shown = ""

    def update(self) -> None:
        """Update the line if it is time."""
        if not self._size or time.monotonic() < self._next:
            return
        self._next = time.monotonic() + INTERVAL
        self.clear()
        share = min(self._source.count / self._size, 1)
        self._shown = f"{self._source.name}: {share:.0%} of {self._size / 1e6:.1f} MB"
        print(self._shown, end="", file=sys.stderr, flush=True)

    def clear(self) -> None:
        """Clear the line, before other output."""
        if self._shown:
            print("\r" + " " * len(self._shown) + "\r", end="", file=sys.stderr, flush=True)
            self._shown = ""
