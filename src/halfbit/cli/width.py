"""Properties of standard output: its width, and if it shows colours."""

from __future__ import annotations

import os
import shutil
import sys

__all__ = ["shows_color", "terminal_width"]


def terminal_width() -> int | None:
    """Width of the terminal in columns; ``None`` if standard output is not a terminal."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def shows_color() -> bool:
    """True if standard output is a terminal with colours: NO_COLOR is not set and the terminal is not ``dumb``."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
