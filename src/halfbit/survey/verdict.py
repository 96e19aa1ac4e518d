"""The verdict on a capture in plain words: its kind, what causes it, and what to do about it."""

from __future__ import annotations

import enum
import math
from collections.abc import Iterator

import attrs

from ..event import Recovery
from ..limits import RECEIVE, TRANSMIT, US, Limits
from .fit import Fit
from .histogram import FINE, Histogram
from .search import BITS, NOISE, PREAMBLE, Search
from .trial import Trial

__all__ = ["COARSE", "Finding", "Verdict", "verdict_of"]

#: Up to this lateness, ns, single halves can be told apart: half of the difference between 58 and 100 us.
SINGLE = 21 * US
#: A loop that is slower than this, ns, is too slow to be sure: up to here sums of two halves can be told apart.
SLOW = 42 * US
#: A step of this or more, ns, is coarse: about as long as the allowed difference of a one-bit's halves (S-9.1 A,
#: table 1).
COARSE = 5 * US
#: Up to this lateness, ns, changes are exact.
EXACT = 2 * US
#: How far measured lengths may be off, ns.
MEASURED = US // 2
#: A capture that loses more than this share of its time, 0 to 1, is not sound.
SOUND_LOSS = 0.02
#: Smallest share of the packets, 0 to 1, or of the zeros, that is worth naming.
SOME = 0.02
SOME_ZEROS = 0.002
#: Losses can look like cutouts, so only this share of the packets, 0 to 1, with cutouts behind them is named.
CUTOUTS = 0.1
#: If limits for a slow loop lose more time than this part of the time that they read, the loop is slower than that.
TOO_MUCH = 0.1
#: Share of the times, 0 to 1, that may be shorter by noise than those that a loop gives.
SHORT = 0.002
AS_IT_IS = "Decode it as it is."
OR_RECOVER = "Decode it as it is, or with --recover: lost packets are then read again."
OFTEN = f"Look at the level at least every {SLOW // US} us, better every 10, or note changes by interrupt or timer."
CHECK = "Check the wiring, and that it is this signal."
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
    #: One direction of level change is seen later than the other.
    ONE_LATE = "one direction late"
    #: The capture's clock is off, or the station's bits are not as long as they must be.
    CLOCK = "clock off"
    #: A capture of a polling loop or a coarse timer that can be read.
    POLLED = "polled"
    #: Level changes are missing.
    MISSED = "missed changes"
    #: The capture holds only the rising or only the falling changes.
    ONE_EDGE = "one edge"
    #: Level changes are too close together for half-bits.
    NOISE = "noise"
    #: Much of the time is lost, for another reason.
    LOSSES = "losses"
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
    #: The finding in words, with its causes and their figures.
    reason: str
    #: What to do about it.
    advice: str


@attrs.frozen(slots=True)
class _Cause:
    """Something that a capture shows."""

    finding: Finding
    #: With its figure.
    words: str
    #: What to do on the board.
    remedy: str = ""


def verdict_of(histogram: Histogram, search: Search, tick: float, factor: float) -> Verdict:
    """The verdict on a capture.

    :param tick: the step of the times, ns; 0 if no step was found.
    :param factor: factor by which all times must be multiplied, if the unit is wrong; else 1.
    """
    if histogram.count < PREAMBLE:
        advice = "Check the wiring, and that the track has power."
        return Verdict(Finding.NOTHING, "the level changes hardly ever", advice)
    if factor != 1:
        return _unit(histogram, factor)
    best = search.trials[0]
    if not search.pulse:
        reason = "ten changes in a row and more come at the same time: the times are much too short, or too coarse"
        return Verdict(Finding.UNIT, reason, "Say the right unit: --unit.")
    strict = next(trial for trial in search.trials if trial.limits == RECEIVE and not trial.filter)
    if best.by_chance and not (strict is best and best.packets):
        return _nothing(histogram, search, tick)
    if _misses_halves(best, search.fit, tick, histogram.quantile(SHORT)):
        reason = (
            "turns of the loop are longer than half of a one: both changes of a half can go unseen, and packets that "
            "were not sent could come out"
        )
        return Verdict(Finding.COARSE, reason, OFTEN)
    standard = _is_standard(best)
    causes = [*_causes(best, search.fit, tick)]
    words = [cause.words for cause in causes]
    if standard:
        words.insert(0, _sound(best, search.fit))
        if strict.lost <= SOUND_LOSS:
            return Verdict(Finding.SOUND, "; ".join(words), AS_IT_IS)
    lost = strict.lost if standard else best.lost
    if lost > SOUND_LOSS:
        again = standard and best is not strict
        more = f", {best.lost:.1%} with --recover" if again else ""
        words.append(f"{lost:.1%} of the time is lost{more}")
        causes.append(_Cause(Finding.LOSSES, "", "See what is lost and why: halfbit decode --lost."))
    named = [cause for cause in causes if cause.finding is not Finding.SOUND]
    finding = named[0].finding if named else Finding.JITTER
    if not standard:
        words.append(_decision(best))
    remedies = [cause.remedy for cause in named if cause.remedy]
    return Verdict(finding, "; ".join(words), " ".join([_advice(best), *remedies]))


