"""Layer 5: packets to instructions, with their context (S-9.2 B, S-9.2.1, S-9.2.3)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Union

from ..error import HalfbitError
from ..event import Cutout, Fault, Packet, PacketEvent
from ..machine import run
from .address import UnresolvedAddress
from .base import Context, Instruction, PacketContext, Repetition, setters
from .configuration import Configuration, Configurations, checked_configurations, configurations_for
from .context import RepeatTracker, ServiceTracker, in_service_form, tells_nothing
from .registry import Registry
from .special import Ambiguous, Damaged
from .standard import STANDARD

__all__ = ["Event", "InstructionMachine", "instructions"]

#: The output of layer 5.
Event = Union[Instruction, Fault, Cutout]

#: Most different packets in a memory of decoded packets. A layout with a hundred locomotives
#: repeats a few hundred packets.
REMEMBERED = 2048

#: The context of most packets.
_IN_OPERATIONS = PacketContext(Context.OPERATIONS)


#: The fields that can differ between two packets with the same bytes.
_VARYING = ("packet", "packet_context")


def _copier(instruction: Instruction) -> Callable[[Packet, PacketContext], Instruction]:
    """A function that copies an instruction for another packet with the same bytes.

    ``attrs.evolve`` would do the same, but it checks every field again and takes several times as long.
    """
    kind, puts = type(instruction), setters(type(instruction))
    same = [(put, getattr(instruction, name)) for name, put in puts.items() if name not in _VARYING]
    put_packet, put_context = (puts[name] for name in _VARYING)

    def copy(packet: Packet, packet_context: PacketContext) -> Instruction:
        new = object.__new__(kind)
        for put, value in same:
            put(new, value)
        put_packet(new, packet)
        put_context(new, packet_context)
        return new

    return copy


class _Reading:
    """The decoding of one packet's bytes, without the packet and its context, which vary."""

    __slots__ = ("common", "configurations", "copiers", "damaged", "either", "instructions", "needs_repeat", "resets")

    def __init__(self, data: bytes, found: tuple[Instruction, ...], configurations: tuple[Configuration, ...]) -> None:
        self.instructions = found
        self.configurations = configurations
        self.copiers = [_copier(instruction) for instruction in found]
        self.needs_repeat = any(instruction.needs_repeat for instruction in found)
        self.resets = any(instruction.resets_decoder for instruction in found)
        self.damaged = isinstance(found[0], Damaged)
        self.either = isinstance(found[0], Ambiguous)
        plain = not (self.needs_repeat or self.resets or configurations or self.damaged or self.either)
        #: For packets that need no context: the copiers. Else ``None``.
        self.common = self.copiers if plain and tells_nothing(data) else None


