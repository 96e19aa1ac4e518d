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
        #: The way the durations go; for :mod:`halfbit.push`.
        self.bulk = Bulk(limits, self._exact)

    @property
    def now(self) -> int:
        """The time of the last change, ns."""
        return self.bulk.time()

    def feed(self, duration: int) -> Sequence[Event]:
        """Take one duration, ns."""
        self.bulk.give_back()
        return self._exact.feed(duration)

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[Event]:
        """Take many durations, each of so many counts of ``scale`` ns.

        Machine integers are fastest, and bytes; then lists of integers.
        """
        return self.bulk.take(durations, scale)

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        self.bulk.give_back()
        return self._exact.finish()
