"""A stretch of a signal at its layers, drawn from what the inspector gives."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate

import attrs

from halfbit.inspect import Mark

from .svg import Drawing, text_width

__all__ = ["ROWS", "Layers", "strip_drawing"]

ROWS = ("level", "half-bits", "bits", "packet", "instruction")
MARGIN = 92
#: Size of the numbers under the level.
SMALL = 9.5
#: Durations longer than this, ns, are drawn this long, with a break in the line.
LONGEST = 260_000
HEIGHTS = {"level": 62, "half-bits": 32, "bits": 32, "packet": 32, "instruction": 34}


@attrs.frozen
class Layers:
    """A signal at its layers. Times are ns."""

    times: Sequence[int]
    #: After the first change.
    level: int
    half_bits: Sequence[Mark]
    bits: Sequence[Mark]
    packets: Sequence[Mark]
    instructions: Sequence[Mark]


class _Scale:
    """Where times are drawn."""

    def __init__(self, times: Sequence[int], width: float) -> None:
        self.times = times
        drawn = list(accumulate((min(b - a, LONGEST) for a, b in zip(times, times[1:])), initial=0))
        self._places = [place * width / drawn[-1] for place in drawn]

    def x(self, time: int) -> float:
        """The column of a time; of one outside, the nearest end."""
        times = self.times
        if time <= times[0]:
            return MARGIN
        if time >= times[-1]:
            return MARGIN + self._places[-1]
        index = bisect_right(times, time) - 1
        part = (time - times[index]) / (times[index + 1] - times[index])
        return MARGIN + self._places[index] + part * (self._places[index + 1] - self._places[index])


def strip_drawing(layers: Layers, low: int, high: int, width: float = 760, rows: Sequence[str] = ROWS) -> Drawing:
    """The changes ``low`` to ``high`` of a signal, a row for each layer.

    :param rows: some of :data:`ROWS`.
    """
    times = layers.times[low : high + 1]
    scale = _Scale(times, width - MARGIN - 12)
    shown = [row for row in rows if row != "half-bits" or layers.half_bits]
    heights = HEIGHTS if _labels(scale) else {**HEIGHTS, "level": 46}
    drawing = Drawing(width, sum(heights[row] for row in shown) + 12)
    y = 8.0
    for row in shown:
        drawing.text(4, y + (26 if row == "level" else 17), row, 13, faint=True)
        if row == "level":
            _level(drawing, scale, layers, low, y)
        else:
            marks = {"half-bits": layers.half_bits, "bits": layers.bits, "packet": layers.packets, "instruction": layers.instructions}
            for mark in marks[row]:
                _mark(drawing, scale, mark, y, row)
        y += heights[row]
    return drawing


def _labels(scale: _Scale) -> list[str]:
    """How long the level stays each time, in us; empty if there is no room for all."""
    texts = [f"{(after - before) / 1000:.0f}" for before, after in zip(scale.times, scale.times[1:])]
    rooms = [scale.x(after) - scale.x(before) for before, after in zip(scale.times, scale.times[1:])]
    return texts if all(text_width(text, SMALL) + 2.5 <= room for text, room in zip(texts, rooms)) else []


def _level(drawing: Drawing, scale: _Scale, layers: Layers, low: int, y: float) -> None:
    """The level as a line, and under it how long it stays."""
    top, bottom = y + 6, y + 34
    level = (layers.level + low) % 2
    line = []
    labels = _labels(scale)
    for index, (before, after) in enumerate(zip(scale.times, scale.times[1:])):
        height = top if level else bottom
        left, right = scale.x(before), scale.x(after)
        line += [(left, height), (right, height)]
        if after - before > LONGEST:
            middle = (left + right) / 2
            drawing.line((middle - 5, height + 6), (middle - 1, height - 6))
            drawing.line((middle + 1, height + 6), (middle + 5, height - 6))
        if labels:
            drawing.text((left + right) / 2, y + 50, labels[index], SMALL, "middle", faint=True)
        level = 1 - level
    drawing.line(*line)
    if labels:
        drawing.text(4, y + 50, "us", 13, faint=True)


def _mark(drawing: Drawing, scale: _Scale, mark: Mark, y: float, row: str) -> None:
    start, end = scale.times[0], scale.times[-1]
    if mark.end <= start or mark.start >= end:
        return
    left, right = scale.x(mark.start), scale.x(mark.end)
    kind = {"?": "bad", "1": "one", "0": "zero"}.get(mark.text, "plain") if row in ("half-bits", "bits") else "plain"
    if mark.text.startswith("lost"):
        kind = "bad"
    drawing.box(left + 0.5, y, max(right - left - 1, 1), 24, kind, 2)
    if row == "half-bits" and kind != "bad":
        return
    text = mark.text
    for size in (13, 12, 11, 10, 9):
        if text_width(text, size) <= right - left - 1.5:
            break
    else:
        if row in ("half-bits", "bits") or right - left < 30:
            return
        text = text[: int((right - left - 8) / (10 * 0.58)) - 2] + ".."
    drawing.text((left + right) / 2, y + 16.5, text, size, "middle")
