"""Which receiver finds the bits: by halves (``receiver/``), by sums, or by sequence.

Sums and sequence are for captures that single half-bits cannot decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from ..event import PacketEvent
from ..limits import Limits
from ..receiver import Receiver
from .recovery import RecoveringReceiver
from .sequence import SequenceReceiver
from .sums import SumReceiver

__all__ = ["AnyReceiver", "RecoveringReceiver", "SequenceReceiver", "SumReceiver", "receiver_for"]


class AnyReceiver(Protocol):
    """What all receivers have in common: durations in; packets, faults and cutouts out."""

    @property
    def now(self) -> int:
        """The time of the last change, ns."""

    def feed(self, duration: int, /) -> Sequence[PacketEvent]:
        """Take one duration, ns."""

    def feed_many(self, durations: Sequence[int], scale: int = 1, /) -> list[PacketEvent]:
        """Take many durations, each of so many counts of ``scale`` ns."""

    def finish(self) -> Sequence[PacketEvent]:
        """The capture is over."""


def receiver_for(limits: Limits, start: int = 0) -> AnyReceiver:
    """A receiver that decides as the limits say.

    :param start: the time of the first change, ns.
    """
    if limits.decision == "sequence":
        return SequenceReceiver(limits, start)
    base = Receiver(limits, start) if limits.decision == "halves" else SumReceiver(limits, start)
    return RecoveringReceiver(limits, base) if limits.recover else base
