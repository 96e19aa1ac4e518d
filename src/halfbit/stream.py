"""All layers in one: raw level changes in; instructions, faults and cutouts out."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from typing import Any, Union

from .account import Event
from .decision import AnyReceiver, receiver_for
from .edge import Edge, Edges
from .error import HalfbitError
from .fault import Cutout, Fault
from .instruction import STANDARD, Configuration, Context, Instruction, InstructionMachine, Registry
from .limits import RECEIVE, Limits
from .push import pushed, stop_edges
from .push_durations import pushed_durations, stop_durations
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
        # What makes one of the methods for single changes fast, by its name.
        self._pushed: dict[str, Generator[Any, Any, None]] = {}

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
            decoded: tuple[Decoded, ...] = self._single("feed", pushed, self._receiver).send(edge)
            return decoded
        if edge.time < self._receiver.now:
            raise HalfbitError(f"edge at {edge.time} ns lies before the one at {self._receiver.now} ns")
        return tuple(self._dress(self._receiver.feed(edge.time - self._receiver.now)))

    def feed_duration(self, duration: int, /) -> tuple[Decoded, ...]:
        """Take the next change, by how long after the one before it comes. The first call gives both changes.

        This is the fastest way for single changes. It may be kept for a loop as :meth:`feed` may, and mixed
        with the others freely.

        :param duration: whole ns, 0 or more.
        :raises HalfbitError: where it is none, or the decoder is finished. What goes before a packet's last bit
            is looked at with that, so the error may come some half-bits late: it says how many. All other
            durations are taken, also those after it.
        """
        self._check()
        complete = self._feed_single(duration)
        pending, self._pending = self._pending, []
        return (*pending, *complete)

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
            try:
                self._pull()
            finally:
                for generator in list(self._pushed.values()):
                    generator.close()  # else the next change would go past them
            raise
        return decoded

    def finish(self) -> tuple[Decoded, ...]:
        """The signal is over: what was pending is cut or lost. Nothing can be fed after."""
        self._check()
        self._pull()
        for method in self._pushed:
            self.__dict__.pop(method, None)
        self._finished = True
        events = () if self._receiver is None else self._receiver.finish()
        return (*self._pending, *self._dress(events), *self._instructions.finish())

    def _feed_durations(self, durations: Sequence[int], scale: int) -> list[Decoded]:
        if len(durations) == 1:
            # A live source gives one at a time, and a row of one costs more than it saves.
            return list(self._feed_single(durations[0] * scale))
        receiver = self._receiver or self._start(0)
        self._pull()
        return self._dress(receiver.feed_many(durations, scale))

    def _feed_single(self, duration: int) -> tuple[Decoded, ...]:
        receiver = self._receiver or self._start(0)
        decoded: tuple[Decoded, ...]
        if isinstance(receiver, Receiver):
            decoded = self._single("feed_duration", pushed_durations, receiver).send(duration)
            return decoded
        if duration < 0:
            raise HalfbitError(f"no whole numbers of ns from 0 up: {duration}")
        return tuple(self._dress(receiver.feed(duration)))

    def _start(self, time: int) -> AnyReceiver:
        self._receiver = receiver_for(self._limits, time)
        return self._receiver

    def _single(
        self, method: str, pushed: Callable[..., Generator[Any, Any, None]], receiver: Receiver
    ) -> Generator[Any, Any, None]:
        """What takes single changes for this method."""
        if method in self._pushed:
            return self._pushed[method]

        def check() -> None:
            self._check()
            self._pull(other_than=method)

        def over(late: tuple[Decoded, ...]) -> None:
            self._pending += late
            del self._pushed[method]  # the next change makes another
            self.__dict__.pop(method, None)

        self._pull()
        generator = pushed(receiver, self._limits, self._instructions.feed, check, over)
        next(generator)
        self._pushed[method] = generator
        if getattr(type(self), method) is getattr(StreamDecoder, method):
            # With no method of this class between, a call costs half.
            self.__dict__[method] = generator.send
        return generator

    def _pull(self, other_than: str = "") -> None:
        """Whatever single changes have left to be done is with the receiver after this."""
        for method, generator in self._pushed.items():
            if method != other_than:
                (stop_edges if method == "feed" else stop_durations)(generator)

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
