"""One edge at a time, for little more than a call.

A generator keeps its place between two edges, so what has to be asked about an edge depends on
where in the signal it comes: for most, two comparisons. It goes by the rules of :mod:`halfbit.bulk`
for kinds at sight, from state to state as the receiver does:

OPEN    It follows packets and makes them itself. It keeps where the last one ended, how many one-bits came since,
        and the times of the edges after these: the receiver is told only where a half-bit is not told by its kind
        at sight. Where no packet follows, it is LOST.
LOST    Only a run of ones, enough for a preamble, can make an event complete. When one has come, the
        receiver is told all that is kept, and says what was wrong.
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
from .packet_type import packet_of
from .receive import Receiver

__all__ = ["LONGEST", "dressed", "last_ones", "pushed", "stop_edges"]

#: Half-bits of a lost stretch after which it is left to the receiver, which need not keep it.
LONGEST = 1024
#: What each bit of a byte counts, in the order in which they come (S-9.2 A).
PLACES = (128, 64, 32, 16, 8, 4, 2, 1)

Given = TypeVar("Given")


class _Stop(Exception):
    """Thrown into the generator where it waits: give the receiver what is kept."""


class _Given(Exception):
    """What came so far goes to the receiver."""


class _Torn(Exception):
    """No packet follows; or else a half-bit is not told by its kind at sight."""


def pushed(
    receiver: Receiver,
    limits: Limits,
    dress: Callable[[Event], tuple[Given, ...]],
    pending: list[Given],
    check: Callable[[], None],
    over: Callable[[HalfbitError | None], None],
) -> Generator[tuple[Given, ...], Edge, None]:
    """Edges in, what is complete with each out.

    :param dress: makes of an event what is to be given for it.
    :param pending: what could not be given when it was complete, because of an error. It is given with the first
        edge after :func:`stop_edges`.
    :param check: raises where no more edges may come; asked at that one.
    :param over: told when this cannot go on, because of an error; always with None. The receiver can go on.
    :raises HalfbitError: where an edge lies before the one before.
    """
    plain = Symbols(limits, 1)
    one_min, one_max, zero_min, zero_max = plain.plain()
    enough, fewest, most = limits.preamble_min, limits.packet_min, limits.packet_max
    # What the receiver does not know yet: a packet, then one-bits, then half-bits.
    ended: int | None = None  # where the packet ended
    pairs = 0  # how many one-bits, and
    even = odd = before = 0  # what counted before them, and the half-bit before these (``Receiver.opened``)
    base = 0  # where the half-bits begin,
    times: list[int] = []  # and their ends
    middle = now = 0  # of a bit, and its end
    lost = False  # LOST
    stopped = False  # by a _Stop: the receiver may go on without this
    complete: tuple[Given, ...] = ()  # with the last edge
    failure: BaseException | None = None
    try:
        while failure is None:
            try:
                if stopped:
                    time = (yield ()).time
                    check()
                    half = _between(receiver.now, time)
                    stopped = False
                    complete = (*pending, *dressed(receiver.feed(half), dress))
                    pending.clear()
                if not lost:
                    base = middle = now = receiver.now
                    run = receiver.opened(one_min, one_max)
                    lost = run is None and receiver.lost()
                if lost:
                    back = chain(_back(base, times), reversed(receiver.kept()))
                    yield from _up_to_preamble(limits, back, times, now, complete)
                    raise _Given
                if run is None:
                    time = (yield complete).time
                    half = _between(now, time)
                    if plain.learned(half):
                        one_min, one_max, zero_min, zero_max = plain.plain()
                    events = receiver.feed(half)
                    complete = dressed(events, dress) if events else ()
                    continue
                even, odd, before = run
                start = receiver.settled()
                while True:
                    # A clean packet. No event can be complete before its end. Its preamble:
                    while True:
                        half = (middle := (yield complete).time) - now
                        complete = ()
                        if half > one_max or half < one_min:
                            times.append(middle)
                            base, ones = now, even + pairs
                            break
                        last = (now := (yield ()).time) - middle
                        if last > one_max or last < one_min:
                            times += middle, now
                            base, ones = middle - half, odd + pairs
                            middle, half = now, last
                            break
                        before = last
                        pairs += 1
                    if ones < enough:
                        raise _Torn
                    # Its bytes, each behind a zero-bit whose first half is ``half``.
                    data = bytearray()
                    error = 0
                    while zero_min <= half <= zero_max and len(data) < most:
                        times.append(now := (yield ()).time)
                        if not zero_min <= now - middle <= zero_max:
                            raise _Torn
                        value = 0
                        for place in PLACES:
                            times.append(middle := (yield ()).time)
                            half = middle - now
                            if half <= one_max:
                                if half < one_min:
                                    raise _Torn
                                times.append(now := (yield ()).time)
                                half = now - middle
                                if half > one_max or half < one_min:
                                    raise _Torn
                                value += place
                            else:
                                if half > zero_max or half < zero_min:
                                    raise _Torn
                                times.append(now := (yield ()).time)
                                half = now - middle
                                if half > zero_max or half < zero_min:
                                    raise _Torn
                        data.append(value)
                        error ^= value
                        times.append(middle := (yield ()).time)
                        half = middle - now
                    # Its end bit.
                    if not one_min <= half <= one_max or error or len(data) < fewest:
                        raise _Torn
                    times.append(now := (yield ()).time)
                    last = now - middle
                    if not one_min <= last <= one_max:
                        raise _Torn
                    complete = dress(packet_of(bytes(data), min(ones, COUNT_MAX), start, now))
                    start = ended = now
                    times.clear()
                    even, odd, before, pairs = 1, 1, last, 0  # the end bit before counts (S-9.2 A)
            except (_Given, _Torn) as reason:
                so_far, now = [base, *times][-2:]
                if now < so_far:
                    wrong, now = times.pop(), so_far
                    failure = _backwards(now, wrong)
                lost = failure is None and isinstance(reason, _Torn) and plain.of_one(now - so_far) != DOUBT
                if lost:
                    complete = ()
                    continue
            except _Stop:
                stopped = True
                lost = False
            except BaseException as reason:  # also that this is closed
                failure = reason
            if not times:
                # Between two edges of a preamble.
                base = now
                times += [middle] * (middle > now)
            if pairs or ended is not None:
                receiver.set_open(ended, base, even + pairs, odd + pairs, before)
                pairs, ended = 0, None
            events = _given(receiver, base, times)
            middle = now = receiver.now
            if failure is None:
                complete = dressed(events, dress)
            else:
                pending += dressed(events, dress)
    finally:
        over(None)
    raise failure


def stop_edges(generator: Generator[object, Edge, None]) -> None:
    """Have all that is kept given to the receiver. The generator goes on with the next edge from where that is.

    No edge is wrong that has been taken, so there is nothing to return.
    """
    generator.throw(_Stop())


def last_ones(limits: Limits, back: Iterable[int]) -> int:
    """How many half-bits of ones stand last.

    :param back: half-bits, the last one first.
    """
    return sum(1 for _ in takewhile(lambda half: limits.one_min <= half <= limits.one_max, back))


def _given(receiver: Receiver, base: int, times: list[int]) -> list[Event]:
    """Give the receiver the half-bits that it does not know yet."""
    halves = list(map(sub, times, [base, *times]))
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
    ones = last_ones(limits, back)
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


def dressed(
    events: Iterable[Event], dress: Callable[[Event], tuple[Given, ...]]
) -> tuple[Given, ...]:
    return tuple([given for event in events for given in dress(event)])
