"""Layer 5: packets to instructions, with their context (S-9.2 B, S-9.2.1, S-9.2.3)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Union

import attrs

from ..error import HalfbitError
from ..event import Cutout, Fault, Packet, PacketEvent
from ..machine import run
from .address import UnresolvedAddress
from .base import (
    Configuration, Configurations, Context, Instruction, PacketContext, Repetition, checked_configurations,
    configurations_for, of_packet,
)  # fmt: skip
from .context import RepeatTracker, ServiceTracker, in_service_form
from .control import DigitalDecoderReset
from .registry import STANDARD, Registry
from .special import Ambiguous, Damaged

Event = Union[Instruction, Fault, Cutout]  #: The output of layer 5.

#: Most different packets in a memory of decoded packets. A layout with a hundred locomotives repeats a few hundred.
REMEMBERED = 2048

_context_of = lru_cache(REMEMBERED)(PacketContext)  # only a few different ones occur

@attrs.frozen
class _Reading:
    """The decoding of one packet's bytes, without the packet and its context, which vary."""

    instructions: tuple[Instruction, ...]
    configurations: tuple[Configuration, ...]
    needs_repeat: bool
    resets: bool


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
        # Packets decoded before. Without them the results are the same.
        self._operations: dict[bytes, _Reading] = {}
        self._service: dict[bytes, _Reading] = {}

    def feed(self, event: PacketEvent, /) -> tuple[Event, ...]:
        """Take the next packet, fault or cutout and return its instructions, or the fault or cutout itself.

        Nothing is ever held back.

        :raises HalfbitError: for anything else; the machine stays usable.
        """
        if isinstance(event, Packet):
            return self._packet(event)
        if isinstance(event, Fault):
            self._tracker.lose()
        elif not isinstance(event, Cutout):
            raise HalfbitError(f"{event!r} is no Packet, Fault or Cutout: feed what layer 4 gives, or Packet(data)")
        return (event,)

    def finish(self) -> tuple[Event, ...]:
        """End the signal. Always returns ``()``, because nothing is ever pending."""
        return ()

    def _packet(self, packet: Packet) -> tuple[Instruction, ...]:
        data, tracker = packet.data, self._tracker
        operations = self._operations.get(data) or self._read(data, service=False)
        if isinstance(operations.instructions[0], Damaged):
            # These are not the bytes that were sent, so every rule treats the packet as lost.
            tracker.lose()
            return self._made(operations, packet, Context.UNKNOWN)
        tracker.take(data, packet.end if packet.start or packet.end else None, operations.resets)
        context = tracker.context
        if context is Context.OPERATIONS or not in_service_form(data):
            return self._made(operations, packet, context, self._repeat(data, operations))
        service = self._service.get(data) or self._read(data, service=True)
        if context is Context.SERVICE:
            page = service.instructions[0].new_page
            if tracker.repetition is Repetition.REPEAT and page is not None:
                tracker.page = page
            return self._made(service, packet, context, tracker.repetition, tracker.page)
        # Both readings: the packet may be of service mode or of operations mode.
        as_operations = self._made(operations, packet, context, self._repeat(data, operations))
        first = as_operations[0]
        readings = first.readings if isinstance(first, Ambiguous) else (as_operations,)
        as_service = self._made(service, packet, context, tracker.repetition)
        either = Ambiguous(UnresolvedAddress(data[0]), (*readings, as_service), raw=data[1:-1])
        return (of_packet(either, packet, self._known(context)),)

    def _repeat(self, data: bytes, reading: _Reading) -> Repetition | None:
        return self._repeats.take(data, reading.instructions[0].address, reading.needs_repeat)

    def _read(self, data: bytes, *, service: bool) -> _Reading:
        """Decode and remember a packet. A full memory is emptied; packets that still occur are soon back in it."""
        memory = self._service if service else self._operations
        found = self._registry.decode_service(data) if service else self._registry.decode(data)
        if len(memory) >= REMEMBERED:
            memory.clear()
        memory[data] = _Reading(
            found, configurations_for(found[0].address, self._configurations),
            any(one.needs_repeat for one in found), any(isinstance(one, DigitalDecoderReset) for one in found),
        )  # fmt: skip
        return memory[data]

    def _made(
        self, reading: _Reading, packet: Packet, context: Context, repetition: Repetition | None = None,
        page: int | None = None,
    ) -> tuple[Instruction, ...]:  # fmt: skip
        """The instructions of a packet, with the packet and its context set."""
        known = self._known(context, repetition, page, reading.configurations)
        found = reading.instructions
        if isinstance(found[0], Ambiguous):
            readings = tuple(tuple(of_packet(one, packet, known) for one in each) for each in found[0].readings)
            return (of_packet(attrs.evolve(found[0], readings=readings), packet, known),)
        if repetition is None or len(found) == 1:
            return tuple([of_packet(one, packet, known) for one in found])
        single = self._known(context, None, page, reading.configurations)
        return tuple([of_packet(one, packet, known if one.needs_repeat else single) for one in found])

    def _known(
        self, context: Context, repetition: Repetition | None = None, page: int | None = None,
        configurations: tuple[Configuration, ...] = (),
    ) -> PacketContext:  # fmt: skip
        too_soon = self._tracker.too_soon and context is not Context.SERVICE
        return _context_of(context, repetition, too_soon, page, configurations)


def instructions(
    events: Iterable[PacketEvent], registry: Registry = STANDARD, *, configuration: Configurations = None,
    context: Context | None = None,
) -> Iterator[Event]:  # fmt: skip
    """The instructions of a signal in order, with faults and cutouts in between.

    The parameters are those of :class:`InstructionMachine`.

    :raises HalfbitError: as :class:`InstructionMachine` and its :meth:`~InstructionMachine.feed`.
    """
    machine = InstructionMachine(registry, configuration, context)
    if isinstance(events, Packet) or not isinstance(events, Iterable):
        raise HalfbitError(f"{events!r} is not a row of packets: give a list of them, or what packets() gives")
    return run(machine, events)