class InstructionMachine:
    """Packets, faults and cutouts in; instructions, faults and cutouts out, in the same order.

    A packet gives at least one instruction. The packets before it decide if it is a service mode packet (S-9.2.3). A
    packet in the form of service mode is :class:`Ambiguous` in two cases: the mode is not known, or service mode was
    left and operations have not resumed.

    A machine can be copied and pickled at any point; the copy continues from there.

    :param registry: the instructions to look for.
    :param configuration: CVs that change the meaning of packets: one :class:`Configuration` for all
        multi-function decoders, or a mapping of address to configuration (:class:`Broadcast` for all others).
    :param context: ``Context.OPERATIONS`` or ``Context.SERVICE`` to read every packet in that
        context, regardless of earlier packets; ``None`` to track the context.
    :raises HalfbitError: for other values.
    """

    def __init__(
        self, registry: Registry = STANDARD, configuration: Configurations = None, context: Context | None = None
    ) -> None:
        if not isinstance(registry, Registry):
            raise HalfbitError(f"registry: {registry!r} is no Registry: give STANDARD, or STANDARD.extended(...)")
        if context not in (None, Context.OPERATIONS, Context.SERVICE):
            raise HalfbitError(f"context: {context!r} is neither Context.OPERATIONS nor Context.SERVICE nor None")
        self._registry = registry
        self._configurations = checked_configurations(configuration)
        self._tracker = ServiceTracker(context)
        self._repeats = RepeatTracker()
        self._forget()

    def _forget(self) -> None:
        """Empty the memories. This changes no result; packets are decoded again."""
        self._operations: dict[bytes, _Reading] = {}
        self._service: dict[bytes, _Reading] = {}
        self._contexts: dict[tuple[object, ...], PacketContext] = {}

    def __getstate__(self) -> dict[str, Any]:
        return {name: vars(self)[name] for name in ("_registry", "_configurations", "_tracker", "_repeats")}

    def __setstate__(self, state: dict[str, Any]) -> None:
        vars(self).update(state)
        self._forget()

    def feed(self, event: PacketEvent, /) -> tuple[Event, ...]:
        """Take the next packet, fault or cutout and return its instructions, or the fault or cutout itself.

        Nothing is ever held back.

        :raises HalfbitError: for anything else; the machine stays usable.
        """
        if isinstance(event, Packet):
            data = event.data
            operations = self._operations.get(data) or self._read(data, service=False)
            common = operations.common
            if common is not None and not self._repeats.waiting and self._tracker.take_common(data):
                # A shortcut for nearly all packets. `_packet` would give the same.
                return (common[0](event, _IN_OPERATIONS),) if len(common) == 1 else tuple(
                    [copy(event, _IN_OPERATIONS) for copy in common]
                )
            return self._packet(event, operations)
        if isinstance(event, Fault):
            self._tracker.lose()
            return (event,)
        if isinstance(event, Cutout):
            return (event,)
        raise HalfbitError(f"{event!r} is no Packet, Fault or Cutout: feed what layer 4 gives, or Packet(data)")

    def finish(self) -> tuple[Event, ...]:
        """End the signal. Always returns ``()``, because nothing is ever pending."""
        return ()

    def _packet(self, packet: Packet, operations: _Reading) -> tuple[Instruction, ...]:
        data = packet.data
        if operations.damaged:
            # These are not the bytes that were sent, so every rule treats the packet as lost.
            self._tracker.lose()
            return self._make(operations, packet, Context.UNKNOWN, None)
        tracker = self._tracker
        tracker.take(data, packet.end if packet.start or packet.end else None, operations.resets)
        context = tracker.context
        if context is Context.OPERATIONS or not in_service_form(data):
            return self._make(operations, packet, context, self._repeat(data, operations))
        service = self._service.get(data) or self._read(data, service=True)
        if context is Context.SERVICE:
            return self._in_service(service, packet)
        return self._either(operations, service, packet, context)

    def _in_service(self, reading: _Reading, packet: Packet) -> tuple[Instruction, ...]:
        tracker = self._tracker
        page = reading.instructions[0].new_page
        if tracker.repetition is Repetition.REPEAT and page is not None:
            tracker.page = page
        return self._make(reading, packet, Context.SERVICE, tracker.repetition, tracker.page)

    def _either(
        self, operations: _Reading, service: _Reading, packet: Packet, context: Context
    ) -> tuple[Instruction, ...]:
        """Both readings of a packet that may be a service mode or an operations mode packet."""
        as_operations = self._make(operations, packet, context, self._repeat(packet.data, operations))
        first = as_operations[0]
        readings = first.readings if isinstance(first, Ambiguous) else (as_operations,)
        as_service = self._make(service, packet, context, self._tracker.repetition)
        known = self._known(context, None, None, ())
        address, raw = UnresolvedAddress(packet.data[0]), packet.data[1:-1]
        return (Ambiguous(address, (*readings, as_service), raw=raw, packet=packet, packet_context=known),)

    def _repeat(self, data: bytes, reading: _Reading) -> Repetition | None:
        return self._repeats.take(data, reading.instructions[0].address, reading.needs_repeat)

    def _read(self, data: bytes, *, service: bool) -> _Reading:
        """Decode and remember a packet. A full memory is emptied; packets that still occur are soon back in it."""
        memory = self._service if service else self._operations
        found = self._registry.decode_service(data) if service else self._registry.decode(data)
        if len(memory) >= REMEMBERED:
            memory.clear()
        configurations = configurations_for(found[0].address, self._configurations)
        reading = memory[data] = _Reading(data, found, configurations)
        return reading

    def _make(
        self,
        reading: _Reading,
        packet: Packet,
        context: Context,
        repetition: Repetition | None,
        page: int | None = None,
    ) -> tuple[Instruction, ...]:
        """The instructions of a packet, with the packet and its context set."""
        known = self._known(context, repetition, page, reading.configurations)
        if repetition is None or len(reading.copiers) == 1:
            made = [copy(packet, known) for copy in reading.copiers]
        else:
            single = self._known(context, None, page, reading.configurations)
            both = zip(reading.instructions, reading.copiers)
            made = [copy(packet, known if one.needs_repeat else single) for one, copy in both]
        return tuple(map(_within, made)) if reading.either else tuple(made)

    def _known(
        self,
        context: Context,
        repetition: Repetition | None,
        page: int | None,
        configurations: tuple[Configuration, ...],
    ) -> PacketContext:
        too_soon = self._tracker.too_soon and context is not Context.SERVICE
        key = (context, repetition, too_soon, page, configurations)
        known = self._contexts.get(key)
        if known is None:
            known = self._contexts[key] = PacketContext(context, repetition, too_soon, page, configurations)
        return known


def _within(either: Instruction) -> Instruction:
    """The same instruction, with its packet and context also set in the instructions of its readings."""
    packet, known = either.packet, either.packet_context
    assert isinstance(either, Ambiguous) and packet is not None
    readings = tuple(tuple(_copier(one)(packet, known) for one in reading) for reading in either.readings)
    return Ambiguous(either.address, readings, raw=either.raw, packet=packet, packet_context=known)


def instructions(
    events: Iterable[PacketEvent],
    registry: Registry = STANDARD,
    *,
    configuration: Configurations = None,
    context: Context | None = None,
) -> Iterator[Event]:
    """The instructions of a signal in order, with faults and cutouts in between.

    The parameters are those of :class:`InstructionMachine`.

    :raises HalfbitError: as :class:`InstructionMachine` and its :meth:`~InstructionMachine.feed`.
    """
    machine = InstructionMachine(registry, configuration, context)
    if isinstance(events, Packet) or not isinstance(events, Iterable):
        raise HalfbitError(f"{events!r} is not a row of packets: give a list of them, or what packets() gives")
    return run(machine, events)
