"""Drawings of a survey and of a stretch of a capture, with matplotlib (the extra ``plot``).

Draws to a file, without a display. The file's ending gives the format. The same input gives the same SVG.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..error import HalfbitError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["ENDINGS", "BLUE", "GREY", "ORANGE", "RED", "check_plot", "figure_of", "save"]

ENDINGS = (".svg", ".png", ".pdf")  #: File endings that can be written.

# Colours that people with red-green colour blindness can tell apart.
BLUE = "#0072b2"
ORANGE = "#d55e00"
RED = "#b2182b"
GREY = "#666666"

#: Fixed settings, so that an SVG is the same in every run.
_SETTINGS: Any = {"svg.hashsalt": "halfbit", "font.size": 9, "axes.spines.top": False, "axes.spines.right": False}


def check_plot(path: str) -> None:
    """Check that a plot can be drawn, before other work starts.

    :raises HalfbitError: if the file's ending is not in :data:`ENDINGS`, or if matplotlib is not installed.
    """
    if Path(path).suffix.lower() not in ENDINGS:
        raise HalfbitError(f"{path}: a plot's file must end in {', '.join(ENDINGS)}")
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise HalfbitError("a plot needs matplotlib: pip install 'halfbit[plot]'") from None


def figure_of(size: tuple[float, float], heights: Sequence[float]) -> tuple[Figure, list[Any]]:
    """A figure with rows of axes, one below the other. ``size`` is in inches, ``heights`` are relative."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_SETTINGS):
        figure = Figure(figsize=size, layout="constrained")
        axes = figure.subplots(len(heights), 1, gridspec_kw={"height_ratios": heights}, squeeze=False)
    return figure, [row[0] for row in axes]


def save(figure: Figure, path: str, title: str) -> None:
    """Write a figure to a file.

    :raises HalfbitError: if it cannot be written.
    """
    import matplotlib

    if title:
        figure.suptitle(title, fontsize=10)
    ending = Path(path).suffix.lower().lstrip(".")
    metadata = {"svg": {"Date": None}, "png": {}, "pdf": {"CreationDate": None}}[ending]
    try:
        with matplotlib.rc_context(_SETTINGS):
            figure.savefig(path, format=ending, dpi=110, metadata=metadata)
    except OSError as error:
        raise HalfbitError(f"{path}: cannot be written: {error.strerror or error}") from error
