"""Layers 2 to 4 at once: durations to packets and faults, with no object made in between."""

from __future__ import annotations

from collections.abc import Sequence

from .account import Event
from .bulk import Bulk
from .bulk_exact import Exact
from .limits import RECEIVE, Limits

__all__ = ["Receiver"]


class Receiver(Bulk):
    """Durations in; packets, and one fault for each stretch that was lost, out.

    The same events as from the machines of the layers one after the other, however the
    durations are dealt out to :meth:`feed` and :meth:`feed_many`.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits = RECEIVE, start: int = 0) -> None:
        super().__init__(limits, Exact(limits, start))

    def feed(self, duration: int) -> Sequence[Event]:
        """Take one duration, ns."""
        self.give_back()
        return self._exact.feed(duration)

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        self.give_back()
        return self._exact.finish()
