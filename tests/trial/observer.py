"""What a board makes of the changes on a track: which it sees, when, and which it notes. Times in us."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

import attrs

from .station import Signal

__all__ = ["BOTH", "EVEN", "ODD", "Capture", "Loop", "Observer"]

#: Which changes are noted: both directions, or only every second (those that start bits, or those within bits).
BOTH, EVEN, ODD = "both", "even", "odd"

#: A change noted again is so within this, us.
DOUBLE = 3.0
#: The tail of a jitter: the share of changes that are off by more, and how many times more.
TAIL_SHARE, TAIL = 0.02, 4.0


@attrs.frozen(kw_only=True)
class Loop:
    """A loop that looks at the level once a turn."""

    #: The longest usual turn, us.
    period: float
    #: By which share of it a turn may be shorter, at random.
    jitter: float = 0.05
    #: By which share of it all turns get shorter and longer again, in the course of a second.
    drift: float = 0.0
    #: One turn in this number is long; 0: never.
    one_in: int = 0
    #: How long, us.
    long: float = 0.0

    def looks(self, rng: random.Random) -> Iterator[float]:
        """The times at which it looks."""
        now = rng.random() * self.period
        chance, random_ = (1 / self.one_in if self.one_in else 0.0), rng.random
        period, factor, until = self.period, 1.0, 0.0
        while True:
            yield now
            if self.drift and now >= until:  # once a millisecond will do
                factor = 1 - self.drift * (0.5 - 0.5 * math.cos(now * 2 * math.pi / 1e6))
                until = now + 1000
            if chance and random_() < chance:
                now += self.long
            else:
                now += period * factor * (1 - self.jitter * random_())

    def seen(self, changes: list[float], rng: random.Random) -> list[float]:
        """The looks at which the level is another than at the look before."""
        seen = []
        passed, end = 0, len(changes)
        for now in self.looks(rng):
            before = passed
            while passed < end and changes[passed] <= now:
                passed += 1
            if (passed - before) & 1:
                seen.append(now)
            if passed == end:
                return seen
        return seen


@attrs.frozen
class Capture:
    """What a board noted."""

    #: Between the changes noted, ns.
    durations: list[int]
    #: When each packet sent began and ended, ns from the first change noted, by the board's clock.
    packets: list[tuple[bytes, int, int]]
    #: Half-bits sent.
    half_bits: int


@attrs.frozen(kw_only=True)
class Observer:
    """A board. Rates are shares of changes, 0 to 1; times in us."""

    #: The changes in one direction come so much later: a slow optocoupler (common practice, no source).
    one_way_late: float = 0.0
    #: Standard deviation of when a change is seen.
    jitter: float = 0.0
    #: Whether one change in fifty is off by four times that.
    tail: bool = False
    #: A loop that looks at the level; None: an input that notes each change.
    loop: Loop | None = None
    #: Changes not noted, noted twice, and noted three times: S-9.1 B, one crossing can look like several.
    missed: float = 0.0
    doubled: float = 0.0
    tripled: float = 0.0
    #: The timer's step; 0: exact.
    tick: float = 0.0
    #: What its clock counts in one us.
    clock: float = 1.0
    edges: str = BOTH

    def capture(self, signal: Signal, rng: random.Random) -> Capture:
        """A capture of a signal."""
        changes = self._late(signal.changes(), rng)
        if self.loop is not None:
            changes = self.loop.seen(changes, rng)
        if self.edges != BOTH:
            # A signal may begin in the middle of a bit. Its packets begin at the start of one.
            changes = changes[(self.edges == ODD) ^ signal.packets[0].first & 1 :: 2]
        if self.missed or self.doubled or self.tripled:
            changes = self._noted(changes, rng)
        step = round((self.tick or 0.001) * 1000)
        stamps = [math.floor(change * self.clock * 1000 / step) * step for change in changes]
        first = stamps[0]
        scale = self.clock * 1000
        return Capture(
            [after - before for before, after in zip(stamps, stamps[1:])],
            [
                (sent.data, round(sent.start * scale) - first, round(sent.end * scale) - first)
                for sent in signal.packets
            ],
            len(signal.durations),
        )

    def _late(self, changes: list[float], rng: random.Random) -> list[float]:
        if self.one_way_late:
            changes = [change + self.one_way_late * (index & 1) for index, change in enumerate(changes)]
        if not self.jitter:
            return changes
        late = []
        for change in changes:
            off = rng.gauss(0, self.jitter)
            if self.tail and rng.random() < TAIL_SHARE:
                off *= TAIL
            late.append(change + off)
        late.sort()
        return late

    def _noted(self, changes: list[float], rng: random.Random) -> list[float]:
        """What a timer input loses, and what it notes again."""
        noted: list[float] = []
        for change in changes:
            chance = rng.random()
            if chance < self.missed:
                continue
            noted.append(change)
            if chance < self.missed + self.doubled:
                noted.append(change + rng.uniform(0.2, DOUBLE))
            elif chance < self.missed + self.doubled + self.tripled:
                noted += sorted(change + rng.uniform(0.2, DOUBLE) for _ in range(2))
        return noted
