"""The verdict on a capture in plain words: its kind, and what to do about it."""

from __future__ import annotations

import enum

import attrs

from ..limits import RECEIVE, US, Limits
from .fit import Fit
from .histogram import Histogram
from .search import BITS, PREAMBLE, Search, best_first
from .trial import Trial

__all__ = ["Finding", "Verdict", "verdict_of"]

#: Up to this lateness, ns, single halves can be told apart: half of the difference between 58 and 100 us.
SINGLE = 21 * US
#: A step of this or more, ns, is coarse: about as long as the allowed difference of a one-bit's halves (S-9.1 A,
#: table 1).
COARSE = 5 * US
AS_IT_IS = "Decode it as it is."
#: Fewer durations than this are too few for a verdict.
FEW = 500
#: Factors for a wrong unit, and the mistakes that explain them.
_MISTAKES = {
    1e3: "milliseconds read as microseconds, say",
    1e6: "seconds read as microseconds, say",
    1e-3: "nanoseconds read as microseconds, say",
    1e-6: "nanoseconds read as milliseconds, say",
}


class Finding(enum.Enum):
    """Kinds of captures."""

    #: The signal is as a decoder must accept it.
    SOUND = "sound"
    #: Changes are seen a little early or late. Wider windows are enough.
    JITTER = "jitter"
    #: A capture of a polling loop or a coarse timer that can be read.
    POLLED = "polled"
    #: The capture holds only the rising or only the falling changes.
    ONE_EDGE = "one edge"
    #: Level changes are too close together for half-bits.
    NOISE = "noise"
    #: The sampling period is too long, or the timer too coarse.
    COARSE = "too coarse"
    #: The times are in a different unit than stated.
    UNIT = "unit"
    #: There is no signal, or not one that halfbit knows.
    NOTHING = "nothing"

    @property
    def readable(self) -> bool:
        """True if some limits read packets."""
        return self not in (Finding.COARSE, Finding.UNIT, Finding.NOTHING)


@attrs.frozen
class Verdict:
    """The kind of a capture, why, and what to do."""

    finding: Finding
    #: The finding in words, with its reason.
    reason: str
    #: What to do about it.
    advice: str


def verdict_of(histogram: Histogram, search: Search, tick: float, minimum: int, factor: float) -> Verdict:
    """The verdict on a capture.

    :param tick: the step of the times, ns; 0 if no step was found.
    :param minimum: minimum of the noise filter used for the search, ns; 0 for no filter.
    :param factor: factor by which all times must be multiplied, if the unit is wrong; else 1.
    """
    if histogram.count < PREAMBLE:
        return Verdict(Finding.NOTHING, "the level changes hardly ever", "Check the wiring, and that the track has power.")
    if factor != 1:
        return _unit(histogram, factor)
    best = best_first(search.trials)[0]
    fit = search.fit
    if not search.pulse:
        reason = "ten changes in a row and more come at the same time: the times are much too short, or too coarse"
        return Verdict(Finding.UNIT, reason, "Say the right unit: --unit.")
    if best.packets and best.limits == RECEIVE and not minimum and fit is None:
        return Verdict(Finding.SOUND, f"what is in it a decoder must accept; {_number(best.packets)} could be read", AS_IT_IS)
    if fit is None or not best.packets:
        return _nothing(histogram, search, tick)
    if minimum:
        reason = f"some level changes are less than {_us(minimum)} us apart, closer than any half-bit is long: noise at the crossings, or spikes"
        rest = "" if best.limits == RECEIVE else "; " + _reason(fit, best, tick)
        advice = f"Use --filter {_us(minimum)}" + ("." if best.limits == RECEIVE else " --limits auto.")
        return Verdict(Finding.NOISE, reason + rest, advice)
    if best.limits == RECEIVE:
        reason = f"halves of ones are {_us(fit.one)} us long and of zeros {_us(fit.zero)} us, within what a decoder must accept"
        return Verdict(Finding.SOUND, reason, AS_IT_IS)
    return Verdict(_finding(fit, best), _reason(fit, best, tick), _advice(best.limits))