def _is_standard(best: Trial) -> bool:
    """True if limits are the standard's, with recovery or without."""
    plain = attrs.evolve(best.limits, recover=False, latency_max=RECEIVE.latency_max)
    return plain == RECEIVE and not best.filter


def _misses_halves(best: Trial, fit: Fit | None, tick: float, shortest: int) -> bool:
    """True if turns of the loop are longer than half of a one.

    Both changes of a half can then fall into one turn, and the level is as before. No decision knows of them, so it can
    give packets that were not sent.

    :param shortest: a time between changes near each other, ns. The loop's usual turns are not much longer.
    """
    if best.limits.decision == "halves" or best.limits.one_edge:
        return False
    if max(best.limits.latency_max, shortest) > SLOW and (fit is None or best.lost > TOO_MUCH * best.share):
        return True  # the lateness is not known, or so few packets fit that they say little of it
    # The decision by sequence knows of rare long turns. All other turns are short if the loop looks at each half twice.
    return fit is not None and fit.late - tick > fit.one and 2 * max(fit.late_median, shortest) > fit.one


def _causes(best: Trial, fit: Fit | None, tick: float) -> Iterator[_Cause]:
    """What the best reading shows, the gravest first. What is sound all the same comes last."""
    if best.limits.one_edge:
        yield _one_edge(fit)
    extra = best.having(Recovery.EXTRA_CHANGES)
    if best.filter or extra >= SOME * best.packets and extra:
        yield _noise(best)
    late = best.limits.latency_max if fit is None else fit.usual
    if best.limits.latency_rare or late > SINGLE or tick >= COARSE:
        yield _loop(best, fit, tick, late)
    else:
        missed = best.having(Recovery.MISSED_CHANGES)
        if missed >= SOME * best.packets and missed:
            yield _missed(best, missed / best.packets)
        if late > EXACT and not _is_standard(best):
            more = f", now and then {_us(fit.latency_rare)} us" if fit is not None and fit.latency_rare else ""
            words = f"changes are seen up to {_us(late)} us late{more} (or up to half of that early or late)"
            yield _Cause(Finding.JITTER, words)
    if fit is not None:
        yield from _lengths(best, fit)
    if best.cutouts > CUTOUTS * best.packets:
        yield _Cause(Finding.SOUND, f"cutouts follow {min(best.cutouts / best.packets, 1):.0%} of the packets")


def _one_edge(fit: Fit | None) -> _Cause:
    words = "only the rising or only the falling changes are in the capture"
    if fit is not None:
        one, mixed, zero = 2 * fit.one, fit.one + fit.zero, 2 * fit.zero
        durations = f"{one / US:.0f}, {mixed / US:.0f} and {zero / US:.0f} us"
        words = f"the durations are {durations}, sums of two halves: {words}"
    return _Cause(Finding.ONE_EDGE, words, "Better note both directions of change.")


def _noise(best: Trial) -> _Cause:
    near = best.filter or NOISE
    words = f"some level changes are less than {_us(near)} us apart"
    if not best.filter:
        short = sum(duration < near for stretch in best.stretches for duration in stretch.durations)
        rate = _round(_changes(best) / max(short, 1))
        words = f"about one level change in {rate} is less than {_us(near)} us after another"
    return _Cause(
        Finding.NOISE,
        f"{words}, closer than any half-bit is long: noted twice, noise at the crossings, or spikes",
        "An input with hysteresis notes each change once.",
    )


def _missed(best: Trial, share: float) -> _Cause:
    rate = -math.log1p(-min(share, 0.99)) * best.packets / _changes(best)
    return _Cause(
        Finding.MISSED,
        f"about one level change in {_round(1 / rate)} is missing",
        "An input that misses changes needs a shorter interrupt routine, or a timer that captures.",
    )


