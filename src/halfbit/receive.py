"""Layers 2 to 4 at once: durations to packets and faults, with no object made in between."""

from __future__ import annotations

from collections.abc import Sequence

from . import core
from .account import Account, Element, Event
from .limits import RECEIVE, Limits

__all__ = ["Receiver"]


class Receiver:
    """Durations in; packets, and one fault for each stretch that was lost, out.

    The same events as from the machines of the layers one after the other.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits = RECEIVE, start: int = 0) -> None:
        self._core = limits.receiver_core()
        self._account = Account(self._core.packets, limits, start)
        self._keep = Account.history(limits)
        self._halves: list[int] = []  # the last durations, ns; at least _keep once there are
        #: The time of the last change, ns.
        self.now = start

    def feed(self, duration: int) -> tuple[Event, ...]:
        """Take one duration, ns."""
        self.now += duration
        self._halves.append(duration)
        if len(self._halves) > 64 * self._keep:
            del self._halves[: -self._keep]
        answer = self._core.feed(duration)
        if answer == core.MORE:
            return ()
        return self._account.answer(answer, self._element())

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[Event]:
        """Take many durations, each of so many counts of ``scale`` ns."""
        events: list[Event] = []
        halves = self._halves
        feed = self._core.feed
        now = self.now
        for count in durations:
            duration = count * scale
            now += duration
            halves.append(duration)
            answer = feed(duration)
            if answer != core.MORE:
                self.now = now
                events += self._account.answer(answer, self._element())
        self.now = now
        del halves[: -self._keep]
        return events

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        machine = self._core.bits
        events: tuple[Event, ...] = ()
        if machine.held != core.MORE:
            bit = core.LONE_ONE if machine.held == core.ONE else core.LONE_ZERO
            waiting = machine.waiting
            machine.held, machine.waiting = core.MORE, 0
            answer = self._core.packets.feed(bit, waiting, 0)
            if answer != core.MORE:
                start = self.now - waiting
                element = Element(bit, start, self.now, start, waiting, self._halves[-self._keep :])
                events = self._account.answer(answer, element)
        return events + self._account.finish(self.now)

    def _element(self) -> Element:
        """The bit or fault the core has just answered with."""
        machine = self._core.bits
        bit, first, last = self._core.bit, machine.first, machine.last
        end = self.now
        halves = self._halves[-self._keep :]
        start = end - last - first
        if bit in (core.LONE_ONE, core.LONE_ZERO):
            return Element(bit, start, end - last, start, first, halves[:-1])
        if bit == core.UNEQUAL:
            return Element(bit, start, end, end - last, abs(first - last), halves)
        if bit in (core.SHORT, core.BETWEEN, core.LONG):
            return Element(bit, start, end, end - last, last, halves)
        return Element(bit, start, end, start, first + last, halves)
