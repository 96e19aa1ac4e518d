"""Measures the signal from decoded packets: the lengths of its bits, and how late its changes are seen.

The bits of a decoded packet are known. So the true times of its changes are known too, except for two
numbers: the lengths of a one's half and a zero's half. Each change is seen some time after it happened.
Over a whole packet this lateness nearly cancels out, even if each single duration is coarse. So many
packets give the two numbers to a fraction of a microsecond, and then the lateness of each change.
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

#: Fewest packets for a fit.
FEWEST = 3
#: Share of the changes within the usual lateness. The others are rare late ones.
USUAL = 0.995
#: If the latest change is later than the usual lateness by this factor, the loop has rare long turns.
BEYOND = 1.25
#: Changes cannot be later than this, ns. If they are, the packet's bits were matched with the wrong changes.
LATEST = 120 * US
#: A zero is stretched if it is longer than the lateness explains by more than this, ns.
CLEARLY = 10 * US
#: Up to this share of stretched zeros, the station does not stretch zeros.
NO_STRETCHING = 0.002
#: Packets are ignored if their bit lengths differ from the median by more than this share.
NEAR = 0.1
#: Number of one-bits used from a preamble. A preamble may have thousands if nothing else is sent.
PREAMBLE = 40
#: Greatest error that is counted, ns. A larger one is a stretched zero, whatever the phase.
FAR = 50 * US


@attrs.frozen
class Fit:
    """The signal's values as measured from decoded packets. Times in ns."""

    #: Half of a one-bit, and half of a zero-bit that is not stretched, as sent by the station.
    one: int
    zero: int
    #: Latency spread: the longest time from a change until it is seen, minus the shortest.
    late: int
    #: The same for rare changes that are seen even later; 0 if there are no such changes.
    latency_rare: int
    #: Greatest difference seen between the two halves of a one-bit; 0 if only one edge was captured.
    difference: int
    #: Share of the durations with a zero's half that are stretched, 0 to 1.
    stretched: float
    #: Number of packets it was measured from.
    packets: int


@attrs.frozen(slots=True)
class _Step:
    """A duration, and the number of one-halves and zero-halves in it."""

    duration: int
    ones: int
    zeros: int

    def sent(self, one: float, zero: float) -> float:
        """Its length, ns, if all changes were seen equally late."""
        return self.ones * one + self.zeros * zero


@attrs.frozen(slots=True)
class _Span:
    """A packet with its preamble."""

    steps: Sequence[_Step]
    #: Number of steps at the start that belong to the preamble.
    preamble: int


def fitted(trial: Trial) -> Fit | None:
    """The fit to a trial's packets; ``None`` if there are too few."""
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
    # A slightly stretched zero looks like a late change. If zeros are stretched slightly, some are also stretched more.
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
    """The mean of the values near the median: within the share ``near`` of it.

    Loops and timers give only a few different values, so a median alone is not precise.
    """
    middle = median(values)
    return mean(value for value in values if abs(value - middle) <= near * middle)


def _quantile(values: list[float]) -> float:
    ordered = sorted(values)
    return ordered[min(int(USUAL * len(ordered)), len(ordered) - 1)]


def _spans(trial: Trial) -> Iterator[_Span]:
    """The packets in which no change is missing, each with the part of the preamble that is certain."""
    limits = trial.limits
    per_bit = 1 if limits.one_edge else 2
    for stretch in trial.stretches:
        for packet in stretch.events:
            # If changes are missing, or there are too many, the bits cannot be laid beside the changes.
            if not isinstance(packet, Packet) or packet.recovered in (Recovery.MISSED_CHANGES, Recovery.EXTRA_CHANGES, Recovery.LONG_TURNS):
                continue
            # The first one-bit may be the end bit of the packet before, or wrong by half a bit.
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
            # With one edge, the changes are either all between bits or all in the middle of bits.
            yield min(
                (_Span(_pairs(durations, order), preamble - 1) for order in (halves, halves[1:] + halves[:1])),
                key=_misfit,
            )


def _pairs(durations: Sequence[int], halves: Sequence[int]) -> list[_Step]:
    ones = map(sum, zip(halves[::2], halves[1::2]))
    return [_Step(duration, number, 2 - number) for duration, number in zip(durations, ones)]


def _misfit(span: _Span) -> float:
    """Difference of its durations from nominal ones (S-9.1 A, table 1), ns. It shows which of the two ways is right."""
    return sum(min(abs(step.duration - step.sent(58 * US, 100 * US)), FAR) for step in span.steps)


def _lates(span: _Span, one: float, zero: float, is_stretched: Callable[[_Step], bool]) -> list[float]:
    """How late each change is seen, ns, relative to the earliest. It starts again after a stretched zero."""
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
