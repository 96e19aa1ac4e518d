"""Layers 2 to 4 at once: durations to packets and faults, with no object made in between."""

from __future__ import annotations

from collections.abc import Sequence

from .account import Event
from .bulk import Bulk
from .bulk_exact import Exact
from .limits import RECEIVE, Limits

__all__ = ["Receiver"]


class Receiver:
    """Durations in; packets, and one fault for each stretch that was lost, out.

    The same events as from the machines of the layers one after the other, however the
    durations are dealt out to :meth:`feed` and :meth:`feed_many`.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits = RECEIVE, start: int = 0) -> None:
        self._exact = Exact(limits, start)
        self._bulk = Bulk(limits, self._exact)
        #: The time of the last change, ns.
        self.now = start

    def feed(self, duration: int) -> Sequence[Event]:
        """Take one duration, ns."""
        self._bulk.give_back()
        events = self._exact.feed(duration)
        self.now = self._exact.now
        return events

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[Event]:
        """Take many durations, each of so many counts of ``scale`` ns.

        Machine integers are fastest, and bytes; then lists of integers.
        """
        events = self._bulk.take(durations, scale)
        self.now = self._bulk.time()
        return events

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        self._bulk.give_back()
        return self._exact.finish()
