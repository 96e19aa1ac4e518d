"""One duration at a time, for little more than a call and a look.

Like :mod:`halfbit.push`, which takes edges. But durations need no subtraction, and those of a packet need not be
looked at when they come. For only two things make an event complete: a packet's end, and enough ones for a
preamble, 20 half-bits or more in a row. As long as every eighteenth half-bit is none of a one-bit, neither can come.
So the 18 that a byte takes with the zero-bit before it are taken unseen, but for where the next bit begins, and
asked about when the packet is over. A number that is no duration is found then, too.

What is not plain to see is given to the receiver, with all that it does not know yet. What comes next is as in
:mod:`halfbit.push`:

OPEN    Nothing is wrong: packets are followed here.
LOST    Only a preamble can make an event complete: the receiver is told when one has come.
EXACT   Anything can: the receiver is given each half-bit.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from itertools import chain
from operator import index
from typing import TypeVar

from .account import Event
from .bulk_symbols import DOUBT, Symbols
from .core import COUNT_MAX
from .error import HalfbitError
from .limits import Limits
from .packet_type import packet_of
from .push import LONGEST, dressed, last_ones
from .push_row import Row, Torn, packet_data
from .push_taken import STOP, are_durations, no_duration, sorted_out
from .receive import Receiver

__all__ = ["pushed_durations", "stop_durations"]

#: Rounds of four half-bits: more of a preamble are not kept.
ROUNDS = (None,) * (LONGEST // 4)

Given = TypeVar("Given")


def pushed_durations(
    receiver: Receiver,
    limits: Limits,
    dress: Callable[[Event], tuple[Given, ...]],
    pending: list[Given],
    check: Callable[[], None],
    over: Callable[[HalfbitError | None], None],
) -> Generator[tuple[Given, ...] | HalfbitError | None, int, None]:
    """Durations in, ns; what is complete with each out.

    :param dress: makes of an event what is to be given for it.
    :param pending: what could not be given when it was complete, because of an error. It is given with the first
        duration after :func:`stop_durations`.
    :param check: raises where no more durations may come; asked at that one.
    :param over: told when this cannot go on, because of an error, and what else is wrong then. The receiver can go on.
    :raises HalfbitError: where a number was no duration. All others are taken, also those after it.
    """
    plain = Symbols(limits, 1)
    one_min, one_max, zero_min, zero_max = plain.plain()
    least, most, enough = limits.one_min, limits.one_max, limits.preamble_min
    fewest, many = limits.packet_min, (None,) * limits.packet_max
    # What the receiver does not know yet: a packet, then half-bits.
    ended: int | None = None  # where the packet ended
    before = 0  # the packet's last half-bit
    halves: list[int] = []
    rows: list[Row] = []  # half-bits behind ``halves``
    row: Row
    lost = False  # the receiver would be LOST if it knew these
    stopped = False  # the receiver may go on without this
    wrong = ""  # numbers that are no durations, not told yet
    complete: tuple[Given, ...] = ()  # with the last half-bit
    failure: BaseException | None = None
    untold: HalfbitError | None = None
    try:
        while failure is None:
            single = resumed = False
            try:
                if stopped:
                    half = yield no_duration(wrong) if wrong else None
                    if half is STOP:
                        continue
                    check()
                    stopped = False
                    single = resumed = True
                    halves.append(half)
                elif lost or receiver.lost():
                    lost = False
                    ones = last_ones(limits, chain(reversed(halves), reversed(receiver.kept())))
                    while ones < 2 * enough and len(halves) <= LONGEST:
                        halves.append(half := (yield complete))
                        complete = ()
                        if least <= half <= most:
                            ones += 1
                        elif half >= 0:
                            ones = 0
                        else:
                            break
                elif (run := receiver.opened(one_min, one_max)) is not None:
                    even, odd, _ = run
                    now = receiver.now
                    start = receiver.settled()
                    # A clean packet each time round. Its preamble:
                    while True:
                        halves.append(half := (yield complete))
                        complete = ()
                        for _ in ROUNDS:
                            if half > one_max or half < one_min:
                                break
                            halves.append(half := (yield ()))
                            if half > one_max or half < one_min:
                                break
                            halves.append(half := (yield ()))
                            if half > one_max or half < one_min:
                                break
                            halves.append(half := (yield ()))
                            if half > one_max or half < one_min:
                                break
                            halves.append(half := (yield ()))
                        else:
                            break  # more are not kept
                        ones = len(halves) - 1
                        ones = (ones >> 1) + (odd if ones & 1 else even)
                        if ones < enough:
                            raise Torn((half,))
                        # Its bytes, each behind a zero-bit whose first half is ``half``.
                        for _ in many:
                            if half < zero_min:
                                break
                            row = (
                                (yield ()), (yield ()), (yield ()), (yield ()), (yield ()), (yield ()),
                                (yield ()), (yield ()), (yield ()), (yield ()), (yield ()), (yield ()),
                                (yield ()), (yield ()), (yield ()), (yield ()), (yield ()), (yield ()),
                            )  # fmt: skip
                            rows.append(row)
                            half = row[17]  # the last: counted from the front it is found quicker
                        # Its end bit.
                        if half > one_max or half < one_min or len(rows) < fewest:
                            raise Torn((half,))
                        data = packet_data(rows, one_min, one_max, zero_min)
                        duration = sum(halves)
                        for row in rows:
                            duration += sum(row)
                        rows.append(((last := (yield ())),))
                        if not data or last > one_max or last < one_min:
                            raise Torn((last,))
                        duration += last
                        if type(duration) is not int:
                            break  # other numbers can be compared, too
                        if duration > zero_max and max(chain(halves[-1:], *rows)) > zero_max:
                            break
                        now += duration
                        complete = dress(packet_of(data, ones if ones < COUNT_MAX else COUNT_MAX, start, now))
                        start = ended = now
                        before = last
                        halves.clear()
                        rows.clear()
                        even = odd = 1  # the end bit before counts (S-9.2 A)
                else:
                    halves.append(half := (yield complete))
                    complete = ()
                    single = True
                    if type(half) is int and half >= 0:
                        if plain.learned(half):
                            one_min, one_max, zero_min, zero_max = plain.plain()
                        events = receiver.feed(half)
                        halves.clear()
                        if events:
                            complete = dressed(events, dress)
                        continue
            except Torn as torn:
                lost = are_durations(torn.row) and DOUBT not in map(plain.of_one, torn.row)
            except BaseException as reason:  # also that STOP is compared, or that this is closed
                failure = reason
            halves += chain(*rows)
            rows.clear()
            if lost:
                continue
            untold = HalfbitError("an exception came in between: durations may be lost, or taken twice")
            if not are_durations(halves):
                halves, stop, more = sorted_out(halves)
                stopped = stopped or stop
                wrong += ", " * bool(wrong and more) + more
                if isinstance(failure, TypeError):
                    failure = None  # one of these was compared
            broken = failure is not None and not stopped  # then what has come of a row is gone
            if wrong and broken:
                untold = HalfbitError(f"{untold}; {no_duration(wrong)}")
            elif wrong and not stopped:
                failure = no_duration(wrong)
            if ended is not None:
                receiver.set_open(ended, ended, 1, 1, index(before))
                ended = None
            events = receiver.feed(halves[0]) if single and halves else receiver.feed_many(halves, 1)
            halves.clear()
            given = dressed(events, dress)
            if resumed:
                given = (*pending, *given)
                pending.clear()
            if stopped or failure is not None:
                pending += given
            else:
                complete += given
            if not broken:
                untold = None
    finally:
        over(untold)
    raise failure


def stop_durations(generator: Generator[object, int, None]) -> HalfbitError | None:
    """Have all that is kept given to the receiver. The generator goes on with the next duration from where that is.

    :returns: what is wrong, which the next duration will raise.
    """
    while True:
        answer = generator.send(STOP)
        if not isinstance(answer, tuple):
            assert answer is None or isinstance(answer, HalfbitError)
            return answer
