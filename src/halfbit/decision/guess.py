"""Finds how long a station's half-bits are when no packet is known yet: by reading with guesses, and learning from what comes out.

A wrong guess reads next to nothing, since lateness would add up; so how many packets a guess reads says whether it is right. A
guess within 2 us reads enough to learn the rest.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, product
from operator import sub

import attrs

from ..limits import US, Limits
from .costs import How
from .lengths import Lengths, Span, learned, spread
from .reader import MARGIN, SLACK, Found, SequenceReader

__all__ = ["Learned", "guessed", "spans_of"]

#: Halves of ones in a row that are a preamble: as many as a decoder may rest on (S-9.2 A: 10 one-bits).
RUN = 20
#: Halves of ones last from 52 to 64 us (S-9.1 A, table 1, decoder), counted by a clock that is up to 8 % off.
ONES = range(48 * US, 70 * US)
#: Zeros' halves beyond ones', ns: S-9.1 A, table 1, station: from 95 us, against 55 to 61. The usual ones first.
BEYOND = tuple(us * US for us in (42, 46, 38, 50, 54, 58, 34, 62, 66, 30))
#: What they are at least, if all zeros are stretched.
LEAST = 36 * US
#: Shares of stretched zeros that are tried.
STRETCHED = (0.0, 0.25)
#: While lengths are guessed: how far half-bits may be off, and how much later changes may be seen, ns.
ROUGH_SLACK = 2 * US
ROUGH_LATE = 12 * US
#: Up to this lateness durations of a kind stand out, ns; where at least so many of all are in a group.
CLEAR = 20 * US
GROUP = 0.03
GROUPS = 4
#: Durations that guesses are tried on: some six packets.
FIRST = 800
#: Share of the preambles behind which packets must be read for a guess to be right at once.
ENOUGH = 0.7
#: Fewest packets to learn from.
FEWEST = 2


@attrs.frozen
class Learned:
    """What was learned of a capture."""

    lengths: Lengths
    #: How much later than others changes are seen, ns.
    late: int
    #: Packets that say so.
    packets: int


def guessed(durations: Sequence[int], limits: Limits, late: int) -> Learned | None:
    """The lengths behind some hundreds of durations; None if no guess reads packets.

    :param late: from a change to when it is seen, the longest time less the shortest, ns.
    """
    each = 2 if limits.one_edge else 1
    one, preambles = _ones(durations[:FIRST], late, each)
    if not preambles:
        return None
    best: Learned | None = None
    for lengths in _guesses(durations[:FIRST], one, late, each):
        found = _tried(durations[:FIRST], limits, lengths, late + ROUGH_LATE, ROUGH_SLACK)
        if found is not None and (best is None or found.packets > best.packets):
            best = found
            if found.packets >= ENOUGH * preambles:
                break
    # With what was learned, twice, since the guess may have been 2 us off.
    for _ in range(2):
        again = best and _tried(durations, limits, best.lengths, max(late, best.late), SLACK)
        best = again or best
    return best


def _tried(durations: Sequence[int], limits: Limits, lengths: Lengths, late: int, slack: int) -> Learned | None:
    """Read with some lengths, and learn from the packets."""
    reader = SequenceReader(limits, lengths, late, slack=slack)
    for duration in durations:
        reader.feed(duration)
    reader.finish()
    found = [packet for packet in reader.found if packet.margin >= MARGIN]
    spans = list(spans_of(found, durations, lengths, 2 if limits.one_edge else 1))
    if len(spans) < FEWEST:
        return None
    better = learned(spans, late)
    if better is None:
        return None
    spreads = sorted(spread(span, better, late) for span in spans)
    return Learned(better, spreads[len(spreads) * 9 // 10], len(found))


def spans_of(
    found: Iterable[Found], durations: Sequence[int], lengths: Lengths, each: int, start: int = 0
) -> Iterator[Span]:
    """The packets in which nothing went wrong, with their durations.

    :param start: of the durations, ns.
    """
    times = list(accumulate(durations, initial=start))
    for packet in found:
        if packet.how & ~How.STRETCHED:
            continue
        # The preamble's first bits may be half a bit off.
        bits = [1] * (RUN // 2)
        for byte in packet.data:
            bits += [0, *(byte >> place & 1 for place in range(7, -1, -1))]
        bits.append(1)
        last = bisect_left(times, packet.end)
        offsets = (0,) if each == 1 else (0, 1)
        spans = []
        for offset in offsets:
            count = (2 * len(bits) - offset) // each
            # Where a change in the middle of the end bit is the last one seen of it, it lies before its end.
            end = last - offset
            if count <= end < len(times):
                spans.append(Span(bits, durations[end - count : end], each, offset))
        yield from sorted(spans, key=lambda span: _misfit(span, lengths))[:1]


def _misfit(span: Span, lengths: Lengths) -> int:
    """How badly lengths fit, ns."""
    return sum(
        min(abs(duration - sum(lengths.half(kind, bool(last)) for kind, last in halves)), 50 * US)
        for duration, halves in span.steps()
    )


def _ones(durations: Sequence[int], late: int, each: int) -> tuple[int, int]:
    """Half of a one-bit, ns, and the number of preambles; 0 where there are none."""
    count = RUN // each
    totals = list(accumulate(durations, initial=0))
    if len(totals) <= count:
        return 0, 0
    one = min(map(sub, totals[count:], totals)) // RUN
    if one not in ONES:
        return 0, 0
    halves = total = preambles = 0
    for run in _runs(durations, one * each, late, each):
        if len(run) >= count:
            # A zero's half next to it may look like the run's last one, or its first.
            inner = run[2:-2]
            halves, total, preambles = halves + len(inner) * each, total + sum(inner), preambles + 1
    return (total // halves, preambles) if halves else (one, preambles)


def _runs(durations: Sequence[int], nominal: int, late: int, each: int) -> Iterator[list[int]]:
    """Durations in a row whose changes can all be as far apart as this, ns."""
    run: list[int] = []
    low, high = 0, late
    for duration in durations:
        low = max(low + duration - nominal - each * ROUGH_SLACK, 0)
        high = min(high + duration - nominal + each * ROUGH_SLACK, late)
        if low <= high:
            run.append(duration)
            continue
        yield run
        run, low, high = [], 0, late
    yield run


def _guesses(durations: Sequence[int], one: int, late: int, each: int) -> Iterator[Lengths]:
    """Lengths to try, the likelier ones first."""
    pairs: list[tuple[int, int]] = []
    if late <= CLEAR:
        groups = _groups(durations, one * each + late + CLEAR // 2, late)
        if each == 1:
            pairs = [(first, last) for first, last in product(groups, groups)]
        else:
            pairs = [(group // 2, group // 2) for group in groups]
            pairs += [(first - one, last - one) for first, last in product(groups, groups)]
    for stretched in STRETCHED:
        for first, last in pairs:
            if min(first, last) > one:
                yield Lengths(one, first, last, 0, stretched)
        for beyond in BEYOND:
            yield Lengths(one, one + beyond, one + beyond, 0, stretched)
    yield Lengths(one, one + LEAST, one + LEAST, 0, 1.0)


def _groups(durations: Sequence[int], least: int, late: int) -> list[int]:
    """Lengths beyond ``least`` that are frequent, ns, the most frequent first."""
    width = late // 2 + 4 * US
    bins = Counter(duration // US for duration in durations if duration >= least)
    groups: list[int] = []
    while bins and len(groups) < GROUPS:
        (top, _), = bins.most_common(1)
        near = [us for us in bins if abs(us - top) * US <= width]
        count = sum(bins[us] for us in near)
        if count < GROUP * len(durations):
            break
        groups.append(sum((us * US + US // 2) * bins[us] for us in near) // count)
        for us in near:
            del bins[us]
    return groups
