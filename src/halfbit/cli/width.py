"""How wide standard output is."""

from __future__ import annotations

import shutil
import sys

__all__ = ["terminal_width"]


def terminal_width() -> int | None:
    """Columns of the terminal that standard output is; None where it is none."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None
