"""Which receiver finds the bits: by halves (``receiver/``), by sums, or by sequence.

Sums and sequence are for captures that single half-bits cannot decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from ..event import PacketEvent
from ..limits import Limits
from ..receiver import HalvesReceiver
from .sums import SumReceiver

__all__ = ["AnyReceiver", "SumReceiver", "receiver_for"]


class AnyReceiver(Protocol):
    """The interface of all receivers: they take durations and give packets, faults and cutouts."""

    @property
    def now(self) -> int:
        """The time of the last change, ns."""

    def feed(self, duration: int, /) -> Sequence[PacketEvent]:
        """Take one duration, ns."""

    def feed_many(self, durations: Sequence[int], scale: int = 1, /) -> list[PacketEvent]:
        """Take many durations, in counts of ``scale`` ns each."""

    def finish(self) -> Sequence[PacketEvent]:
        """End of the capture: return the last events."""


def receiver_for(limits: Limits, start: int = 0) -> AnyReceiver:
    """The receiver for some limits: for their decision, with recovery if they ask for it.

    :param start: the time of the first change, ns.
    """
    # What reads by sequence is half of this package. It is imported here, so that other limits do without.
    if limits.decision == "sequence":
        from .sequence import SequenceReceiver

        return SequenceReceiver(limits, start)
    base = HalvesReceiver(limits, start) if limits.decision == "halves" else SumReceiver(limits, start)
    if limits.recover:
        from .recovery import RecoveringReceiver

        return RecoveringReceiver(limits, base)
    return base
