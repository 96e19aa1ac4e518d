"""Histograms of captures' durations, as a survey counts them."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from halfbit import RECEIVE, open_capture
from halfbit.survey.histogram import Histogram

from .svg import Drawing

__all__ = ["CAPTURES", "histogram"]

CAPTURES = Path(__file__).parent.parent.parent / "examples" / "captures"
US = 1000
LEFT, RIGHT = 30, 150  # us shown


def histogram(capture: str) -> Drawing:
    """How many durations of a capture there are of each length, over the windows a decoder must accept."""
    counted = Histogram(RECEIVE)
    counted.add([after.time - before.time for before, after in pairwise(open_capture(CAPTURES / capture))], 1)
    bins = counted.bins
    drawing = Drawing(760, 236)
    base, height, left = 180.0, 150.0, 40.0
    per_us = (drawing.width - left - 14) / (RIGHT - LEFT)

    def at(microseconds: float) -> float:
        return left + (microseconds - LEFT) * per_us

    for name, low, high in (("one", RECEIVE.one_min, RECEIVE.one_max), ("zero", RECEIVE.zero_min, RIGHT * US)):
        drawing.box(at(low / US), base - height, at(high / US) - at(low / US), height, name)
        drawing.text((at(low / US) + at(high / US)) / 2, base - height - 8, f"half of a {name}", 12, "middle")
    most = max(bins[LEFT:RIGHT])
    for microseconds in range(LEFT, RIGHT):
        tall = height * bins[microseconds] / most
        if tall:
            drawing.box(at(microseconds) + 0.5, base - tall, per_us - 1, tall, "solid")
    drawing.line((left, base), (drawing.width - 14, base))
    for microseconds in range(LEFT, RIGHT + 1, 20):
        drawing.line((at(microseconds), base), (at(microseconds), base + 5))
        drawing.text(at(microseconds), base + 20, f"{microseconds}", 12, "middle")
    drawing.text((left + drawing.width) / 2, base + 42, "duration between two level changes, us", 13, "middle", faint=True)
    drawing.text(left - 6, base - height + 10, f"{most}", 11, "end", faint=True)
    drawing.text(left - 6, base, "0", 11, "end", faint=True)
    return drawing