def _loop(best: Trial, fit: Fit | None, tick: float, late: int) -> _Cause:
    words = f"the loop period is up to about {_us(late)} us"
    if tick >= COARSE:
        words = f"times come in steps of {_us(round(tick))} us, from a loop of that period or a coarse timer"
    rare = best.limits.latency_rare if fit is None else fit.latency_rare
    hit = best.having(Recovery.LONG_TURNS, Recovery.LATE_CHANGES, Recovery.MISSED_CHANGES) / best.packets
    remedy = ""
    if rare or hit >= SOME:
        up_to = f", now and then {_us(rare)} us or more" if rare else ""
        words += f"{up_to}; {hit:.0%} of the packets meet long turns"
        remedy = "Take out of the loop what makes its long turns, or note changes by interrupt."
    elif late > SLOW:
        words += ": too slow to be sure of every packet"
        remedy = OFTEN
    return _Cause(Finding.POLLED, words, remedy)


def _lengths(best: Trial, fit: Fit) -> Iterator[_Cause]:
    if fit.difference > (RECEIVE.one_difference or 0):
        yield _Cause(
            Finding.ONE_LATE,
            f"one direction of change is seen about {_us(fit.difference // 2)} us later than the other",
            "A faster optocoupler sees both directions alike.",
        )
    low, high = TRANSMIT.one_min, TRANSMIT.one_max
    if not low - MEASURED <= fit.one <= high + MEASURED:
        off = fit.one / (low if fit.one < low else high) - 1
        yield _Cause(
            Finding.CLOCK,
            f"halves of ones are {_us(fit.one)} us long, while a station sends {_us(low)} to {_us(high)} us (S-9.1 A): "
            f"the capture's clock is {abs(off):.1%} or more too {'fast' if off > 0 else 'slow'}",
            "Check the rate of the clock.",
        )
    if fit.stretched > SOME_ZEROS:
        yield _Cause(Finding.SOUND, f"{fit.stretched:.1%} of the zeros are stretched")


def _sound(best: Trial, fit: Fit | None) -> str:
    if fit is None:
        return f"what is in it a decoder must accept; {_number(best.packets)} could be read"
    halves = f"halves of ones are {_us(fit.one)} us long and of zeros {_us(fit.zero)} us"
    return f"{halves}, within what a decoder must accept"


def _decision(best: Trial) -> str:
    if best.limits.one_edge:
        return "the bits of a whole packet in sequence can be told apart"
    if best.limits.decision == "halves":
        return "single halves can still be told apart" + ("" if best.filter else ", with wider windows")
    if best.limits.decision == "sum":
        return "single halves cannot be told apart, sums of both halves of a bit can"
    return "single halves do not give all packets; the bits of a whole packet in sequence can"


def _advice(best: Trial) -> str:
    if _is_standard(best):
        return OR_RECOVER if best.limits.recover else AS_IT_IS
    if best.filter:
        return f"Use --filter {_us(best.filter)}" + ("." if best.limits == RECEIVE else " --limits auto.")
    return f"Use --limits auto (it decides by {best.limits.decision})."


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
    shares = histogram.shares
    if shares.ones > 0.95:
        reason = f"{shares.ones:.0%} of the durations are halves of ones: the signal idles, no packet is sent"
        return Verdict(Finding.NOTHING, reason, "Capture while the station sends packets.")
    middle = histogram.quantile(0.5)
    step = _us(round(tick)) if tick > 58 * US else _us(shortest)
    closest = f"no two changes are closer than {step} us, while halves of ones are 58 us long"
    # One edge only gives such durations, too, but whole ones last 104 us or more (S-9.1 A, table 1).
    if max(tick, shortest) > 58 * US and middle < 250 * US and (search.pulse not in BITS or middle < 104 * US):
        return Verdict(Finding.COARSE, f"{closest}: the loop or timer is too coarse, changes go unseen", OFTEN)
    if histogram.count < FEW:
        reason = f"no packet could be read; there are only {histogram.count} durations, too few to learn from"
        return Verdict(Finding.NOTHING, reason, "Capture some seconds.")
    if RECEIVE.one_max < shortest < FINE * US:
        reason = f"{closest}: the loop or timer is slower than that, or it is not this signal"
        return Verdict(Finding.NOTHING, reason, f"{CHECK} {OFTEN}")
    reason = (
        f"no packet could be read; {shares.ones:.0%} of the durations are as long as halves of ones, "
        f"{shares.zeros:.0%} as halves of zeros"
    )
    return Verdict(Finding.NOTHING, reason, CHECK)


def _number(packets: int) -> str:
    return "one packet" if packets == 1 else f"{packets} packets"


def _us(nanoseconds: int) -> str:
    return f"{nanoseconds / US:.1f}".removesuffix(".0")


def _changes(trial: Trial) -> int:
    return sum(len(stretch.durations) for stretch in trial.stretches)


def _round(value: float) -> str:
    """A number with two digits that count."""
    return f"{float(f'{value:.2g}'):.0f}"
