"""What the packets decoded say about the signal: how long its bits are, and how late its changes are seen.

A packet's bits are known once it is decoded, so where its changes really were is known too, but for
two numbers: the halves of a one and of a zero. Each change is seen some time after it. That
lateness cancels out of the time a packet takes, or nearly so, however coarse each single duration is;
so many packets give the two numbers to a fraction of a microsecond; and with them each change's lateness.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from statistics import mean, median

import attrs

from ..limits import US, Limits
from ..event import Packet, Recovery
from ..simulate.signal import packet_bits
from .trial import Trial

__all__ = ["Fit", "fitted"]

#: Fewest packets that are taken to say something.
FEWEST = 3
#: Share of the changes that are seen as late as changes usually are; the others are rare.
USUAL = 0.995
#: How far beyond that the latest must be for a loop's rare long turns to be the reason.
BEYOND = 1.25
#: Later than that, ns, no change is seen: the packet's bits were laid beside the wrong changes.
LATEST = 120 * US
#: So much longer than all lateness explains, ns, a zero must be to count as a stretched one.
CLEARLY = 10 * US
#: A station that stretches no more of the zeros than this does not stretch them.
NO_STRETCHING = 0.002
#: A packet whose bits are longer or shorter than the median by more than this share says nothing.
NEAR = 0.1
#: One-bits of a preamble looked at; where nothing else is sent there may be thousands.
PREAMBLE = 40
#: What is further off than this, ns, is as bad as this: it is a stretched zero in either phase.
FAR = 50 * US


@attrs.frozen
class Fit:
    """The signal as the packets decoded show it. Times in ns."""

    #: Half of a one-bit, and of a zero-bit that is not stretched, as the station sends them.
    one: int
    zero: int
    #: From a change to its being seen: the longest time, less the shortest.
    late: int
    #: The same for the rare changes seen later still; 0 where there are none.
    latency_rare: int
    #: Greatest difference seen between the two halves of a one-bit; 0 where only one edge was captured.
    difference: int
    #: Share of the durations with a zero's half in them that are stretched, 0 to 1.
    stretched: float
    #: How many packets say so.
    packets: int


@attrs.frozen(slots=True)
class _Step:
    """A duration, and the halves of ones and of zeros it spans."""

    duration: int
    ones: int
    zeros: int

    def sent(self, one: float, zero: float) -> float:
        """How long it would be if all changes were seen alike."""
        return self.ones * one + self.zeros * zero


@attrs.frozen(slots=True)
class _Span:
    """A packet with its preamble."""

    steps: Sequence[_Step]
    #: How many of the steps, from the first, lie within the preamble.
    preamble: int


def fitted(trial: Trial) -> Fit | None:
    """The fit to a trial's packets; None where there are too few."""
    spans = list(_spans(trial))
    inner = [span.steps[1 : span.preamble - 1] for span in spans if span.preamble > 2]
    if len(inner) < FEWEST:
        return None
    one = _typical(
        [sum(step.duration for step in steps) / sum(step.ones for step in steps) for steps in inner], NEAR
    )
    spread = _quantile([abs(step.duration - step.sent(one, 0)) for steps in inner for step in steps])
    rough = _typical(
        [(step.duration - step.ones * one) / step.zeros for span in spans for step in span.steps if step.zeros], 1.0
    )

    def is_stretched(step: _Step) -> bool:
        return step.zeros > 0 and step.duration > step.sent(one, rough) + 1.5 * spread + CLEARLY

    zeros = []
    with_zeros = stretched = 0
    for span in spans:
        plain = [step for step in span.steps if not is_stretched(step)]
        with_zeros += sum(step.zeros > 0 for step in span.steps)
        stretched += len(span.steps) - len(plain)
        count = sum(step.zeros for step in plain)
        if count:
            zeros.append(sum(step.duration - step.ones * one for step in plain) / count)
    zero = _typical(zeros, NEAR)
    sound = [(span, late) for span, late in ((span, _lates(span, one, zero, is_stretched)) for span in spans) if max(late) <= LATEST]
    if len(sound) < FEWEST:
        return None
    # A zero stretched by little looks like a change seen late. Where zeros are stretched they are so by more, too.
    unstretched = [late for span, late in sound if not any(map(is_stretched, span.steps))]
    if len(unstretched) < FEWEST:
        unstretched = [late for _, late in sound]
    lates = [each for late in unstretched for each in late]
    usual, latest = _quantile(lates), max(lates)
    stretches = stretched > NO_STRETCHING * with_zeros
    rare = latest > BEYOND * usual + 2 * US and not stretches
    return Fit(
        one=round(one),
        zero=round(zero),
        late=round(usual if rare or stretches else latest),
        latency_rare=round(latest) if rare else 0,
        difference=0 if trial.limits.one_edge else max(_difference(span) for span, _ in sound),
        stretched=stretched / with_zeros,
        packets=len(sound),
    )


