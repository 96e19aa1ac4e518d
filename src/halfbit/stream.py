"""All layers in one: raw level changes in; instructions, faults and cutouts out.

``decision`` chooses the receiver by the limits; it is usually the one in ``receiver/``. The receiver turns changes into
packets, and ``instruction/`` turns packets into instructions. The machines of the single layers (``half_bit.py``,
``bit.py``, ``packet.py``) are not used here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from .decision import AnyReceiver, receiver_for
from .edge import Edge, Edges, not_an_edge
from .error import HalfbitError
from .event import PacketEvent
from .instruction import STANDARD, Configurations, Context, Event, InstructionMachine, Registry
from .limits import RECEIVE, Limits, checked
from .unit import whole


class StreamDecoder:
    """Level changes in, in any portions; instructions, faults and cutouts out.

    All layers in one. No half-bit or bit objects are made on the way, but the events are the same as from the machines
    of the single layers, one after the other. However the changes are cut into portions, the events are the same. A
    decoder can be copied and pickled at any point, and goes on from there.

    :param limits: the windows and counts for the signal.
    :param registry: the instructions to look for.
    :param configuration: the configuration of the decoders, or a mapping of addresses to configurations. Without it,
        instructions that depend on CV 29 carry both readings.
    :param context: forces operations or service mode. Without it the packets decide (S-9.2.3 E).
    """

    def __init__(
        self, limits: Limits = RECEIVE, *, registry: Registry = STANDARD, configuration: Configurations | None = None,
        context: Context | None = None,
    ) -> None:  # fmt: skip
        self._limits = checked(limits)
        self._receiver: AnyReceiver | None = None
        self._instructions = InstructionMachine(registry, configuration, context)
        self._finished = False
        self._pending: list[Event] = []  #: Decoded by a call that raised an error, and not given yet.

    @property
    def now(self) -> int | None:
        """The time of the last change, ns; ``None`` before the first."""
        return None if self._receiver is None else self._receiver.now

    def feed(self, edge: Edge, /) -> tuple[Event, ...]:
        """Take the next level change.

        Most calls return an empty tuple. The call with the last change of a packet returns its instructions. A fault
        comes later: where the loss ends is only known when the next preamble is complete.

        :param edge: the change; only its time counts, in ns, not its level.
        :returns: instructions, faults and cutouts that are complete with this change.
        :raises HalfbitError: if it is not an :class:`Edge`, or its time is not an integer or lies before the last
            change. Nothing is changed then, and the decoder can go on. Also if the decoder is finished.
        """
        if not isinstance(edge, Edge):
            raise not_an_edge(edge, ", or give durations to feed_duration")
        time = edge.time
        if type(time) is not int:
            time = whole(time, "time of an edge")
        if self._finished:
            raise _is_finished()
        receiver = self._receiver
        if receiver is None:
            self._receiver = receiver_for(self._limits, time)
            return self._take_pending()
        duration = time - receiver.now
        if duration < 0:
            problem = f"edge at {time} ns comes before the one at {receiver.now} ns"
            raise HalfbitError(f"{problem}: feed edges in order of time")
        events = receiver.feed(duration)
        return self._decoded(events) if events or self._pending else ()

    def feed_duration(self, duration: int, /) -> tuple[Event, ...]:
        """Take the next level change, given as the time since the change before it.

        The first call also sets the change before it, at 0 ns. Calls may be mixed with :meth:`feed`, which says when
        events come. For the ticks of a timer, :class:`EdgeMachine` makes edges.

        :param duration: ns, an integer from 0 up.
        :returns: instructions, faults and cutouts that are complete with this change.
        :raises HalfbitError: if the duration is not an integer from 0 up. Nothing is changed then, and the decoder can
            go on. Also if the decoder is finished.
        """
        if type(duration) is not int:
            duration = whole(duration, "duration")
        if duration < 0:
            raise HalfbitError(f"duration {duration!r} is negative: give ns since the change before, 0 or more")
        if self._finished:
            raise _is_finished()
        events = (self._receiver or self._start()).feed(duration)
        return self._decoded(events) if events or self._pending else ()

    def feed_many(self, edges: Iterable[Edge], /) -> list[Event]:
        """Take many level changes.

        An :class:`Edges` is decoded fast, and continues from the last change: the time from the last change to its
        first one is 0. So a signal can be fed as durations, a portion at a time. Times cannot: the time between two
        portions would be lost. Feed the :class:`Edge` values of one :class:`EdgeMachine` instead.

        :returns: instructions, faults and cutouts that are complete with these changes.
        :raises HalfbitError: as :meth:`feed`. The changes before the wrong one are taken, and the events that they
            completed come out of the next call.
        """
        if self._finished:
            raise _is_finished()
        decoded = list(self._take_pending())
        try:
            for events in self._portions(edges):
                decoded += events
        except BaseException:
            self._pending[:0] = decoded
            raise
        return decoded

    def finish(self) -> tuple[Event, ...]:
        """End the signal. An incomplete packet becomes a fault. Nothing can be fed after this.

        :raises HalfbitError: if the decoder is finished.
        """
        if self._finished:
            raise _is_finished()
        self._finished = True
        events = () if self._receiver is None else self._receiver.finish()
        return self._decoded(events) + self._instructions.finish()

    def _portions(self, edges: Iterable[Edge]) -> Iterator[Sequence[Event]]:
        """Take level changes, a row or a single one at a time; give what is complete with each portion."""
        if isinstance(edges, Edges):
            for durations, scale in edges._rows():
                yield self._instructions_of((self._receiver or self._start()).feed_many(durations, scale))
            return
        try:
            singly = iter(edges)
        except TypeError:
            raise HalfbitError(f"{edges!r} is not a row of edges: give an Edges, or Edge values") from None
        yield from map(self.feed, singly)

    def _start(self) -> AnyReceiver:
        """The receiver of a signal whose first change is at 0 ns."""
        self._receiver = receiver_for(self._limits, 0)
        return self._receiver

    def _decoded(self, events: Sequence[PacketEvent]) -> tuple[Event, ...]:
        return (*self._take_pending(), *self._instructions_of(events))

    def _instructions_of(self, events: Sequence[PacketEvent]) -> list[Event]:
        feed = self._instructions.feed
        return [decoded for event in events for decoded in feed(event)]

    def _take_pending(self) -> tuple[Event, ...]:
        pending = tuple(self._pending)
        self._pending.clear()
        return pending


def _is_finished() -> HalfbitError:
    return HalfbitError("the decoder is finished: make a new one for another signal")


def decode(
    edges: Iterable[Edge], limits: Limits = RECEIVE, *, registry: Registry = STANDARD,
    configuration: Configurations | None = None, context: Context | None = None,
) -> Iterator[Event]:  # fmt: skip
    """The instructions of a signal, in order, with faults and cutouts in their places.

    The parameters are those of :class:`StreamDecoder`. Edges from an iterator are taken one at a time, so that a live
    source is decoded as it comes.

    Without ``limits`` the signal must keep the limits of the standard (S-9.1 A, table 1). The command line first looks
    at the signal and chooses limits that fit it; :func:`auto_limits` does the same here.

    :raises HalfbitError: as :meth:`StreamDecoder.feed`, once the wrong edge is reached.
    """
    decoder = StreamDecoder(limits, registry=registry, configuration=configuration, context=context)
    for events in decoder._portions(edges):
        yield from events
    yield from decoder.finish()
