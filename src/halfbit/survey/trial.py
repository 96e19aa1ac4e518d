"""Tries limits on the kept stretches of a capture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import accumulate

import attrs

from ..event import PacketEvent
from ..decision import receiver_for
from ..event import Fault, FaultKind
from ..limits import Limits
from ..event import Packet

__all__ = ["Stretch", "Trial", "preambles", "tried"]


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
    packets: int
    #: Number of faults. A stretch that starts or ends inside a packet does not count.
    faults: int
    #: Time in packets as a share of the whole, 0 to 1.
    share: float
    stretches: tuple[Stretch, ...] = attrs.field(repr=False, eq=False)

    @property
    def complete(self) -> bool:
        """True if the limits read everything except packets cut off at the ends of stretches."""
        return self.packets > 0 and self.faults == 0 and self.share >= 0.9


def tried(name: str, limits: Limits, durations: Sequence[Sequence[int]]) -> Trial:
    """Decode stretches of durations, ns, with some limits.

    :param name: short description of the limits.
    """
    stretches = []
    packets = faults = inside = length = 0
    for stretch in durations:
        receiver = receiver_for(limits)
        events = [*receiver.feed_many(stretch), *receiver.finish()]
        for event in events:
            if isinstance(event, Packet):
                packets += 1
                inside += event.end - event.start
            elif isinstance(event, Fault):
                faults += event.kind is not FaultKind.CUT
        times = list(accumulate(stretch, initial=0))
        length += times[-1]
        stretches.append(Stretch(stretch, times, events))
    return Trial(name, limits, packets, faults, inside / length if length else 0.0, tuple(stretches))


def preambles(trial: Trial) -> dict[int, int]:
    """Number of packets by the length of their preamble, in one-bits; 255 means 255 or more."""
    counts = Counter(
        event.preamble
        for stretch in trial.stretches
        for event in stretch.events
        if isinstance(event, Packet)
    )
    return dict(sorted(counts.items()))
