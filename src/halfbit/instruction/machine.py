"""Layer 5: packets to instructions, in their context (S-9.2 B, S-9.2.1, S-9.2.3)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Union

from ..error import HalfbitError
from ..event import Cutout, Fault
from ..packet import Packet
from ..event import exclusive_or
from .address import UnresolvedAddress
from .base import Context, PacketContext, Instruction, Repetition, Template
from .configuration import Configuration
from .context import RepeatTracker, ServiceTracker, in_service_form, tells_nothing
from .registry import Registry
from .special import Ambiguous
from .standard import STANDARD

__all__ = ["Event", "InstructionMachine", "instructions"]

#: What comes out of layer 5.
Event = Union[Instruction, Fault, Cutout]

#: How many different packets are remembered with their decoding. A layout with a hundred
#: locomotives repeats a few hundred packets.
REMEMBERED = 2048

#: What is known beside most packets.
_IN_OPERATIONS = PacketContext(Context.OPERATIONS)


class _Reading:
    """The decoding of one packet's bytes in one context, without what varies from one time to the next."""

    __slots__ = ("common", "configuration", "instructions", "needs_repeat", "templates", "valid")

    def __init__(
        self, data: bytes, instructions: tuple[Instruction, ...], configuration: Configuration | None
    ) -> None:
        self.instructions = instructions
        self.templates = [Template(instruction) for instruction in instructions]
        self.needs_repeat = any(instruction.needs_repeat for instruction in instructions)
        own = configuration is not None and configuration.holds_for(instructions[0].address)
        self.configuration = configuration if own else None
        self.valid = exclusive_or(data) == 0
        #: How it is dressed where nothing is to be known beside it, if it can be so.
        self.common = None
        if len(instructions) == 1 and self.valid and not (self.needs_repeat or own) and tells_nothing(data):
            self.common = self.templates[0].dressed


class InstructionMachine:
    """Packets, faults and cutouts in; instructions, faults and cutouts out, in the same order.

    A packet gives at least one instruction. Whether it is read as one of service mode follows
    from the packets before it (S-9.2.3). In the form of service mode, with nothing before that
    tells, or after service mode was left and before operations resumed, it is :class:`Ambiguous`.

    :param registry: the instructions to look for.
    :param configuration: CV 29 of a decoder, for what packets alone do not tell.
    :param context: ``Context.OPERATIONS`` or ``Context.SERVICE`` to read every packet in that
        context, whatever comes before.
    :raises HalfbitError: for another context.
    """

    def __init__(
        self,
        registry: Registry = STANDARD,
        configuration: Configuration | None = None,
        context: Context | None = None,
    ) -> None:
        if context not in (None, Context.OPERATIONS, Context.SERVICE):
            raise HalfbitError(f"context: {context!r} is neither operations nor service mode")
        self._registry = registry
        self._configuration = configuration
        self._tracker = ServiceTracker(context)
        self._repeats = RepeatTracker()
        self._operations: dict[bytes, _Reading] = {}
        self._service: dict[bytes, _Reading] = {}
        self._evidence: dict[tuple[object, ...], PacketContext] = {}

    def feed(self, event: Packet | Fault | Cutout) -> tuple[Event, ...]:
        """Take the next packet, fault or cutout; nothing is ever held back.

        :raises HalfbitError: for anything else.
        """
        if isinstance(event, Packet):
            data = event.data
            operations = self._operations.get(data) or self._read(data, service=False)
            if operations.common is not None and not self._repeats.waiting and self._tracker.take_common(data):
                # Nearly all packets. The long way would give the same.
                return (operations.common(event, _IN_OPERATIONS),)
            return self._packet(event, operations)
        if isinstance(event, (Fault, Cutout)):
            return (event,)
        raise HalfbitError(f"{event!r} is no packet, fault or cutout")

    def finish(self) -> tuple[Event, ...]:
        """The capture is over; nothing can be pending."""
        return ()

    def _packet(self, packet: Packet, operations: _Reading) -> tuple[Instruction, ...]:
        data = packet.data
        if not operations.valid:
            # Its bytes are not what was sent, so they are no valid packet to any rule.
            return self._dress(operations, packet, Context.UNKNOWN, None)
        tracker = self._tracker
        tracker.take(data, packet.end if packet.start or packet.end else None)
        context = tracker.context
        if not in_service_form(data):
            return self._dress(operations, packet, context, self._repeat(data, operations))
        if context is Context.OPERATIONS:
            return self._dress(operations, packet, context, self._repeat(data, operations))
        service = self._service.get(data) or self._read(data, service=True)
        if context is Context.SERVICE:
            return self._in_service(service, packet)
        return self._ambiguous(operations, service, packet, context)

    def _in_service(self, reading: _Reading, packet: Packet) -> tuple[Instruction, ...]:
        tracker = self._tracker
        if tracker.repetition is Repetition.REPEAT:
            tracker.executed(reading.instructions[0])
        return self._dress(reading, packet, Context.SERVICE, tracker.repetition, tracker.page)

    def _ambiguous(
        self, operations: _Reading, service: _Reading, packet: Packet, context: Context
    ) -> tuple[Instruction, ...]:
        repetition = self._repeat(packet.data, operations)
        return (
            Ambiguous(
                UnresolvedAddress(packet.data[0]),
                self._dress(operations, packet, context, repetition),
                self._dress(service, packet, context, self._tracker.repetition),
                packet=packet,
                evidence=self._known(context, None, None, None),
            ),
        )

    def _repeat(self, data: bytes, reading: _Reading) -> Repetition | None:
        return self._repeats.take(data, reading.instructions[0].address, reading.needs_repeat)

    def _read(self, data: bytes, *, service: bool) -> _Reading:
        """Decode, and remember it. A full memory is emptied: what still comes is soon back in it."""
        memory = self._service if service else self._operations
        registry = self._registry
        found = registry.decode_service(data) if service else registry.decode(data)
        if len(memory) >= REMEMBERED:
            memory.clear()
        reading = memory[data] = _Reading(data, found, self._configuration)
        return reading

    def _dress(
        self,
        reading: _Reading,
        packet: Packet,
        context: Context,
        repetition: Repetition | None,
        page: int | None = None,
    ) -> tuple[Instruction, ...]:
        known = self._known(context, repetition, page, reading.configuration)
        if repetition is None or len(reading.templates) == 1:
            return tuple([one.dressed(packet, known) for one in reading.templates])
        single = self._known(context, None, page, reading.configuration)
        return tuple(
            one.dressed(packet, known if one.instruction.needs_repeat else single)
            for one in reading.templates
        )

    def _known(
        self,
        context: Context,
        repetition: Repetition | None,
        page: int | None,
        configuration: Configuration | None,
    ) -> PacketContext:
        hold_off = self._tracker.hold_off and context is not Context.SERVICE
        key = (context, repetition, hold_off, page, configuration is None)
        known = self._evidence.get(key)
        if known is None:
            known = PacketContext(context, repetition, hold_off, page, configuration)
            self._evidence[key] = known
        return known


def instructions(
    events: Iterable[Packet | Fault | Cutout],
    registry: Registry = STANDARD,
    *,
    configuration: Configuration | None = None,
    context: Context | None = None,
) -> Iterator[Event]:
    """The instructions of a signal, in order, with faults and cutouts in their places.

    The parameters are those of :class:`InstructionMachine`.
    """
    machine = InstructionMachine(registry, configuration, context)
    for event in events:
        yield from machine.feed(event)
    yield from machine.finish()
