"""What limits make of the stretches kept."""

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
    """Durations in a row, the times of the changes around them, and what limits made of them. All ns."""

    durations: Sequence[int]
    times: Sequence[int]
    events: Sequence[PacketEvent]


@attrs.frozen
class Trial:
    """What limits make of the stretches kept."""

    #: The limits in a few words.
    name: str
    limits: Limits
    packets: int
    #: Faults, without those that only say that a stretch starts or ends inside a packet.
    faults: int
    #: Time in packets as a share of the whole, 0 to 1.
    share: float
    stretches: tuple[Stretch, ...] = attrs.field(repr=False, eq=False)

    @property
    def complete(self) -> bool:
        """True if the limits read all there is, but for what the stretches' ends cut."""
        return self.packets > 0 and self.faults == 0 and self.share >= 0.9


def tried(name: str, limits: Limits, durations: Sequence[Sequence[int]]) -> Trial:
    """Try limits on stretches of durations, ns."""
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
    """How many packets came behind a preamble of each length, one-bits; 255 stands for that many and more."""
    counts = Counter(
        event.preamble
        for stretch in trial.stretches
        for event in stretch.events
        if isinstance(event, Packet)
    )
    return dict(sorted(counts.items()))
