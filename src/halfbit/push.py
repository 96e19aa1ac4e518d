"""One edge at a time, for little more than a call.

A generator keeps its place between two edges, so what has to be asked about an edge depends on
where in a packet it comes: for most, one comparison. It follows clean packets from the end of one
to the end of the next, by the rules of :mod:`halfbit.bulk` for kinds at sight. At anything else
it gives the half-bits since the last packet to the receiver, which goes on until a packet's end.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable
from typing import TypeVar

from .account import Event
from .bulk_symbols import Symbols
from .core import COUNT_MAX
from .edge import Edge
from .error import HalfbitError
from .limits import Limits
from .packet_type import Packet
from .receive import Receiver

__all__ = ["Stop", "pushed"]

#: One-bits of a preamble after which it is left to the receiver, which need not keep it.
LONGEST = 1024

Given = TypeVar("Given")


class Stop(Exception):
    """Thrown into the generator where it waits: give the receiver what is kept.

    The generator goes on with the next edge sent, from where the receiver then is.
    """


class _Torn(Exception):
    """No clean packet."""


def pushed(
    receiver: Receiver,
    limits: Limits,
    dress: Callable[[Event], tuple[Given, ...]],
    check: Callable[[], None],
    ended: Callable[[], None],
) -> Generator[tuple[Given, ...], Edge, None]:
    """Edges in, what is complete with each out.

    :param dress: makes of an event what is to be given for it.
    :param check: raises where no more edges may come; asked at the first after a :class:`Stop`.
    :param ended: told when this cannot go on, because of an error; the receiver then can.
    :raises HalfbitError: where an edge lies before the one before.
    """
    bulk = receiver.bulk
    one_min, one_max, zero_min, zero_max = Symbols(limits, 1).plain()
    enough, fewest, most = limits.preamble_min, limits.packet_min, limits.packet_max
    halves: list[int] = []  # since the last packet, which ended at ``settled`` with the half ``last``
    add = halves.append
    complete: tuple[Given, ...] = ()
    stopped = clean = False
    settled = last = 0
    try:
        while True:
            try:
                if stopped:
                    time = (yield ()).time
                    check()
                    stopped = False
                    complete = _dressed(receiver.feed(_between(receiver.now, time)), dress)
                now = receiver.now
                while not bulk.packet_ended():
                    time = (yield complete).time
                    complete = _dressed(receiver.feed(_between(now, time)), dress)
                    now = time
                settled, last = now, bulk.packet_ended()
                clean = True
                while True:
                    # A clean packet. No event can be complete before its end.
                    half = (time := (yield complete).time) - now
                    now = time
                    add(half)
                    complete = ()
                    ones = 1  # the end bit before counts (S-9.2 A)
                    while one_min <= half <= one_max:
                        half = (time := (yield complete).time) - now
                        now = time
                        add(half)
                        if not one_min <= half <= one_max or ones == LONGEST:
                            raise _Torn
                        ones += 1
                        half = (time := (yield complete).time) - now
                        now = time
                        add(half)
                    if ones < enough:
                        raise _Torn
                    data = bytearray()
                    error = 0
                    while zero_min <= half <= zero_max and len(data) < most:
                        half = (time := (yield complete).time) - now
                        now = time
                        add(half)
                        if not zero_min <= half <= zero_max:
                            raise _Torn
                        value = 1  # and eight bits behind it
                        while value < 256:
                            half = (time := (yield complete).time) - now
                            now = time
                            add(half)
                            if one_min <= half <= one_max:
                                half = (time := (yield complete).time) - now
                                now = time
                                add(half)
                                if not one_min <= half <= one_max:
                                    raise _Torn
                                value += value + 1
                            elif zero_min <= half <= zero_max:
                                half = (time := (yield complete).time) - now
                                now = time
                                add(half)
                                if not zero_min <= half <= zero_max:
                                    raise _Torn
                                value += value
                            else:
                                raise _Torn
                        value &= 255
                        data.append(value)
                        error ^= value
                        half = (time := (yield complete).time) - now
                        now = time
                        add(half)
                    if not one_min <= half <= one_max or error or len(data) < fewest:
                        raise _Torn
                    half = (time := (yield complete).time) - now
                    now = time
                    add(half)
                    if not one_min <= half <= one_max:
                        raise _Torn
                    preamble = ones if ones < COUNT_MAX else COUNT_MAX
                    complete = dress(Packet(bytes(data), preamble, settled, now))
                    settled, last = now, half
                    halves.clear()
            except _Torn:
                if halves[-1] < 0:
                    half = halves.pop()
                    raise _backwards(now - half, now) from None
            except Stop:
                stopped = True
            if clean:
                clean = False
                bulk.set_packet_ended(settled, last)
                complete = _dressed(receiver.feed_many(halves, 1), dress)
                halves.clear()
    finally:
        if clean:
            bulk.set_packet_ended(settled, last)
            receiver.feed_many(halves, 1)
        ended()


def _between(before: int, now: int) -> int:
    if now < before:
        raise _backwards(before, now)
    return now - before


def _backwards(before: int, now: int) -> HalfbitError:
    return HalfbitError(f"edge at {now} ns lies before the one at {before} ns")


def _dressed(
    events: Iterable[Event], dress: Callable[[Event], tuple[Given, ...]]
) -> tuple[Given, ...]:
    return tuple([given for event in events for given in dress(event)])
