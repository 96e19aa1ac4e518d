"""All layers in one: raw level changes in; instructions, faults and cutouts out."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Sequence
from typing import Union

from .account import Event
from .decision import AnyReceiver, receiver_for
from .edge import Edge, Edges
from .error import HalfbitError
from .fault import Cutout, Fault
from .instruction import STANDARD, Configuration, Context, Instruction, InstructionMachine, Registry
from .limits import RECEIVE, Limits
from .push import Stop, pushed
from .receive import Receiver

__all__ = ["Decoded", "StreamDecoder", "decode"]

#: What decoding gives.
Decoded = Union[Instruction, Fault, Cutout]


class StreamDecoder:
    """Level changes in, in any portions; what is complete with them out.

    However the changes are cut into portions, what comes out is the same.

    :param limits: the windows and counts the signal is held against.
    :param registry: the instructions known.
    :param configuration: CV 29 of the decoder addressed, where it is known: without it what
        depends on it carries both readings.
    :param context: forces operations or service mode; without it the packets tell (S-9.2.3 E).
    """

    def __init__(
        self,
        limits: Limits = RECEIVE,
        *,
        registry: Registry = STANDARD,
        configuration: Configuration | None = None,
        context: Context | None = None,
    ) -> None:
        self._limits = limits
        self._receiver: AnyReceiver | None = None
        self._instructions = InstructionMachine(registry, configuration, context)
        self._finished = False
        self._pending: list[Decoded] = []  # by a call that raised
        self._pushed: Generator[tuple[Decoded, ...], Edge, None] | None = None

    def feed(self, edge: Edge, /) -> tuple[Decoded, ...]:
        """Take the next change.

        From the second call on, a decoder's ``feed`` is a faster function with the same meaning. It may
        be kept for a loop; after an error it only raises ``StopIteration``, and ``feed`` must be asked for anew.
        What a call of :meth:`feed_many` that raised had decoded comes out first.

        :raises HalfbitError: where it lies before the one before, or the decoder is finished.
        """
        self._check()
        if self._pending:
            return tuple(self.feed_many((edge,)))
        if self._receiver is None:
            self._start(edge.time)
            return ()
        if isinstance(self._receiver, Receiver):
            return (self._pushed or self._push(self._receiver)).send(edge)
        duration = edge.time - self._receiver.now
        if duration < 0:
            raise HalfbitError(f"edge at {edge.time} ns lies before the one at {self._receiver.now} ns")
        return tuple(self._dress(self._receiver.feed(duration)))

    def feed_many(self, edges: Iterable[Edge]) -> list[Decoded]:
        """Take many changes. An :class:`Edges` is taken in bulk, and goes on from the last change.

        So durations can be fed a portion at a time. Times can't: what lies between two portions would be
        left out. Let one :class:`EdgeMachine` take those.

        An error does not lose what was decoded before it: that comes out of the next call.

        :raises HalfbitError: where a change lies before the one before, or the decoder is finished.
        """
        self._check()
        decoded, self._pending = self._pending, []
        try:
            if isinstance(edges, Edges):
                for durations, scale in edges.durations():
                    decoded += self._feed_durations(durations, scale)
            else:
                for edge in edges:
                    decoded += self.feed(edge)
        except BaseException:
            self._pending = decoded
            if self._pushed is not None:
                self._pushed.close()  # else the next edge would go past them
            raise
        return decoded

    def finish(self) -> tuple[Decoded, ...]:
        """The signal is over: what was pending is cut or lost. Nothing can be fed after."""
        self._check()
        self._pull()
        self.__dict__.pop("feed", None)
        self._finished = True
        events = () if self._receiver is None else self._receiver.finish()
        return (*self._pending, *self._dress(events), *self._instructions.finish())

    def _feed_durations(self, durations: Sequence[int], scale: int) -> list[Decoded]:
        receiver = self._receiver or self._start(0)
        self._pull()
        if len(durations) == 1:
            # A live source gives one at a time, and a row of one costs more than it saves.
            return self._dress(receiver.feed(durations[0] * scale))
        return self._dress(receiver.feed_many(durations, scale))

    def _start(self, time: int) -> AnyReceiver:
        self._receiver = receiver_for(self._limits, time)
        return self._receiver

    def _push(self, receiver: Receiver) -> Generator[tuple[Decoded, ...], Edge, None]:
        """Edges come singly from here on."""
        feed = self._instructions.feed
        generator = pushed(receiver, self._limits, feed, self._check, self._unpush)
        next(generator)
        self._pushed = generator
        if type(self).feed is StreamDecoder.feed:
            # With no method of this class between, a call costs half.
            self.__dict__["feed"] = generator.send
        return generator

    def _unpush(self) -> None:
        """The generator has ended: the next edge makes another."""
        self._pushed = None
        self.__dict__.pop("feed", None)

    def _pull(self) -> None:
        """Whatever single edges have left to be done is with the receiver after this."""
        if self._pushed is not None:
            self._pushed.throw(Stop())

    def _check(self) -> None:
        if self._finished:
            raise HalfbitError("the decoder is finished: make a new one for another signal")

    def _dress(self, events: Sequence[Event]) -> list[Decoded]:
        feed = self._instructions.feed
        return [decoded for event in events for decoded in feed(event)]


def decode(
    edges: Iterable[Edge],
    limits: Limits = RECEIVE,
    *,
    registry: Registry = STANDARD,
    configuration: Configuration | None = None,
    context: Context | None = None,
) -> Iterator[Decoded]:
    """What a signal says, in order: its instructions, and the faults and cutouts among them.

    Arguments as :class:`StreamDecoder`'s. An iterator's edges are taken one at a time, so that a
    live source is decoded as it comes.
    """
    decoder = StreamDecoder(
        limits, registry=registry, configuration=configuration, context=context
    )
    if isinstance(edges, Edges):
        for durations, scale in edges.durations():
            yield from decoder._feed_durations(durations, scale)
    else:
        for edge in edges:
            yield from decoder.feed(edge)
    yield from decoder.finish()
