"""The exact way through layers 2 to 4: one half-bit after the other through the core.

The other ways are shortcuts of this one. They take over where the core's state can be told in a
few words, and give back by setting it.
"""

from __future__ import annotations

from collections.abc import Sequence

from . import core
from .account import Account, Element, Event
from .fault import HALF_BIT_FAULTS
from .limits import Limits

__all__ = ["Exact"]

# Answers of layer 3 after which nothing before them matters any more to a core that is LOST; but after
# a lone half-bit that the next one, of the other kind, is held.
_LONE = frozenset((core.LONE_ONE, core.LONE_ZERO))
_OVER = HALF_BIT_FAULTS | {core.ZERO, core.STRETCHED}


class Exact:
    """Durations in ns, one at a time; the events complete with each.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int) -> None:
        self._core = limits.receiver_core()
        #: The core's machine of layer 4.
        self.layer_4 = self._core.packets
        self.account = Account(self.layer_4, limits, start)
        self._keep = Account.history(limits)
        self._most = 64 * self._keep
        self._halves: list[int] = []  # the last durations, ns; at least _keep once there are
        #: The time of the last change, ns.
        self.now = start

    def feed(self, duration: int) -> tuple[Event, ...]:
        """Take one duration, ns."""
        self.now += duration
        self._halves.append(duration)
        answer = self._core.feed(duration)
        if len(self._halves) > self._most:
            del self._halves[: -self._keep]  # also where nothing is answered for ever
        if answer == core.MORE:
            return ()
        return self.account.answer(answer, self._element())

    def finish(self) -> tuple[Event, ...]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        machine = self._core.bits
        events: tuple[Event, ...] = ()
        if machine.held != core.MORE:
            bit = core.LONE_ONE if machine.held == core.ONE else core.LONE_ZERO
            waiting = machine.waiting
            machine.held, machine.waiting = core.MORE, 0
            answer = self.layer_4.feed(bit, waiting, 0)
            if answer != core.MORE:
                start = self.now - waiting
                element = Element(bit, start, self.now, start, waiting, self._halves[-self._keep :])
                events = self.account.answer(answer, element)
        return events + self.account.finish(self.now)

    def set_idle(self, now: int, even: int, odd: int, before: int) -> None:
        """Be between two bits, nothing wrong.

        :param even: what counts for the preamble, if the run has even many halves more, and ``odd``, if odd many.
        :param before: the half-bit before, as the core has it; if there is one, it counts in ``odd``.
        """
        self._set(core.IDLE, now, even, odd - (before > 0), before)
        self._halves = []

    def set_lost(self, now: int, halves: Sequence[int]) -> None:
        """Be LOST, and where a run of half-bits of one kind begins.

        :param halves: the durations before, ns, as many as a cutout shows.
        """
        self._set(core.LOST, now, 0, 0, 0)
        self._halves = list(halves)

    def between_bits(self) -> tuple[int, int, int] | None:
        """What ``set_idle`` would be told, behind the last part of a one-bit; else None."""
        packets = self.layer_4
        if self._core.bits.held != core.MORE or not packets.before:
            return None
        return packets.ones, packets.skew + 1, packets.before

    def lost_from(self) -> int | None:
        """How many of the half-bits just fed belong to the run of one kind that begins: 0 or 1.

        None if something before that run still matters. Else, while the core is LOST,
        ``set_lost`` at the run's beginning would be the same state.
        """
        if self._core.bit in _LONE:
            return 1
        return 0 if self._core.bit in _OVER else None

    def recent(self, count: int) -> list[int]:
        """So many of the last durations, ns, or as many as are known; the latest last."""
        return self._halves[-count:]

    def last(self) -> int:
        """The duration fed last, ns."""
        return self._halves[-1]

    def _set(self, state: int, now: int, ones: int, skew: int, before: int) -> None:
        bits, packets = self._core.bits, self.layer_4
        bits.held, bits.waiting = core.MORE, 0
        packets.state = state
        packets.ones, packets.skew, packets.before = ones, skew, before
        self.now = now

    def _element(self) -> Element:
        """The bit or fault the core has just answered with."""
        machine = self._core.bits
        bit, first, last = self._core.bit, machine.first, machine.last
        end = self.now
        halves = self._halves[-self._keep :]
        start = end - last - first
        if bit in _LONE:
            return Element(bit, start, end - last, start, first, halves[:-1])
        if bit == core.UNEQUAL:
            return Element(bit, start, end, end - last, abs(first - last), halves)
        if bit in HALF_BIT_FAULTS:
            return Element(bit, start, end, end - last, last, halves)
        return Element(bit, start, end, start, first + last, halves)
