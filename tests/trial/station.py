"""Packets to the half-bits that a station puts on the track, straight from the standards' words. Times in us."""

from __future__ import annotations

import random
from collections.abc import Iterable
from enum import Enum
from itertools import accumulate

import attrs

__all__ = ["CutoutSeen", "Sent", "Signal", "Station", "bits_of", "random_station"]

#: S-9.1 A, table 1, the station's column: longest half of a zero-bit, longest whole zero-bit.
ZERO_HALF_MAX, ZERO_MAX = 9900.0, 12000.0
#: S-9.3.2, RCN-217 (from memory): from the end of the end bit to a cutout's first ns, and to its last.
CUTOUT_BEGINS, CUTOUT_ENDS = (26.0, 32.0), (454.0, 488.0)
#: The number of preamble bits whose place the cutout takes (from memory): 4 * 116 us is 464.
CUTOUT_BITS = 4


class CutoutSeen(Enum):
    """How a one-rail capture shows a cutout (S-9.3.2, RCN-217, from memory)."""

    #: About 29 us and about 430 us.
    TWO_PARTS = "two parts"
    #: One part of about 470 us.
    ONE_PART = "one part"
    #: The end bit's last half does not end before the cutout does.
    WITH_END_BIT = "with the end bit"
    #: The cutout does not end before the next bit's first half does: it reads as that half does (no source: geometry).
    WITH_NEXT_BIT = "with the next bit"


@attrs.frozen
class Sent:
    """A packet as sent."""

    data: bytes
    #: The first ns of its preamble, and the end of its end bit, us.
    start: float
    end: float
    #: Its half-bits in the signal: the first one, and the one after the last.
    first: int
    last: int


@attrs.frozen
class Signal:
    """Durations between level changes, us, and the packets in them."""

    durations: list[float]
    packets: list[Sent]

    def changes(self) -> list[float]:
        """The times of the level changes, us; the first is at 0."""
        return list(accumulate(self.durations, initial=0.0))


@attrs.frozen(kw_only=True)
class Station:
    """How a station makes its bits. Times in us."""

    #: First and last half of a one-bit (S-9.1 A, table 1: 55 to 61, at most 3 apart).
    one: tuple[float, float] = (58.0, 58.0)
    #: First and last half of a zero-bit (S-9.1 A, table 1: 95 to 9900).
    zero: tuple[float, float] = (100.0, 100.0)
    #: Share of zeros that are stretched, 0 to 1.
    stretched: float = 0.0
    #: Halves of stretched zeros; None: each at random, up to 12000 us in all (S-9.1 A, table 1).
    stretch: tuple[float, float] | None = None
    #: Fewest and most one-bits of a preamble (S-9.2 A: at least 14).
    preamble: tuple[int, int] = (14, 14)
    #: Cutouts after all packets, and how they are seen.
    cutout: CutoutSeen | None = None

    def signal(self, packets: Iterable[bytes], rng: random.Random) -> Signal:
        """The half-bits of packets one right behind the other.

        The first and the last packet are cut by the capture's ends, anywhere in their bytes, so that nobody can read
        them: they are in the signal, but not in its list.
        """
        data = list(packets)
        durations: list[float] = []
        places = []
        for packet in data:
            ones = rng.randint(*self.preamble)
            if self.cutout and durations:
                self._cut_out(durations, rng)
                ones -= CUTOUT_BITS
            first = len(durations)
            for bit in bits_of(packet, ones):
                durations += self.one if bit else self._zero(rng)
            places.append((first, len(durations), ones))
        start = self._inside(data[0], places[0], rng)
        end = self._inside(data[-1], places[-1], rng)
        ends = list(accumulate(durations, initial=0.0))
        sent = [
            Sent(packet, ends[first] - ends[start], ends[last] - ends[start], first - start, last - start)
            for packet, (first, last, _) in list(zip(data, places))[1:-1]
        ]
        return Signal(durations[start:end], sent)

    def _inside(self, packet: bytes, place: tuple[int, int, int], rng: random.Random) -> int:
        """A half-bit within the bytes of a packet."""
        first, _, ones = place
        return first + rng.randrange(2 * ones + 4, 2 * (ones + 9 * len(packet)) - 2)

    def _zero(self, rng: random.Random) -> tuple[float, float]:
        if not self.stretched or rng.random() >= self.stretched:
            return self.zero
        if self.stretch is not None:
            return self.stretch
        first, last = self.zero
        # Short stretches and long ones alike: by decades.
        spare = 10 ** rng.uniform(1, 4.08)
        share = rng.choice((0.0, 1.0, rng.random()))
        first = min(first + spare * share, ZERO_HALF_MAX)
        last = min(last + spare * (1 - share), ZERO_HALF_MAX)
        over = max(first + last - ZERO_MAX, 0.0)
        return (first - over, last) if first > last else (first, last - over)

    def _cut_out(self, durations: list[float], rng: random.Random) -> None:
        """Put a cutout behind the end bit."""
        begins, ends = rng.uniform(*CUTOUT_BEGINS), rng.uniform(*CUTOUT_ENDS)
        if self.cutout is CutoutSeen.WITH_END_BIT:
            durations[-1] += ends
        elif self.cutout is CutoutSeen.ONE_PART:
            durations.append(ends)
        elif self.cutout is CutoutSeen.TWO_PARTS:
            durations += (begins, ends - begins)
        else:  # a bit of its own, longer in its first half: the preamble goes on with the next
            durations += (ends + self.one[0], self.one[1])


def bits_of(packet: bytes, preamble: int) -> list[int]:
    """Preamble of one-bits; before each byte a 0, most significant bit first; a 1 at the end (S-9.2 A)."""
    text = "1" * preamble + "".join(f"0{byte:08b}" for byte in packet) + "1"
    return [int(bit) for bit in text]


def random_station(rng: random.Random, *, equal: bool = False, **fields: object) -> Station:
    """A sound station at random: ones of 55 to 61 us a half, zeros of 95 to 120 us, preambles of 14 to 20.

    :param equal: both halves of a bit last the same.
    """
    one = rng.uniform(55, 61)
    other = one if equal else min(max(one + rng.uniform(-3, 3), 55), 61)
    zero = rng.uniform(95, 120)
    last = zero if equal else rng.uniform(95, 120)
    ones = rng.randint(14, 20)
    preamble = rng.choice(((ones, ones), (14, 20)))
    made = Station(one=(one, other), zero=(zero, last), preamble=preamble)
    return attrs.evolve(made, **fields)  # type: ignore[arg-type]
