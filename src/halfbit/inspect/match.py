"""Compares changes with the half-bits of a known packet: how many durations fit, one after another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import attrs

from ..decision.costs import How
from ..decision.guess import learned_from
from ..decision.lengths import ALL, BETWEEN, NOMINAL, WITHIN, Lengths, bits_of, groups_of
from ..decision.paths import Found
from ..decision.sequence import LEAST_LATENCY
from ..event import Packet
from ..limits import US, Limits

__all__ = ["ONES", "Groups", "Laid", "Run", "Station", "laid", "station_of"]

Halves = tuple[tuple[int, int], ...]  #: The half-bits in one duration. Each is a bit, and 1 for its last half.
Groups = tuple[Halves, ...]
Run = tuple[int, int]  #: A run of one-bits: the indices of its first and last change.

ONES: dict[int, Halves] = {1: ((1, 0),), 2: ((1, 0), (1, 1))}  #: A duration of ones, by its number of half-bits.
RUN = 6  #: Fewest half-bits of ones that count as a run.
MORE = 18  #: Most half-bits of ones between a zero-bit that was read as one and the zero before it: those of a byte.
OFF = 600  #: How far a half-bit may be from the learned length, ns.
CUTOUT = 390 * US  #: Silence that may be a cutout, ns (about 430 us by S-9.3.2 and RCN-217, both from memory).


class Station:
    """What the half-bits of a station last, and how late the capture sees changes.

    If single halves decide, a half-bit may have any length that the limits allow. Otherwise it has the learned length,
    and each change may be seen up to :attr:`late` after it happened.

    :param lengths: the usual lengths of half-bits.
    """

    def __init__(self, limits: Limits, lengths: Lengths) -> None:
        self.lengths = lengths
        self.each = 2 if limits.one_edge else 1
        halves = limits.decision == "halves"
        self.late: int = 0 if halves else max(limits.latency_max, LEAST_LATENCY) + US
        self._limits = limits if halves else None
        self._longest = limits.zero_max if lengths.stretched else 0
        self._windows: dict[Halves, tuple[int, int]] = {}

    def window(self, halves: Halves) -> tuple[int, int]:
        """Shortest and longest duration of some half-bits, ns."""
        if halves not in self._windows:
            low, high = map(sum, zip(*(self._window(kind, last) for kind, last in halves)))
            self._windows[halves] = low, high
        return self._windows[halves]

    def usual(self, groups: Groups) -> list[int]:
        """The usual duration of each group of half-bits, ns."""
        known = {halves: self.lengths.of(halves) for halves in {*groups}}
        return [known[halves] for halves in groups]

    def _window(self, kind: int, last: int) -> tuple[int, int]:
        limits = self._limits
        if limits is not None:
            return (limits.one_min, limits.one_max) if kind else (limits.zero_min, limits.zero_max)
        length = self.lengths.half(kind, last)
        return length - OFF, max(length + OFF, 0 if kind else self._longest)

    def matched(self, times: Sequence[int], at: int, groups: Sequence[Halves]) -> int:
        """How many durations from change ``at`` on fit these half-bits, one after another."""
        late, window = self.late, self.window
        low, high = times[at] - late, times[at]  # when the change may have happened
        for count, (now, halves) in enumerate(zip(times[at + 1 : at + 1 + len(groups)], groups)):
            short, long = window(halves)
            low, high = max(low + short, now - late), min(high + long, now)
            if low > high:
                return count
        return min(len(groups), len(times) - 1 - at)

    def runs(self, times: Sequence[int], first: int, last: int) -> list[Run]:
        """The runs of one-bits between two changes."""
        runs = []
        at = first
        while at < last:
            count = self.matched(times, at, [ONES[self.each]] * (last - at))
            if count * self.each >= RUN:
                runs.append((at, at + count))
            at += count if count * self.each >= RUN else 1
        return runs


def station_of(limits: Limits, packets: Sequence[Packet], times: Sequence[int]) -> Station:
    """A station's lengths, learned from packets.

    :param times: of the changes, ns. Packets that are not among them are left out.
    """
    found = [
        Found(each.data, each.preamble, each.start, each.end, 0 if each.recovered is None else How.LATE, 0.0, 0.0)
        for each in packets
        if times[0] <= each.start and each.end < times[-1]
    ]
    latency = max(limits.latency_max, LEAST_LATENCY)
    lengths = (learned_from(found, times, NOMINAL, limits, latency)[0] if found else None) or NOMINAL
    if limits.decision != "halves":
        # The halves of a bit cannot be measured one by one if changes are seen late. Their sum can.
        zero = (lengths.zero_first + lengths.zero_last) // 2
        lengths = lengths._replace(zero_first=zero, zero_last=zero)
    return Station(limits, lengths)


@lru_cache(4096)
def _groups(bits: tuple[int, ...], changes: int) -> Groups:
    """The half-bits of bits, one group for each duration. Of the one-bit before, the half that shares a duration."""
    return tuple(groups_of((1, *bits) if changes == WITHIN else bits, changes))


@attrs.frozen
class Laid:
    """A packet laid over changes from both ends, as far as it fits."""

    data: bytes
    changes: int  #: Which changes the capture holds.
    groups: Groups  #: Its half-bits by durations, without the one-bits at its end.
    begin: int  #: Index of the change at its start.
    fits: int  #: How many durations fit from there on.
    end: int  #: Index of the change at its end.
    fits_back: int  #: How many durations fit back from there.
    run: Run  #: The run of one-bits before it.

    def extended(self, ones: Groups, at_its_end: bool) -> Laid:
        """The same with one-bits before or after it, which the error hides too."""
        if at_its_end:
            return attrs.evolve(self, groups=self.groups + ones, fits_back=0)
        return attrs.evolve(self, groups=ones + self.groups, fits=0)

    def halves(self, wrong: int | None = None) -> Groups:
        """All half-bits of the packet; one bit is the other way round if ``wrong`` gives its index."""
        bits = bits_of(self.data)
        if wrong is not None:
            bits[wrong] = 1 - bits[wrong]
        return _groups(tuple(bits), self.changes)

    @property
    def lacking(self) -> int:
        """How many durations it has more than there are."""
        return len(self.groups) - (self.end - self.begin)

    @property
    def hidden(self) -> int:
        """How many of its durations fit from neither end."""
        return len(self.groups) - self.fits - self.fits_back

    @property
    def whole(self) -> bool:
        """True if it fits from end to end."""
        return not self.lacking and self.fits == len(self.groups)


def laid(station: Station, times: Sequence[int], runs: Sequence[Run], packets: set[bytes], most: int) -> Iterator[Laid]:
    """Each packet laid between each two runs of one-bits, if at most ``most`` of its half-bits do not fit."""
    back = [-time for time in reversed(times)]
    last = len(times) - 1
    # A run goes on into the packet where changes are seen late, or where the zero-bit next to it was read as one.
    step = 1 if station.late else 2
    begins = [(run[1] - more, run) for run in runs for more in range(0, 3, step) if run[1] - more > run[0]]
    ends = {end for run in runs for end in range(run[0], min(run[0] + MORE, run[1]) + 1, step)}
    ends.update(_before_cutouts(station, times))
    for data in sorted(packets):  # of two that fit equally well, the same comes first in every run
        for changes in (ALL,) if station.each == 1 else (BETWEEN, WITHIN):
            groups = _groups(tuple(bits_of(data)), changes)
            while all(kind for kind, _ in groups[-1]):  # the one-bits at its end
                groups = groups[:-1]
            count, reverse = len(groups), groups[::-1]
            forward = [(begin, station.matched(times, begin, groups), run) for begin, run in begins]
            backward = [(end, station.matched(back, last - end, reverse)) for end in ends]
            for begin, fits, run in forward:
                for end, fits_back in backward:
                    if 0 < end - begin and (count - fits - fits_back) * station.each <= most:
                        yield Laid(data, changes, groups, begin, fits, end, fits_back, run)


def _before_cutouts(station: Station, times: Sequence[int]) -> Iterator[int]:
    """Where a packet may end that runs into a cutout: the start of the few one-bits before it."""
    shortest = station.window(ONES[station.each])[0] - station.late
    longest = station.window(ONES[station.each])[1] + station.late
    for at in range(2, len(times) - 1):
        if times[at + 1] - times[at] < CUTOUT:
            continue
        if times[at] - times[at - 1] < shortest:
            at -= 1
        while at and shortest <= times[at] - times[at - 1] <= longest:
            at -= 1
        yield at
