"""Decision by sequence: the likeliest bits of a whole packet, not bit by bit.

What a capture shows is when each change was *seen*: at its time or up to ``latency_max`` after
it. The bits say how far apart the changes really were. So under a given reading of the
bits, each duration seen moves the lateness by what it differs from the duration sent, and the
lateness must stay between 0 and ``latency_max``. That narrows it: after the ones of a preamble it is
known to some microseconds. A one and a zero differ by 42 us a half, 84 us a bit, so a wrong
reading soon asks for a lateness that cannot be, and ends. This is why periods beyond 42 us,
where single sums fail, can still be read; and why a capture of only the rising edges can be,
though the changes it lacks may be the ones that separate the bits.

Several readings are followed side by side, at most ``BEAM``. Each has a cost, the negative
logarithm of how likely what was seen is under it: the share it kept of the lateness it could
have had; more for what is rare (a stretched zero, a loop's long turn, two changes gone unseen
in one). Readings that break the framing or end in a wrong error byte are dropped, so the error
byte chooses where the times leave more than one. One reading always goes on though nothing
fits it, at the highest cost; from it all others begin.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product
from operator import attrgetter

import attrs

from ..ledger import long_as_cutout
from ..event import Cutout, Fault, FaultKind, Packet, PacketEvent, Recovery
from ..limits import US, Limits
from .framing import DONE, REFUSED, RUN, Frame, Framing

__all__ = ["SequenceReceiver"]

BEAM = 16  # readings followed at most
RUNS = 2  # runs of ones followed at least, however unlikely: a packet may begin with them
# Costs, nepers. They order readings; how often each thing happens need only be roughly right.
SURELY = 12.0  # readings this much costlier than the best are dropped
RARE = 6.0  # a loop's long turn: one in some hundreds
STRETCHED = 4.0  # a stretched zero: one in some tens
# Another one in the same packet: a station that stretches zeros stretches many. Not where only one edge
# was captured: there a stretched zero fits so many readings that some would be false.
STRETCHED_AGAIN = 1.2
ADRIFT = 2.0  # a half-bit that fits nothing
ADRIFT_MAX = 48.0  # no more than that against the best reading
CLEAR = 5.0  # how much better than any other reading one must be to be given at once
WAIT = 24  # changes after which the best reading is given all the same
SLACK = US // 2  # how far a station's half may be from nominal, ns

# What a packet was recovered by.
UNSEEN = Recovery.MISSED_CHANGES
CHOSEN = Recovery.ERROR_BYTE


@attrs.frozen(slots=True)
class _Finished:
    """A packet on a reading's path."""

    data: bytes
    preamble: int
    #: Where the run of one-bits before it starts, and where its end bit ends, ns.
    run_start: int
    end: int
    means: tuple[Recovery, ...]


@attrs.frozen(slots=True)
class _Path:
    """How a reading came to where it is."""

    #: Where the run of one-bits before the packet under way starts, ns.
    run_start: int
    preamble: int = 0
    means: tuple[Recovery, ...] = ()
    #: Packets that ended on it and were not given yet.
    finished: tuple[_Finished, ...] = ()
    #: Whether a zero of the packet under way is stretched.
    stretches: bool = False


class _Reading:
    """One reading of the signal up to now."""

    __slots__ = ("cost", "frame", "high", "low", "path")

    def __init__(self, frame: Frame, low: int, high: int, cost: float, path: _Path) -> None:
        self.frame = frame
        #: Least and greatest lateness of the last change seen, ns.
        self.low = low
        self.high = high
        self.cost = cost
        self.path = path


@attrs.frozen(slots=True)
class _Group:
    """Half-bits that one duration may span."""

    kinds: tuple[int, ...]
    nominal: int
    slack: int
    #: Whether that takes a long turn of the loop, in which two changes go unseen.
    rare: bool


_by_cost = attrgetter("cost")


