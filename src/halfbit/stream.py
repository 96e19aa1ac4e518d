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
from .push_taken import whole
from .receive import Receiver

__all__ = ["Decoded", "StreamDecoder", "decode"]

#: What decoding gives.
Decoded = Union[Instruction, Fault, Cutout]

#: How the methods for single changes are made fast, and what has all that is kept given to the receiver.
_SINGLE: dict[str, tuple[Callable[..., Generator[Any, Any, None]], Callable[..., HalfbitError | None]]] = {
    "feed": (pushed, stop_edges),
    "feed_duration": (pushed_durations, stop_durations),
}


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
        # What is decoded, but was not given because of an error; and an error that was not raised, because of another.
        self._pending: list[Decoded] = []
        self._untold: HalfbitError | None = None
        # What makes one of the methods for single changes fast, by its name.
        self._pushed: dict[str, Generator[Any, Any, None]] = {}

    def feed(self, edge: Edge, /) -> tuple[Decoded, ...]:
        """Take the next change.

        From the second call on, a decoder's ``feed`` is a faster function with the same meaning. It may
        be kept for a loop; after an error of its own it only raises ``StopIteration``, and ``feed`` must be asked for
        anew. What a call that raised had decoded comes out first.

        :raises HalfbitError: where it lies before the one before, or the decoder is finished; or as
            :meth:`feed_duration` says.
        """
        self._check()
        receiver = self._receiver
        if receiver is None:
            self._start(edge.time)
            return ()
        decoded: Sequence[Decoded]
        if isinstance(receiver, Receiver):
            decoded = self._single("feed", receiver).send(edge)
        elif edge.time < receiver.now:
            raise HalfbitError(f"edge at {edge.time} ns lies before the one at {receiver.now} ns")
        else:
            decoded = self._dress(receiver.feed(edge.time - receiver.now))
        return self._with_pending(decoded)

    def feed_duration(self, duration: int, /) -> tuple[Decoded, ...]:
        """Take the next change, by how long after the one before it comes.

        The first call gives both changes, the first of them at 0 ns. This is the fastest way for single changes, and
        may be mixed with the others. It may be kept for a loop as :meth:`feed` may.

        Not every number is looked at when it comes. So the error for one that is no duration may be raised by a later
        call of this method, or by :meth:`finish`: it says by how many, at most some thousands. All other durations are
        taken, also that call's and those before it.

        Where an exception comes in between, a ``KeyboardInterrupt`` or what a signal's handler raises, durations may
        be lost or taken twice. Then the next call of any method raises an error that says so, once, and takes nothing.

        :param duration: whole ns, 0 or more.
        :raises HalfbitError: where one is none, or the decoder is finished; and after such an exception.
        """
        self._check()
        if self._receiver is None:
            whole(duration)  # else a wrong number would start the signal
        return self._with_pending(self._feed_single(duration))

    def feed_many(self, edges: Iterable[Edge]) -> list[Decoded]:
        """Take many changes. An :class:`Edges` is taken in bulk, and goes on from the last change.

        So durations can be fed a portion at a time. Times can't: what lies between two portions would be
        left out. Let one :class:`EdgeMachine` take those.

        An error does not lose what was decoded before it: that comes out of the next call.

        :raises HalfbitError: where a change lies before the one before, or the decoder is finished; or as
            :meth:`feed_duration` says.
        """
        self._check()
        # Where a number fed before was no duration, the next single one would raise that, amid sound ones.
        singly = isinstance(edges, Edges) and self._pull() is None
        decoded = list(self._with_pending(()))
        try:
            if isinstance(edges, Edges):
                for durations, scale in edges.durations():
                    decoded += self._feed_durations(durations, scale, singly)
            else:
                for edge in edges:
                    decoded += self.feed(edge)
        except BaseException:
            self._pending[:0] = decoded
            self._pull()
            raise
        return decoded

    def finish(self) -> tuple[Decoded, ...]:
        """The signal is over: what was pending is cut or lost. Nothing can be fed after.

        :raises HalfbitError: where the decoder is finished; where a number was no duration, and no call could say
            so yet; or as :meth:`feed_duration` says. But for the first it can be called again.
        """
        self._check()
        wrong = self._pull()
        if wrong is not None:
            self._pushed["feed_duration"].close()  # it would say it again
            raise wrong
        for method in self._pushed:
            self.__dict__.pop(method, None)
        self._finished = True
        events = () if self._receiver is None else self._receiver.finish()
        return (*self._pending, *self._dress(events), *self._instructions.finish())

    def _feed_durations(self, durations: Sequence[int], scale: int, singly: bool = True) -> list[Decoded]:
        """:param singly: a row of one may be fed as a single duration: a live source gives one at a time."""
        if singly and len(durations) == 1:
            return list(self._feed_single(durations[0] * scale))
        receiver = self._receiver or self._start(0)
        self._pull()
        return self._dress(receiver.feed_many(durations, scale))

    def _feed_single(self, duration: int) -> Sequence[Decoded]:
        receiver = self._receiver or self._start(0)
        if isinstance(receiver, Receiver):
            decoded: tuple[Decoded, ...] = self._single("feed_duration", receiver).send(duration)
            return decoded
        return self._dress(receiver.feed(whole(duration)))

    def _with_pending(self, decoded: Sequence[Decoded]) -> tuple[Decoded, ...]:
        """What could not be given before, and this."""
        together = (*self._pending, *decoded)
        self._pending.clear()
        return together

    def _start(self, time: int) -> AnyReceiver:
        self._receiver = receiver_for(self._limits, time)
        return self._receiver

    def _single(self, method: str, receiver: Receiver) -> Generator[Any, Any, None]:
        """What takes single changes for this method."""
        if method in self._pushed:
            return self._pushed[method]
        pushed, _ = _SINGLE[method]

        def check() -> None:
            self._check()
            self._pull(other_than=method)

        def over(untold: HalfbitError | None) -> None:
            self._pushed.pop(method, None)  # the next change makes another
            self.__dict__.pop(method, None)
            self._untold = self._untold or untold

        self._pull()
        generator = pushed(receiver, self._limits, self._instructions.feed, self._pending, check, over)
        next(generator)
        self._pushed[method] = generator
        if getattr(type(self), method) is getattr(StreamDecoder, method):
            # With no method of this class between, a call costs half.
            self.__dict__[method] = generator.send
        return generator

    def _pull(self, other_than: str = "") -> HalfbitError | None:
        """Whatever single changes have left to be done is with the receiver after this.

        :returns: what the next single duration will raise.
        """
        wrong: HalfbitError | None = None
        for method, generator in self._pushed.items():
            if method != other_than:
                wrong = _SINGLE[method][1](generator) or wrong
        return wrong

    def _check(self) -> None:
        if self._finished:
            raise HalfbitError("the decoder is finished: make a new one for another signal")
        if self._untold is not None:
            untold, self._untold = self._untold, None
            raise untold

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
