"""One edge at a time, for little more than a call.

A generator keeps its place between two edges, so what has to be asked about an edge depends on
where in the signal it comes: for most, one comparison. It keeps the times of the edges, and goes
by the rules of :mod:`halfbit.bulk` for kinds at sight, from state to state as the receiver does:

OPEN    It follows packets, makes them itself, and tells the receiver only where the last one ended. Where a
        half-bit is not told by its kind at sight, the receiver is given all since that packet. Where no
        packet follows, it is LOST.
LOST    Only a run of ones, enough for a preamble, can make an event complete. When one has come, the
        receiver is given all since the last packet, and says what was wrong.
EXACT   The receiver is given each half-bit, and asked after each whether it is OPEN. So it is also where edges
        have come in portions before.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from itertools import chain, takewhile
from operator import sub
from typing import TypeVar

from .account import Event
from .bulk_symbols import DOUBT, Symbols
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


class _Given(Exception):
    """What came so far goes to the receiver."""


class _Torn(Exception):
    """No packet follows; or else a half-bit is not told by its kind at sight."""


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
    plain = Symbols(limits, 1)
    one_min, one_max, zero_min, zero_max = plain.plain()
    enough, fewest, most = limits.preamble_min, limits.packet_min, limits.packet_max
    times: list[int] = []  # of the edges the receiver does not know yet
    since = 0  # the edge before them: the receiver's last one, or a packet's end that it does not know yet
    moved = False  # it is such a packet's end,
    last = 0  # and this was the packet's last half-bit
    lost = False  # LOST
    stopped = False  # by a Stop: the receiver may go on without this
    complete: tuple[Given, ...] = ()  # with the last edge
    # Within a bit ``time`` is its middle, and ``now`` where it begins or ends.
    try:
        while True:
            try:
                if stopped:
                    time = (yield ()).time
                    check()
                    stopped = False
                    complete = _dressed(receiver.feed(_between(receiver.now, time)), dress)
                if not lost:
                    since = now = receiver.now
                    run = bulk.opened(one_min, one_max)
                    lost = run is None and bulk.lost()
                if lost:
                    back = chain(_back(since, times), reversed(bulk.kept()))
                    yield from _up_to_preamble(limits, back, times, now, complete)
                    raise _Given
                if run is None:
                    time = (yield complete).time
                    events = receiver.feed(_between(now, time))
                    complete = _dressed(events, dress) if events else ()
                    continue
                even, odd, kept = run
                start = bulk.settled()
                while True:
                    # A clean packet. No event can be complete before its end.
                    for kept in range(kept, kept + LONGEST):
                        times.append(time := (yield complete).time)
                        complete = ()
                        half = time - now
                        if not one_min <= half <= one_max:
                            break
                        now = time
                    else:
                        raise _Given
                    ones = (kept >> 1) + (odd if kept & 1 else even)
                    if ones < enough:
                        raise _Torn
                    data = bytearray()
                    error = 0
                    while zero_min <= half <= zero_max and len(data) < most:
                        times.append(now := (yield ()).time)
                        if not zero_min <= now - time <= zero_max:
                            raise _Torn
                        value = 1  # and eight bits behind it
                        while value < 256:
                            times.append(time := (yield ()).time)
                            half = time - now
                            if half <= one_max:
                                if half < one_min:
                                    raise _Torn
                                times.append(now := (yield ()).time)
                                if not one_min <= now - time <= one_max:
                                    raise _Torn
                                value += value + 1
                            elif zero_min <= half <= zero_max:
                                times.append(now := (yield ()).time)
                                if not zero_min <= now - time <= zero_max:
                                    raise _Torn
                                value += value
                            else:
                                raise _Torn
                        value &= 255
                        data.append(value)
                        error ^= value
                        times.append(time := (yield ()).time)
                        half = time - now
                    if not one_min <= half <= one_max or error or len(data) < fewest:
                        raise _Torn
                    times.append(now := (yield ()).time)
                    if not one_min <= now - time <= one_max:
                        raise _Torn
                    preamble = ones if ones < COUNT_MAX else COUNT_MAX
                    complete = dress(Packet(bytes(data), preamble, start, now))
                    moved = True
                    start, since, last = now, now, now - time
                    even, odd, kept = 1, 1, 0  # the end bit before counts (S-9.2 A)
                    times.clear()
            except (_Given, _Torn) as reason:
                before, now = [since, *times][-2:]
                if now < before:
                    times.pop()
                    raise _backwards(before, now) from None
                lost = isinstance(reason, _Torn) and plain.of_one(now - before) != DOUBT
                if lost:
                    complete = ()
                    continue
            except Stop:
                stopped = True
                lost = False
            complete = _dressed(_given(receiver, moved, since, last, times), dress)
            moved = False
    finally:
        _given(receiver, moved, since, last, times)
        ended()


def _given(receiver: Receiver, moved: bool, since: int, last: int, times: list[int]) -> list[Event]:
    """Give the receiver what it does not know yet.

    :param moved: there were packets, the last of which ended at ``since`` with the half-bit ``last``.
    """
    if moved:
        receiver.bulk.set_packet_ended(since, last)
    halves = list(map(sub, times, [since, *times]))
    times.clear()
    return receiver.feed_many(halves, 1) if halves else []


def _back(since: int, times: list[int]) -> Iterator[int]:
    """The half-bits that end at these times, from the last back to the first, which begins at ``since``."""
    return map(sub, reversed(times), [*times[-2::-1], since])


def _up_to_preamble(
    limits: Limits, back: Iterable[int], times: list[int], now: int, complete: tuple[Given, ...]
) -> Generator[tuple[Given, ...], Edge, None]:
    """LOST: take edges until enough ones stand in a row, or there are so many edges that they must not be kept.

    Whether their halves are too different matters to the receiver, which is asked then.

    :param back: the half-bits up to ``now``, from the last back.
    """
    least, most, enough = limits.one_min, limits.one_max, 2 * limits.preamble_min
    ones = sum(1 for _ in takewhile(lambda half: least <= half <= most, back))
    while True:
        times.append(time := (yield complete).time)
        complete = ()
        half = time - now
        now = time
        ones = ones + 1 if least <= half <= most else 0
        if ones >= enough or half < 0 or len(times) > LONGEST:
            return


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