class SequenceReceiver:
    """Durations in; packets, and a fault for each stretch no reading fits, out.

    A packet whose bits were not plain to see says in ``recovered`` what it took. Memory and work
    for one duration are bounded.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int = 0) -> None:
        self._framing = Framing(limits)
        self._groups = _groups(limits)
        self._one = limits.one_nominal
        self._again = STRETCHED if limits.one_edge else STRETCHED_AGAIN
        self._late = limits.latency_max
        self._late_rare = max(limits.latency_rare, limits.latency_max)
        self._longest = 2 * limits.zero_max + limits.latency_max
        self._readings = [self._adrift(start, 0.0, ())]
        self._settled = start
        self._limits = limits
        self._given = False  # whether a packet was yet
        self._waited = 0
        self._refused: int | None = None  # when last a near reading ended in a wrong error byte
        #: The time of the last change, ns.
        self.now = start

    def feed(self, duration: int) -> tuple[PacketEvent, ...]:
        """Take one duration, ns."""
        self.now += duration
        best: dict[tuple[Frame, tuple[_Finished, ...]], _Reading] = {}
        for reading in self._readings:
            for after in self._after(reading, duration):
                key = (after.frame, after.path.finished)
                if key not in best or after.cost < best[key].cost:
                    best[key] = after
        self._readings = _kept(sorted(best.values(), key=_by_cost))
        return self._give_clear() if self._readings[0].path.finished else ()

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, each of so many counts of ``scale`` ns."""
        events: list[PacketEvent] = []
        for duration in durations:
            events += self.feed(duration * scale)
        return events

    def finish(self) -> tuple[PacketEvent, ...]:
        """The capture is over: what the best reading has goes out, what it had begun is cut."""
        best = self._readings[0]
        events: tuple[PacketEvent, ...] = ()
        for packet in best.path.finished:
            events += self._give(packet, packet.means)
        if best.frame[0] == RUN and best.frame[1] > 0:
            return (*events, *self._lose(best.path.run_start))  # then idle one-bits
        if self._settled == self.now:
            return events
        kind = FaultKind.CUT if best.frame[0] != RUN else FaultKind.UNCLEAR
        return (*events, Fault(kind, self._settled, self.now, self._settled))

    def _adrift(self, time: int, cost: float, finished: tuple[_Finished, ...]) -> _Reading:
        """The reading that nothing fitted up to a time."""
        return _Reading((RUN, 0), 0, self._late, cost, _Path(time, finished=finished))

    def _after(self, reading: _Reading, duration: int) -> Iterator[_Reading]:
        """All readings with one more duration."""
        for group in self._groups:
            low = reading.low + duration - group.nominal - group.slack
            high = reading.high + duration - group.nominal + group.slack
            if high < 0:
                continue
            path = reading.path
            cost = reading.cost + RARE if group.rare else reading.cost
            if low <= self._late:
                kept_low, kept_high = max(low, 0), min(high, self._late)
            elif low <= self._late_rare:
                kept_low, kept_high = low, min(high, self._late_rare)
                cost += RARE
            elif 0 in group.kinds and not group.rare and duration <= self._longest:
                # A stretched zero: by how much, only the station knows.
                low, high = kept_low, kept_high = 0, self._late
                cost += self._again if path.stretches else STRETCHED
                path = path if path.stretches else attrs.evolve(path, stretches=True)
            else:
                continue
            frame = self._framed(reading.frame, group.kinds)
            if frame is None:
                continue
            cost += math.log((high - low + 1) / (kept_high - kept_low + 1))
            if frame[0] == REFUSED:
                if cost < self._readings[0].cost + CLEAR:
                    self._refused = self.now
                continue
            if group.rare:
                path = attrs.evolve(path, means=(*path.means, UNSEEN))
            if frame[0] == DONE:
                # Where no change is seen at the end, it lies before this one.
                end = self.now - frame[2] * self._one
                finished = _Finished(frame[1], path.preamble, path.run_start, end, path.means)
                path = _Path(end, finished=(*path.finished, finished))
                # The end bit counts for the next preamble (S-9.2 A).
                frame = (RUN, 2 + frame[2])
            elif reading.frame[0] == RUN and frame[0] != RUN:
                path = attrs.evolve(path, preamble=min(_ones(reading.frame, group.kinds) // 2, 255))
            yield _Reading(frame, kept_low, kept_high, cost, path)
        if reading.frame[0] == RUN:
            yield self._adrift(self.now, reading.cost + ADRIFT, reading.path.finished)

    def _framed(self, frame: Frame, kinds: tuple[int, ...]) -> Frame | None:
        after: Frame | None = frame
        for place, kind in enumerate(kinds):
            if after is None or after[0] == REFUSED:
                return after
            if after[0] == DONE:
                # No change is seen at the packet's end; what follows it are halves of ones.
                more = kinds[place:]
                return (*after, len(more)) if all(more) else None
            after = self._framing.take(after, kind)
        return after if after is None or after[0] != DONE else (*after, 0)

    def _give_clear(self) -> tuple[PacketEvent, ...]:
        """Give the best reading's packet once no other is nearly as good, or it has waited long."""
        best = self._readings[0]
        packet = best.path.finished[0]
        near = best.cost + CLEAR
        rivals = any(r.cost < near and not _has(r, packet) for r in self._readings)
        self._waited += 1
        if rivals and self._waited < WAIT:
            return ()
        self._waited = 0
        means = packet.means
        if self._refused is not None and self._refused >= packet.end - WAIT * 100 * US:
            means = (*means, CHOSEN)
        self._refused = None
        self._readings = [
            _Reading(r.frame, r.low, r.high, r.cost, attrs.evolve(r.path, finished=r.path.finished[1:]))
            for r in self._readings
            if _has(r, packet)
        ]
        self._readings.append(self._adrift(self.now, best.cost + ADRIFT_MAX, ()))
        return self._give(packet, means)

    def _give(self, packet: _Finished, means: tuple[Recovery, ...]) -> tuple[PacketEvent, ...]:
        events = self._lose(packet.run_start)
        given = Packet(packet.data, packet.preamble, self._settled, packet.end, means[0] if means else None)
        self._settled = packet.end
        self._given = True
        return (*events, given)

    def _lose(self, end: int) -> tuple[PacketEvent, ...]:
        """What no reading fits up to the run of ones that starts at ``end``."""
        start = self._settled
        if end <= start:
            return ()
        self._settled = end
        if self._given and long_as_cutout(end - start, self._limits):
            return (Cutout(start, end),)
        kind = FaultKind.UNCLEAR if self._given else FaultKind.CUT
        return (Fault(kind, start, end, start),)


def _has(reading: _Reading, packet: _Finished) -> bool:
    finished = reading.path.finished
    return bool(finished) and finished[0].data == packet.data


def _ones(frame: Frame, kinds: tuple[int, ...]) -> int:
    """Halves of ones up to the first zero."""
    return int(frame[1]) + kinds.index(0)


def _kept(readings: list[_Reading]) -> list[_Reading]:
    """The likeliest readings; and always the one adrift and the likeliest runs, to begin anew from."""
    least = readings[0].cost
    kept: list[_Reading] = []
    runs = 0
    for reading in readings:
        run = reading.frame[0] == RUN
        runs += run
        if run and reading.frame[1] == 0:
            reading.cost = min(reading.cost, least + ADRIFT_MAX)
        elif not (run and runs <= RUNS) and (len(kept) >= BEAM or reading.cost > least + SURELY):
            continue
        kept.append(reading)
    return kept


def _groups(limits: Limits) -> list[_Group]:
    nominal = (limits.zero_nominal, limits.one_nominal)
    count = 2 if limits.one_edge else 1
    groups = [(kinds, False) for kinds in product((0, 1), repeat=count)]
    if limits.latency_rare:
        # Two changes that go unseen make one duration of three.
        groups += [(kinds, True) for kinds in product((0, 1), repeat=count + 2)]
    return [
        _Group(kinds, sum(nominal[kind] for kind in kinds), SLACK * len(kinds), rare)
        for kinds, rare in groups
    ]
