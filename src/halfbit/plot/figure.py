"""Drawings of a survey and of a stretch of a capture, with matplotlib (the extra ``plot``).

Without a display: to a file whose ending says the format. The same input gives the same SVG.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..error import HalfbitError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["ENDINGS", "BLUE", "GREY", "ORANGE", "RED", "check_plot", "figure_of", "save"]

#: Kinds of files that can be written.
ENDINGS = (".svg", ".png", ".pdf")

# Colours that those who tell red from green badly can tell apart.
BLUE = "#0072b2"
ORANGE = "#d55e00"
RED = "#b2182b"
GREY = "#666666"

#: What makes an SVG differ from one run to the next is pinned.
_SETTINGS: Any = {"svg.hashsalt": "halfbit", "font.size": 9, "axes.spines.top": False, "axes.spines.right": False}


def check_plot(path: str) -> None:
    """Refuse what cannot be drawn, before time is spent on it.

    :raises HalfbitError: for a file of another kind, or where matplotlib is not installed.
    """
    if Path(path).suffix.lower() not in ENDINGS:
        raise HalfbitError(f"{path}: a plot's file must end in {', '.join(ENDINGS)}")
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise HalfbitError("a plot needs matplotlib: pip install 'halfbit[plot]'") from None


def figure_of(size: tuple[float, float], rows: int, heights: Sequence[float]) -> tuple[Figure, list[Any]]:
    """A figure with rows of axes under one another; heights are relative, the size in inches."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_SETTINGS):
        figure = Figure(figsize=size, layout="constrained")
        axes = figure.subplots(rows, 1, gridspec_kw={"height_ratios": heights}, squeeze=False)
    return figure, [row[0] for row in axes]


def save(figure: Figure, path: str) -> None:
    """Write a figure to a file.

    :raises HalfbitError: if it cannot be written.
    """
    import matplotlib

    ending = Path(path).suffix.lower().lstrip(".")
    metadata = {"svg": {"Date": None}, "png": {}, "pdf": {"CreationDate": None}}[ending]
    try:
        with matplotlib.rc_context(_SETTINGS):
            figure.savefig(path, format=ending, dpi=110, metadata=metadata)
    except OSError as error:
        raise HalfbitError(f"{path}: cannot be written: {error.strerror or error}") from error
