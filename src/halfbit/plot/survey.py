"""A survey drawn with matplotlib: the histogram with the windows, and the waveform of a packet."""

from __future__ import annotations

from typing import Any

from ..edge import edges_from_durations
from ..inspect.strips import Strip, strips
from ..limits import RECEIVE, US
from ..event import Packet
from .figure import BLUE, GREY, ORANGE, RED, figure_of, save
from .strip import BAND, draw_band
from ..survey import Survey

__all__ = ["plot_survey"]

LEAD = 4  #: Number of preamble one-bits drawn before the packet.
TAIL = 0.002  #: At most this share of the durations is longer than the histogram; it has the zeros of a station.


def plot_survey(survey: Survey, path: str, *, title: str = "") -> None:
    """Draw a survey to a file.

    :raises HalfbitError: if the file cannot be written.
    """
    strip = _example(survey)
    height, heights = (4.2, [1.0]) if strip is None else (6.2, [3.0, 1.3])
    figure, axes = figure_of((14.0, height), heights)
    _histogram(axes[0], survey)
    if strip is not None:
        start = _start(strip)
        draw_band(axes[1], strip, start, max(strip.times[-1], start + BAND))
        axes[1].set_xlabel("time within the stretch tried, ms")
        axes[1].set_title("a packet of the capture", fontsize=9, loc="left")
    save(figure, path, title + ": " * bool(title) + survey.verdict.finding.value)


def _histogram(axes: Any, survey: Survey) -> None:
    bins = survey.histogram
    last = max((us for us, number in enumerate(bins) if number), default=0)
    left = survey.half_bits * TAIL
    while last > 120 and left >= bins[last]:
        left -= bins[last]
        last -= 1
    end = max(last + 10, 130)
    heights = [number / (survey.half_bits or 1) for number in bins[:end]]
    axes.bar(range(end), heights, width=1, align="edge", color=GREY)
    top = 1.18 * (max(heights) or 1)
    ones = RECEIVE.one_min, RECEIVE.one_max, BLUE, "ones"
    zeros = RECEIVE.zero_min, min(RECEIVE.zero_max, end * US), ORANGE, "zeros"
    for low, high, color, name in (ones, zeros):
        axes.axvspan(low / US, high / US, color=color, alpha=0.15, linewidth=0)
        axes.text(low / US + end / 250, top * 0.975, name, ha="left", va="top", color=color)
    limits = survey.limits
    if limits != RECEIVE and limits.decision == "halves":
        axes.axvline(limits.one_max / US, color=RED, linewidth=1, linestyle="--", label="ones and zeros parted here")
    fit = survey.fit
    if fit is not None:
        halves = 2 if limits.one_edge else 1
        for place, name, color in ((fit.one, "one", BLUE), (fit.zero, "zero", ORANGE)):
            us = halves * place / US
            what = f"whole {name}-bits" if limits.one_edge else f"halves of {name}-bits"
            axes.axvline(us, color=color, linewidth=1, linestyle=":", label=f"{what} of this station: {us:.1f} us")
        axes.legend(loc="upper right", bbox_to_anchor=(1.0, 0.9), framealpha=0.9, edgecolor="none", fontsize=8)
    axes.set_xlim(0, end)
    axes.set_ylim(0, top)
    axes.set_xlabel("duration between level changes, us")
    axes.set_ylabel("share of the durations")
    rest = survey.longer + sum(bins[end:])
    note = f"{survey.half_bits} durations" + (f"; {rest / survey.half_bits:.1%} are longer than shown" if rest else "")
    axes.set_title(note + "; shaded: what a decoder must accept (S-9.1 A)", fontsize=9, loc="left")


def _example(survey: Survey) -> Strip | None:
    """The shortest of the first packets read; ``None`` if there are no packets."""
    trial = survey.trials[0]
    for stretch in trial.stretches:
        found = [(len(event.data), event.start) for event in stretch.events[:40] if isinstance(event, Packet)]
        if found:
            edges = edges_from_durations(stretch.durations, "ns")
            return next(iter(strips(edges, trial.limits, at=min(found)[1], events=1)), None)
    return None


def _start(strip: Strip) -> int:
    """Start of the drawing, ns: a few ones before the start bit."""
    starts = [mark.start for mark in strip.parts if mark.text == "start"]
    before = [mark.start for mark in strip.bits if starts and mark.start < starts[0]]
    return before[-LEAD] if len(before) >= LEAD else strip.times[0]