def _typical(values: list[float], near: float) -> float:
    """The mean without what is further from the median than that share of it.

    Loops and timers give few different values, so that no median alone says as much.
    """
    middle = median(values)
    return mean(value for value in values if abs(value - middle) <= near * middle)


def _quantile(values: list[float]) -> float:
    ordered = sorted(values)
    return ordered[min(int(USUAL * len(ordered)), len(ordered) - 1)]


def _spans(trial: Trial) -> Iterator[_Span]:
    """The packets in which no change went unseen, each with what is surely its preamble."""
    limits = trial.limits
    per_bit = 1 if limits.one_edge else 2
    for stretch in trial.stretches:
        for packet in stretch.events:
            # If changes are missing, or there are too many, the bits cannot be laid beside the changes.
            if not isinstance(packet, Packet) or packet.recovered in (Recovery.MISSED_CHANGES, Recovery.EXTRA_CHANGES, Recovery.LONG_TURNS):
                continue
            # The first one-bit may be the end bit of the packet before, or half a bit off.
            preamble = min(packet.preamble - 1, PREAMBLE)
            bits = packet_bits(packet.data, preamble)
            last = bisect_left(stretch.times, packet.end)
            first = last - per_bit * len(bits)
            if first < 0:
                continue
            durations = stretch.durations[first:last]
            halves = [bit for bit in bits for _ in range(2)]
            if per_bit == 2:
                steps = [_Step(duration, half, 1 - half) for duration, half in zip(durations, halves)]
                yield _Span(steps, 2 * preamble)
                continue
            # Of one edge the changes either separate the bits or split them.
            yield min(
                (_Span(_pairs(durations, order), preamble - 1) for order in (halves, halves[1:] + halves[:1])),
                key=_misfit,
            )


def _pairs(durations: Sequence[int], halves: Sequence[int]) -> list[_Step]:
    ones = map(sum, zip(halves[::2], halves[1::2]))
    return [_Step(duration, number, 2 - number) for duration, number in zip(durations, ones)]


def _misfit(span: _Span) -> float:
    """How far its durations are from nominal ones (S-9.1 A, table 1), ns: enough to tell the two ways apart."""
    return sum(min(abs(step.duration - step.sent(58 * US, 100 * US)), FAR) for step in span.steps)


def _lates(span: _Span, one: float, zero: float, is_stretched: Callable[[_Step], bool]) -> list[float]:
    """How late each change is seen, beside the earliest; behind a stretched zero that starts anew."""
    runs = [[0.0]]
    for step in span.steps:
        if is_stretched(step):
            runs.append([0.0])
        else:
            runs[-1].append(runs[-1][-1] + step.duration - step.sent(one, zero))
    return [late - min(run) for run in runs for late in run]


def _difference(span: _Span) -> int:
    pairs = zip(span.steps[::2], span.steps[1::2])
    return max(abs(first.duration - last.duration) for first, last in pairs if first.ones)
