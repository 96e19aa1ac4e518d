"""Tries limits on the kept stretches of a capture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import accumulate

import attrs

from ..capture.filter import filtered
from ..decision import receiver_for
from ..decision.guess import has_preambles
from ..decision.sequence import FIRST
from ..edge import edges_from_durations
from ..event import Cutout, Fault, FaultKind, Packet, PacketEvent, Recovery
from ..limits import Limits

__all__ = ["Rows", "Stretch", "Trial", "behind_filter", "preambles", "tried"]

#: Stretches of durations, ns.
Rows = Sequence[Sequence[int]]

#: Score of the time in a recovered packet. Time in other packets scores 1.
RECOVERED = 0.98
#: Simpler limits are preferred if their score is less by at most this. It is less than one packet in 200.
TIE = 0.004
#: Least share of the time in packets if nothing is lost, 0 to 1. The rest is in cutouts.
FULL = 0.85
#: A chance reading may reach up to this share of the time in packets, 0 to 1, or give up to this number of packets.
CHANCE = 0.3
FEW = 2


@attrs.frozen(slots=True)
class Stretch:
    """Consecutive durations, the times of their changes, and the events that limits gave for them. All in ns."""

    durations: Sequence[int]
    times: Sequence[int]
    events: Sequence[PacketEvent]


@attrs.frozen
class Trial:
    """The result of some limits on the kept stretches. Shares from 0 to 1."""

    #: Short description of the limits.
    name: str
    limits: Limits
    #: Minimum of the noise filter before them, ns, see :func:`halfbit.filtered`; 0 for no filter.
    filter: int
    packets: int
    #: Number of faults. A stretch that starts or ends inside a packet does not count.
    faults: int
    #: Time in packets as a share of the whole, and time in recovered packets.
    share: float
    recovered: float
    #: Time in faults as a share of the whole. Times without level changes do not count, nor do packets cut off at
    #: the ends of stretches.
    lost: float
    #: Number of packets whose bytes come more than once.
    repeated: int
    stretches: tuple[Stretch, ...] = attrs.field(repr=False, eq=False)

    @property
    def score(self) -> float:
        """Time in packets as a share of the whole. Recovered packets count less."""
        return self.share - (1 - RECOVERED) * self.recovered

    @property
    def complete(self) -> bool:
        """True if the limits read everything, or nearly."""
        return self.packets > 0 and self.lost <= TIE and self.share >= FULL

    @property
    def by_chance(self) -> bool:
        """True if as much could be read by chance: there are few packets, and most of them are not repeated."""
        return self.packets <= FEW or self.share < CHANCE and 2 * self.repeated < self.packets

    def events(self) -> Iterator[PacketEvent]:
        """The events of all stretches."""
        for stretch in self.stretches:
            yield from stretch.events

    def having(self, *recoveries: Recovery) -> int:
        """Number of packets that were recovered in one of these ways."""
        return sum(isinstance(event, Packet) and event.recovered in recoveries for event in self.events())

    @property
    def cutouts(self) -> int:
        """Number of cutouts, including those that packets' end bits run into."""
        return sum(isinstance(event, Cutout) for event in self.events()) + self.having(Recovery.CUTOUT)


def tried(name: str, limits: Limits, durations: Rows, minimum: int = 0, patient: bool = True) -> Trial:
    """Decode stretches of durations, ns, with some limits.

    :param name: short description of the limits.
    :param minimum: of the noise filter that the durations have passed, ns; 0 for no filter.
    :param patient: False to give up a stretch if its start holds preambles but gives no event by sequence. Then no
        guess of the lengths was right, the next hardly is, and all guesses take long.
    """
    stretches = []
    faults = inside = recovered = lost = length = 0
    data: Counter[bytes] = Counter()
    for stretch in durations:
        receiver = receiver_for(limits)
        start = stretch[:FIRST]
        events = receiver.feed_many(start)
        if events or patient or len(start) < FIRST or not has_preambles(start, limits, limits.latency_max):
            events += [*receiver.feed_many(stretch[FIRST:]), *receiver.finish()]
        for event in events:
            if isinstance(event, Packet):
                data[event.data] += 1
                inside += event.end - event.start
                recovered += (event.end - event.start) * (event.recovered is not None)
            elif isinstance(event, Fault) and event.kind is not FaultKind.CUT:
                faults += 1
                lost += event.end - event.start
        silence = sum(duration for duration in stretch if duration > limits.zero_max)
        times = list(accumulate(stretch, initial=0))
        length += times[-1] - silence
        lost -= min(lost, silence)
        stretches.append(Stretch(stretch, times, events))
    whole = max(length, 1)
    repeated = sum(count for count in data.values() if count > 1)
    return Trial(
        name, limits, minimum, data.total(), faults, inside / whole, recovered / whole, lost / whole, repeated,
        tuple(stretches),
    )  # fmt: skip


def behind_filter(stretches: Rows, minimum: int) -> list[list[int]]:
    """Stretches of durations, ns, after a noise filter."""
    rows: list[list[int]] = []
    for stretch in stretches:
        kept = filtered(edges_from_durations(stretch, "ns"), minimum, "ns")._rows()
        rows.append([duration * scale for durations, scale in kept for duration in durations])
    return rows


def preambles(trial: Trial) -> dict[int, int]:
    """Number of packets by the length of their preamble, in one-bits; 255 means 255 or more."""
    counts = Counter(event.preamble for event in trial.events() if isinstance(event, Packet))
    return dict(sorted(counts.items()))
