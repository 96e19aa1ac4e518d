"""Writes a survey as text, and as an object for JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import attrs

from ..limits import RECEIVE, US
from . import Fit, Survey, Trial

__all__ = ["as_dict", "lines"]

#: Most rows of the histogram, and the bin widths, us, from which the first that fits is used.
ROWS = 32
_WIDTHS = (1, 2, 5, 10, 20)
#: Shortest bar, in columns, even on a narrow terminal.
_BAR = 10


def lines(survey: Survey, width: int) -> Iterator[str]:
    """A survey as lines of text, at most ``width`` columns wide (60 or more)."""
    shares = survey.shares
    yield f"{survey.half_bits} durations, {survey.length / 1e9:.3f} s"
    yield ""
    yield from _histogram(survey, width)
    yield ""
    yield "windows a decoder must accept (S-9.1 A): halves of ones 52 to 64 us, of zeros 90 to 10000 us"
    yield (
        f"shorter {shares.below:.1%}, ones {shares.ones:.1%}, between {shares.between:.1%}, "
        f"zeros {shares.zeros:.1%}, longer {shares.above:.1%}"
    )
    if survey.tick:
        yield f"times come in steps of {_us(survey.tick)} us"
    yield ""
    if survey.fit is not None:
        yield from _signal(survey, survey.fit)
        yield ""
    yield from _trials(survey)
    yield ""
    verdict = survey.verdict
    text = verdict.reason[0].upper() + verdict.reason[1:] + ". " + verdict.advice
    yield from textwrap.wrap(text, width, initial_indent="=> ", subsequent_indent="   ")


def _histogram(survey: Survey, width: int) -> Iterator[str]:
    """A row for each bin. Ranges of empty bins are left out."""
    used = [us for us, number in enumerate(survey.histogram) if number]
    if not used:
        yield f"all durations are {len(survey.histogram)} us or longer" if survey.longer else "no durations"
        return
    step = next((step for step in _WIDTHS if len({us // step for us in used}) <= ROWS), _WIDTHS[-1])
    bins = {start: sum(survey.histogram[start : start + step]) for start in sorted({us // step * step for us in used})}
    most = max(bins.values())
    room = max(width - 31, _BAR)
    yield f"{'us':>10}  {'':4}  {'share':>6}"
    before = None
    for start, number in bins.items():
        if before is not None and start != before + step:
            yield f"{'...':>10}"
        before = start
        label = f"{start}" if step == 1 else f"{start} to {start + step}"
        bar = "#" * (number * room // most) or ("|" if number else "")
        yield f"{label:>10}  {_window(start, step):4}  {number / survey.half_bits:>6.1%}  {bar}".rstrip()
    if survey.longer:
        yield f"{f'{len(survey.histogram)} and up':>10}  {'':4}  {survey.longer / survey.half_bits:>6.1%}"


def _window(start: int, step: int) -> str:
    """The window of ``RECEIVE`` in which most of a bin is."""
    middle = start * US + step * US // 2
    if RECEIVE.one_min <= middle <= RECEIVE.one_max:
        return "one"
    return "zero" if RECEIVE.zero_min <= middle <= RECEIVE.zero_max else ""


def _signal(survey: Survey, fit: Fit) -> Iterator[str]:
    yield f"the signal, from {fit.packets} packets"
    yield f"  half of a one    {fit.one / US:.2f} us"
    yield f"  half of a zero   {fit.zero / US:.2f} us" + (
        f"; {fit.stretched:.1%} of zero-bits are stretched" if fit.stretched else ""
    )
    rare = f"; now and then up to {_us(fit.latency_rare)} us" if fit.latency_rare else ""
    spread = f"within {_us(fit.late)} us of one another" if fit.late else "all alike"
    yield f"  changes seen     {spread}, measured from where they are{rare}"
    if fit.difference:
        yield f"  halves of a one  differ by {_us(fit.difference)} us"
    total = sum(survey.preambles.values())
    common = [ones for ones, number in survey.preambles.items() if number >= total / 50]
    common = sorted(common, key=lambda ones: -survey.preambles[ones])[:5]
    preambles = ", ".join(f"{ones} ({survey.preambles[ones] / total:.0%})" for ones in sorted(common))
    more = " and other numbers of" if len(survey.preambles) > len(common) else ""
    yield f"  preambles        {preambles}{more} one-bits, the end bit before counted"


def _trials(survey: Survey) -> Iterator[str]:
    yield "limits tried on a part of the capture, best first"
    yield f"  {'packets':>7}  {'faults':>6}  {'in packets':>10}"
    for trial in survey.trials:
        yield f"  {trial.packets:>7}  {trial.faults:>6}  {trial.share:>10.1%}  {trial.name}" + (
            f", behind a filter of {_us(trial.filter)} us" if trial.filter else ""
        )


def _us(nanoseconds: float) -> str:
    return f"{nanoseconds / US:.1f}".removesuffix(".0")


def as_dict(survey: Survey) -> dict[str, object]:
    """A survey as an object for JSON. Times are ns, shares 0 to 1.

    Keys: ``half_bits``, ``length``, ``bins`` (pairs of the start of a 1 us bin, us, and its number of durations,
    without empty bins), ``longer``, ``shares``, ``tick``, ``fit`` (or null), ``preambles``, ``trials``, ``limits``,
    ``filter``, ``factor``, ``finding``, ``reason``, ``advice``.
    """
    return {
        "half_bits": survey.half_bits,
        "length": survey.length,
        "bins": [[us, number] for us, number in enumerate(survey.histogram) if number],
        "longer": survey.longer,
        "shares": attrs.asdict(survey.shares),
        "tick": survey.tick,
        "fit": None if survey.fit is None else attrs.asdict(survey.fit),
        "preambles": {str(ones): number for ones, number in survey.preambles.items()},
        "trials": [_trial(trial) for trial in survey.trials],
        "limits": attrs.asdict(survey.limits),
        "filter": survey.filter,
        "factor": survey.factor,
        "finding": survey.verdict.finding.value,
        "reason": survey.verdict.reason,
        "advice": survey.verdict.advice,
    }


def _trial(trial: Trial) -> dict[str, object]:
    return {
        "name": trial.name,
        "packets": trial.packets,
        "faults": trial.faults,
        "share": round(trial.share, 6),
        "filter": trial.filter,
        "limits": attrs.asdict(trial.limits),
    }
