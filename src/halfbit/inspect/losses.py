"""Diagnoses losses while decoding, once enough packets have come after each loss."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import Generic, TypeVar, Union

from ..decision import receiver_for
from ..edge import Edges
from ..event import Fault, FaultKind, Packet, PacketEvent
from ..instruction import Instruction
from ..limits import US, Limits
from .diagnosis import LEAD, PACKETS, Cause, Diagnosis, diagnose

__all__ = ["Diagnoser", "Durations", "diagnosed_events"]

#: Type of the events: from a receiver, or from :func:`halfbit.decode`.
AnyEvent = TypeVar("AnyEvent", bound=Union[PacketEvent, Instruction])

#: Number of packets before and after a loss that are compared, and how long to wait for those after it, ns.
NEAR = 64
WAIT = 500_000_000


class Durations:
    """A buffer of past durations, as many as the diagnosis of a loss may need.

    :param kept: number of durations to keep.
    """

    def __init__(self, kept: int = 1 << 14) -> None:
        self._rows: deque[tuple[int, Sequence[int], int]] = deque()
        self._kept = kept
        self._count = 0
        #: The time of the last change, ns.
        self.now = 0
        self._spread: tuple[int, list[int]] = (-1, [])

    def add(self, durations: Sequence[int], scale: int) -> None:
        """Add durations, in counts of ``scale`` ns each."""
        self._rows.append((self.now, durations, scale))
        self._count += len(durations)
        self.now += sum(durations) * scale
        while len(self._rows) > 1 and self._count - len(self._rows[0][1]) > self._kept:
            self._count -= len(self._rows.popleft()[1])

    def between(self, start: int, end: int) -> tuple[list[int], int]:
        """The durations from ``start`` to ``end``, ns, with some one-bits around them; and their start, ns."""
        start, end = start - LEAD * 64 * US, end + LEAD * 64 * US
        found: list[int] = []
        first = end
        for at, durations, scale in self._rows:
            if at >= end:
                break
            times = self._times(at, durations, scale)
            low, high = max(bisect_left(times, start), 0), bisect_left(times, end)
            if low < len(durations) and high > low:
                first = min(first, times[low])
                found += [duration * scale for duration in durations[low:high]]
        return found, first

    def _times(self, at: int, durations: Sequence[int], scale: int) -> list[int]:
        if self._spread[0] != at or len(self._spread[1]) != len(durations) + 1:
            self._spread = at, list(accumulate((duration * scale for duration in durations), initial=at))
        return self._spread[1]


class Diagnoser(Generic[AnyEvent]):
    """Takes events and returns them with a diagnosis of each loss, once enough packets have come after it.

    :param limits: the limits used for decoding.
    :param durations: the durations decoded so far.
    :param wait: True to hold back events until the packets after a loss have come. False for a live signal.
    """

    def __init__(self, limits: Limits, durations: Durations, *, wait: bool = True) -> None:
        self._limits = limits
        self._durations = durations
        self._wait = wait
        self._before: deque[Packet] = deque(maxlen=NEAR)
        self._held: deque[AnyEvent] = deque()

    def feed(self, event: AnyEvent) -> Iterator[tuple[AnyEvent, Diagnosis | None]]:
        """Take the next event. Yields the events that are ready, each with its diagnosis or ``None``."""
        self._held.append(event)
        while self._held and (not self._wait or self._ready()):
            yield self._released()

    def finish(self) -> Iterator[tuple[AnyEvent, Diagnosis | None]]:
        """End of the events. Yields the events that were held back."""
        while self._held:
            yield self._released()

    def _ready(self) -> bool:
        first, last = self._held[0], self._held[-1]
        return not isinstance(first, Fault) or len(self._held) > NEAR or _end(last) - first.end > WAIT

    def _released(self) -> tuple[AnyEvent, Diagnosis | None]:
        event = self._held.popleft()
        packet = _packet_of(event)
        if packet is not None:
            self._before.append(packet)
        return event, self._diagnosis(event) if isinstance(event, Fault) else None

    def _diagnosis(self, fault: Fault) -> Diagnosis:
        if fault.kind is FaultKind.CUT:
            return Diagnosis(fault, Cause.CUT, fault.at)
        before = tuple(self._before)
        after = [packet for each in self._held if (packet := _packet_of(each)) is not None]
        known = [each for each in (*before[-PACKETS:], *after[:PACKETS]) if abs(each.start - fault.start) < WAIT]
        start = min((each.start for each in known), default=fault.start)
        end = max((each.end for each in known), default=fault.end)
        return diagnose(fault, *self._durations.between(min(start, fault.start), max(end, fault.end)), self._limits, before, after)


def _packet_of(event: PacketEvent | Instruction) -> Packet | None:
    return event if isinstance(event, Packet) else event.packet if isinstance(event, Instruction) else None


def _end(event: PacketEvent | Instruction) -> int:
    carrier = event.packet if isinstance(event, Instruction) else event
    return 0 if carrier is None else carrier.end


def diagnosed_events(edges: Edges, limits: Limits) -> Iterator[tuple[PacketEvent, Diagnosis | None]]:
    """The packets, losses and cutouts of a capture, each loss with its diagnosis."""
    receiver = receiver_for(limits)
    durations = Durations()
    diagnoser: Diagnoser[PacketEvent] = Diagnoser(limits, durations)
    for row, scale in edges._rows():
        durations.add(row, scale)
        for event in receiver.feed_many(row, scale):
            yield from diagnoser.feed(event)
    for event in receiver.finish():
        yield from diagnoser.feed(event)
    yield from diagnoser.finish()