def _finding(fit: Fit, best: Trial) -> Finding:
    if best.limits.one_edge:
        return Finding.ONE_EDGE
    return Finding.JITTER if best.limits.decision == "halves" and fit.late <= SINGLE else Finding.POLLED


def _reason(fit: Fit, best: Trial, tick: float) -> str:
    limits = best.limits
    stretching = "; zeros are stretched here and there" if fit.stretched > 0.002 else ""
    if limits.one_edge:
        one, mixed, zero = 2 * fit.one, fit.one + fit.zero, 2 * fit.zero
        return (
            f"the durations are {_us(one)}, {_us(mixed)} and {_us(zero)} us, sums of two halves: "
            f"only the rising or only the falling changes are in the capture{stretching}"
        )
    if tick >= COARSE:
        cause = f"times come in steps of {_us(round(tick))} us, from a loop of that period or a coarse timer"
    elif fit.late > SINGLE:
        cause = f"the loop period is up to about {_us(fit.late)} us"
    else:
        cause = f"changes are seen up to {_us(fit.late)} us late (or half of that early or late)"
    if fit.latency_rare:
        cause += f", now and then {_us(fit.latency_rare)} us"
    if limits.decision == "halves":
        if fit.late <= 2 * US:
            return (
                f"halves of ones are {_us(fit.one)} us long and of zeros {_us(fit.zero)} us, differing by "
                f"{_us(fit.difference)} us: not what a decoder must accept"
            )
        return f"{cause}: single halves can still be told apart, with wider windows"
    if limits.decision == "sum":
        return f"{cause}: single halves cannot be told apart, sums of both halves of a bit can"
    return f"{cause}: neither single halves nor sums can be told apart; the bits of a whole packet in sequence can"


def _advice(limits: Limits) -> str:
    return f"Use --limits auto (it decides by {limits.decision})."


def _unit(histogram: Histogram, factor: float) -> Verdict:
    average = histogram.length / histogram.count * factor
    words = f"{factor:,.0f} times too short" if factor > 1 else f"{1 / factor:,.0f} times too long"
    if not 0.6 < abs(factor) < 1.7 and factor in _MISTAKES:
        cause = _MISTAKES[factor]
    else:
        words = f"{factor:.4g} times too short" if factor > 1 else f"{1 / factor:.4g} times too long"
        cause = "ticks of a timer, perhaps"
    reason = f"the times are {words} for this signal; then half-bits would be {average / US:.0f} us on average: {cause}"
    return Verdict(Finding.UNIT, reason, "Say the right unit: --unit.")


def _nothing(histogram: Histogram, search: Search, tick: float) -> Verdict:
    shortest = histogram.quantile(0.01)
    if (tick > 58 * US or shortest >= 64 * US) and histogram.quantile(0.5) < 250 * US and search.pulse not in BITS:
        step = _us(round(tick)) if tick > 58 * US else _us(shortest)
        reason = (
            f"no two changes are closer than {step} us, while halves of ones are 58 us long: "
            "the loop or timer is too coarse, changes go unseen"
        )
        return Verdict(Finding.COARSE, reason, "Look at the level at least every 50 us, better every 10.")
    shares = histogram.shares
    if shares.ones > 0.95:
        reason = f"{shares.ones:.0%} of the durations are halves of ones: the signal idles, no packet is sent"
        return Verdict(Finding.NOTHING, reason, "Capture while the station sends packets.")
    if histogram.count < FEW:
        reason = f"no packet could be read; there are only {histogram.count} durations, too few to learn from"
        return Verdict(Finding.NOTHING, reason, "Capture some seconds.")
    reason = (
        f"no packet could be read; {shares.ones:.0%} of the durations are as long as halves of ones, "
        f"{shares.zeros:.0%} as halves of zeros"
    )
    return Verdict(Finding.NOTHING, reason, "Check the wiring, and that it is this signal.")


def _number(packets: int) -> str:
    return "one packet" if packets == 1 else f"{packets} packets"


def _us(nanoseconds: int) -> str:
    return f"{nanoseconds / US:.1f}".removesuffix(".0")
