"""What standard output is: how wide, and whether it shows colours."""

from __future__ import annotations

import os
import shutil
import sys

__all__ = ["shows_color", "terminal_width"]


def terminal_width() -> int | None:
    """Columns of the terminal that standard output is; ``None`` if it is not one."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def shows_color() -> bool:
    """True for a terminal, unless NO_COLOR is set or it is a dumb one."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
