"""Diagnoses losses while decoding, once enough packets have come after each loss."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import accumulate
from typing import Generic, TypeVar, Union

import attrs

from ..decision import receiver_for
from ..edge import Edges
from ..error import CaptureError
from ..event import Fault, Packet, PacketEvent
from ..instruction import Instruction
from ..limits import US, Limits
from .diagnosis import LEAD, PACKETS, Diagnosis, diagnose

__all__ = ["Diagnoser", "Durations", "carrier_of", "diagnosed_events", "end_of", "events_of"]

#: Type of the events: from a receiver, or from :func:`halfbit.decode`.
AnyEvent = TypeVar("AnyEvent", bound=Union[PacketEvent, Instruction])

#: Number of packets before and after a loss that are compared, and how long to wait for those after it, ns.
NEAR = 64
WAIT = 500_000_000
#: Time before and after a lost stretch and these packets that is compared, too, ns.
AROUND = LEAD * 64 * US


class Durations:
    """A buffer of past durations.

    :param kept: number of durations to keep before the row that was added last.
    """

    def __init__(self, kept: int = 1 << 14) -> None:
        # Rows of durations: the times of the first and the last change, ns, the first one's index, the durations, and
        # the ns in a count.
        self._rows: deque[tuple[int, int, int, Sequence[int], int]] = deque()
        self._kept = kept
        #: Number of durations so far.
        self.count: int = 0
        #: The time of the last change, ns.
        self.now: int = 0

    def add(self, durations: Sequence[int], scale: int) -> None:
        """Add durations, in counts of ``scale`` ns each."""
        start, first = self.now, self.count
        self.count += len(durations)
        self.now += sum(durations) * scale
        self._rows.append((start, self.now, first, durations, scale))
        while len(self._rows) > 1 and first - self._rows[1][2] > self._kept:
            self._rows.popleft()

    def between(self, start: int, end: int) -> tuple[list[int], int, int]:
        """The durations that start from ``start`` on and before ``end``, ns; their start, ns; the first one's index."""
        found: list[int] = []
        begin, index = end, self.count
        for at, last, first, durations, scale in self._rows:
            if at >= end or last < start:
                continue
            times = list(accumulate((duration * scale for duration in durations), initial=at))
            low, high = bisect_left(times, start), min(bisect_left(times, end), len(durations))
            if low < high:
                if not found:
                    begin, index = times[low], first + low
                found += [duration * scale for duration in durations[low:high]]
        return found, begin, index


@attrs.define
class Diagnoser(Generic[AnyEvent]):
    """Takes events and returns them with a diagnosis of each loss, once enough packets have come after it.

    :param limits: the limits used for decoding.
    :param durations: the durations decoded so far.
    :param wait: True to hold back events until the packets after a loss have come. False for a live signal.
    :param wanted: returns True for the losses to diagnose.
    """

    _limits: Limits
    _durations: Durations
    _wait: bool = attrs.field(default=True, kw_only=True)
    _wanted: Callable[[Fault], bool] = attrs.field(default=lambda fault: True, kw_only=True)
    _before: deque[Packet] = attrs.field(factory=lambda: deque(maxlen=NEAR), init=False)
    _held: deque[AnyEvent] = attrs.field(factory=deque, init=False)

    def through(self, events: Iterable[AnyEvent]) -> Iterator[tuple[AnyEvent, Diagnosis | None]]:
        """Yields events once they are ready, each with its diagnosis or ``None``.

        :raises CaptureError: as the events do, after those before the error.
        """
        wrong: CaptureError | None = None
        try:
            for event in events:
                self._held.append(event)
                while self._held and (not self._wait or self._ready()):
                    yield self._released()
        except CaptureError as error:
            wrong = error
        while self._held:
            yield self._released()
        if wrong is not None:
            raise wrong

    def _ready(self) -> bool:
        first, last = self._held[0], self._held[-1]
        return not isinstance(first, Fault) or len(self._held) > NEAR or end_of(last) - first.end > WAIT

    def _released(self) -> tuple[AnyEvent, Diagnosis | None]:
        event = self._held.popleft()
        packet = carrier_of(event)
        if isinstance(packet, Packet):
            self._before.append(packet)
        return event, self._diagnosis(event) if isinstance(event, Fault) and self._wanted(event) else None

    def _diagnosis(self, fault: Fault) -> Diagnosis:
        before = tuple(self._before)
        after = [packet for packet in map(carrier_of, self._held) if isinstance(packet, Packet)]
        known = [each for each in (*before[-PACKETS:], *after[:PACKETS]) if abs(each.start - fault.start) < WAIT]
        start = min((fault.start, *(each.start for each in known))) - AROUND
        end = max((fault.end, *(each.end for each in known))) + AROUND
        durations, begin, _ = self._durations.between(start, end)
        return diagnose(fault, durations, begin, self._limits, before, after)


def carrier_of(event: PacketEvent | Instruction) -> PacketEvent | None:
    """The packet of an instruction, or a loss or a cutout itself."""
    return event.packet if isinstance(event, Instruction) else event


def end_of(event: PacketEvent | Instruction) -> int:
    """The end of an event, ns."""
    carrier = carrier_of(event)
    return 0 if carrier is None else carrier.end


def diagnosed_events(edges: Edges, limits: Limits) -> Iterator[tuple[PacketEvent, Diagnosis | None]]:
    """The packets, losses and cutouts of a capture, each loss with its diagnosis."""
    durations = Durations()
    diagnoser: Diagnoser[PacketEvent] = Diagnoser(limits, durations)
    return diagnoser.through(events_of(edges, limits, durations))


def events_of(edges: Edges, limits: Limits, durations: Durations) -> Iterator[PacketEvent]:
    """The packets, losses and cutouts of a capture. Its durations are added to ``durations`` on the way."""
    receiver = receiver_for(limits)
    for row, scale in edges._rows():
        durations.add(row, scale)
        yield from receiver.feed_many(row, scale)
    yield from receiver.finish()
