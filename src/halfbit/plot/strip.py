"""Strips of a capture drawn with matplotlib: the waveform, and under it bits, bytes, meaning and faults."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from ..error import HalfbitError
from ..event import Fault
from ..inspect.strips import Strip, within
from ..limits import RECEIVE, Limits
from .figure import BLUE, GREY, ORANGE, RED, figure_of, save

__all__ = ["draw_band", "plot_strips"]

BAND = 3_200_000  #: Time shown in a band, ns.
BANDS = 24  #: Most bands in a picture.
WIDTH = 12.0  #: Of the picture, inches.
HEIGHT = 2.2  #: Of a band, inches.

#: Heights at which the rows are drawn.
_LEVEL = (3.2, 4.0)
_DURATION = 2.75
_BIT = 2.1
_PART = (0.95, 1.6)
_MEANING = 0.45
_BOTTOM, _TOP = 0.0, 5.0
_CAUSE = 4.45
#: Colours of the parts of a packet, by their text. Other parts are grey.
_FACES: dict[Callable[[str], bool], str] = {
    lambda text: text.startswith("preamble"): "#dce9f5",
    lambda text: ", not " in text: "#f4c6c6",
    lambda text: len(text) == 2: "#fdebd8",
}
_CHARACTER = 0.085  #: Width of a character in the small type, inches.
_SMALL, _TYPE = 7.5, 10  #: Type sizes, points: for durations, and for other text.
_ZERO = 25_000  #: Drawn width of the window of zeros, ns. The real window is longer.


def plot_strips(strips: Iterable[Strip], path: str, *, title: str = "", limits: Limits = RECEIVE) -> None:
    """Draw strips to a file. If they do not all fit, the first bands are drawn and the title says so.

    :raises HalfbitError: if there are no strips, or if the file cannot be written.
    """
    bands = [(strip, start, end) for strip in strips for start, end in _bands(strip)]
    if not bands:
        raise HalfbitError("there is nothing to draw")
    if len(bands) > BANDS:
        title += f" (the first {BANDS} of {len(bands)} bands)"
        del bands[BANDS:]
    figure, axes = figure_of((WIDTH, HEIGHT * len(bands) + 0.6), [1.0] * len(bands))
    for place, (strip, start, end) in zip(axes, bands):
        draw_band(place, strip, start, end, limits)
    axes[-1].set_xlabel("time from the capture's first level change, ms")
    save(figure, path, title)


def _bands(strip: Strip) -> list[tuple[int, int]]:
    """Pieces of a strip of about equal length, cut at changes; all are drawn as long as the longest, or BAND."""
    bands = []
    start = before = strip.times[0]
    length = strip.times[-1] - start
    most = length / -(-length // BAND) + BAND / 40 if length else BAND
    for time in strip.times[1:]:
        if time - start > most and before > start:
            bands.append((start, before))
            start = before
        before = time
    bands.append((start, before))
    shown = max(BAND if len(bands) == 1 else 0, *(end - start for start, end in bands))
    return [(start, start + shown) for start, _ in bands]


def draw_band(axes: Any, strip: Strip, start: int, end: int, limits: Limits = RECEIVE) -> None:
    """Draw a strip from time ``start`` to ``end``, ns, on axes in ms.

    At the first fault, the windows in which the next change would have been valid are shaded.
    """
    scale = (end - start) / 1e6 / WIDTH  # ms per inch
    axes.set_xlim(start / 1e6, end / 1e6)
    axes.set_ylim(_BOTTOM, _TOP)
    axes.set_yticks([sum(_LEVEL) / 2, _DURATION, _BIT, sum(_PART) / 2, _MEANING])
    names = ["changes" if strip.level is None else "level", "us", "bits", "packet", "meaning"]
    axes.set_yticklabels(names, fontsize=_TYPE)
    axes.tick_params(left=False)
    axes.spines["left"].set_visible(False)
    times = [time / 1e6 for time in strip.times]
    if strip.level is None:
        axes.vlines(times, *_LEVEL, color="black", linewidth=1)
    else:
        levels = [_LEVEL[(strip.level + index) % 2] for index in range(len(times))]
        axes.step(times, levels, where="post", color="black", linewidth=1)
    for index, duration in enumerate(strip.durations):
        text = f"{duration / 1000:.0f}"
        fits = duration / 1e6 > len(text) * _CHARACTER * scale * 0.8
        if fits and strip.times[index] >= start and strip.times[index + 1] <= end:
            _write(axes, (times[index] + times[index + 1]) / 2, _DURATION, text, GREY, _SMALL)
    for mark in within(strip.bits, start, end):
        if mark.start >= start:
            axes.plot([mark.start / 1e6] * 2, [_BIT - 0.3, _LEVEL[0]], color=GREY, linewidth=0.4, alpha=0.6)
        middle = (max(mark.start, start) + min(mark.end, end)) / 2e6
        _write(axes, middle, _BIT, mark.text, RED if mark.text == "?" else BLUE if mark.text == "1" else ORANGE)
    for mark in within(strip.parts, start, end):
        left, right = max(mark.start, start) / 1e6, min(mark.end, end) / 1e6
        face = next((color for sort, color in _FACES.items() if sort(mark.text)), "#eeeeee")
        axes.fill_between([left, right], *_PART, facecolor=face, edgecolor=GREY, linewidth=0.5)
        _write(axes, (left + right) / 2, sum(_PART) / 2, _fitted(mark.text, right - left, scale), "black")
    for mark in within(strip.meanings, start, end):
        left = max(mark.start, start) / 1e6
        color = RED if mark.text.startswith("lost") else "black"
        _write(axes, left, _MEANING, " " + _fitted(mark.text, end / 1e6 - left, scale), color, align="left")
    faults = [fault for fault in strip.faults if start <= fault.at < end]
    for fault in faults:
        axes.plot([fault.at / 1e6], [_TOP - 0.1], marker="v", markersize=7, color=RED, clip_on=False)
        axes.axvline(fault.at / 1e6, color=RED, linewidth=0.8, alpha=0.5)
    _cause(axes, strip, start, end)
    if faults:  # the first error; the others usually follow from it
        _label(axes, faults[0], limits, (start + end) / 2)


def _cause(axes: Any, strip: Strip, start: int, end: int) -> None:
    """Mark the place of the cause, if it is known and in this band."""
    found = strip.diagnosis
    if found is None or not found.is_at_one_place or not start <= found.at < end:
        return
    at = found.at / 1e6
    axes.plot([at, at], [_BOTTOM, _CAUSE], color=BLUE, linewidth=1, linestyle="--")
    side = "left" if found.at < (start + end) / 2 else "right"
    axes.text(at, _CAUSE, f"  cause: {found.cause.value}  ", ha=side, va="center", fontsize=_TYPE, color=BLUE)


def _label(axes: Any, fault: Fault, limits: Limits, middle: float) -> None:
    at, name = fault.at / 1e6, fault.kind.name.lower().replace("_", " ")
    side = "left" if fault.at < middle else "right"
    axes.text(at, _TOP + 0.05, f"   {name}   ", ha=side, va="center", fontsize=_TYPE, color=RED, clip_on=False)
    if fault.duration is not None and limits.decision == "halves":
        windows = (limits.one_min, limits.one_max, BLUE), (limits.zero_min, limits.zero_min + _ZERO, ORANGE)
        low, high = _LEVEL[0] - 0.15, _LEVEL[1] + 0.15
        for first, last, color in windows:
            axes.fill_between([at + first / 1e6, at + last / 1e6], low, high, color=color, alpha=0.25, linewidth=0)


def _write(axes: Any, x: float, y: float, text: str, color: str, size: float = _TYPE, align: str = "center") -> None:
    axes.text(x, y, text, ha=align, va="center", fontsize=size, color=color)


def _fitted(text: str, room: float, scale: float) -> str:
    """A text, shortened to fit into ``room`` ms."""
    characters = int(room / scale / _CHARACTER)
    if len(text) <= characters:
        return text
    return text[: characters - 2] + ".." if characters > 3 else text[:characters]
