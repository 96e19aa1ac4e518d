"""What both kinds of decoder share: packets in, service mode, the second identical packet, access to CVs."""

from __future__ import annotations

import abc
from typing import Any, ClassVar, Union

import attrs

from ..error import HalfbitError
from ..event import Cutout, Fault, Packet, exclusive_or
from ..instruction import (
    STANDARD,
    Ambiguous,
    Context,
    CvAccess,
    CvShortFormPair,
    DecoderKind,
    ExtendedCvAccess,
    FactoryReset,
    Instruction,
    NoAddress,
    PacketContext,
    RegisterAccess,
)
from ..instruction.context import HOLD, ServiceTracker, in_service_form
from ..instruction.service import PAGE_REGISTER
from .cv import CvStore
from .effect import Acknowledgement, Answer, CvRefused, Effect, FactoryResetDone, ModeChanged

__all__ = ["Access", "DecoderMachine", "Heard", "access_of"]

#: How many packets are remembered with their decoding.
REMEMBERED = 512

Event = Union[Packet, Instruction, Fault, Cutout]


@attrs.frozen(slots=True)
class Access:
    """An access to a CV, in whichever form it was sent."""

    cv: int
    write: bool
    value: int
    #: Which bit; ``None``: the whole byte.
    bit: int | None = None

    def written(self, old: int) -> int:
        """What a CV holds after it."""
        if self.bit is None:
            return self.value
        mask = 1 << self.bit
        return old | mask if self.value else old & ~mask

    def agrees(self, held: int) -> bool:
        """True if what is to be verified is so."""
        return held == self.value if self.bit is None else held >> self.bit & 1 == self.value


def access_of(instruction: CvAccess, kind: DecoderKind | None = None, page: int | None = None) -> Access | None:
    """The access that an instruction asks of a decoder; ``None`` if the CV is not known, or is not there.

    The legacy form counts as a write: the packet does not say (S-9.2.1 appendix A).

    :param kind: the kind of decoder, on which the CV of a register depends.
    :param page: its page register.
    """
    value = instruction.value
    if isinstance(instruction, RegisterAccess):
        here = attrs.evolve(instruction, packet_context=PacketContext(page=page))
        cv = next((one.cv for one in here.targets if one.decoder in (None, kind)), None)
    else:
        cv = instruction.cv
    if cv is None or value is None or isinstance(instruction, (CvShortFormPair, ExtendedCvAccess)):
        return None
    return Access(cv, instruction.writes is not False, int(value), instruction.position)


@attrs.frozen(slots=True)
class Heard:
    """What a decoder remembers of the packets before: with it, a saved decoder goes on as if nothing had happened."""

    #: When the last packet, fault, cutout or tick was, ns.
    now: int = 0
    #: When the last valid packet ended, ns.
    valid: int = 0
    #: When service mode was last kept up, ns; ``None``: never.
    kept: int | None = None
    #: The last valid packet.
    last: bytes = b""
    #: How many times in a row it came.
    run: int = 0
    #: The last packet to this decoder in operations.
    own: bytes = b""
    #: How many times it came with no other packet to this decoder between.
    own_run: int = 0


class DecoderMachine(abc.ABC):
    """A decoder's rules for packets, whatever it drives.

    What the text leaves open: exactly the second of several identical packets acts, the third and later ones do
    nothing. A torn packet does not come between two others, for only valid ones are named. The packet that ends
    service mode is itself acted on, and operations resume with it.
    """

    _kind: ClassVar[DecoderKind]

    def __init__(self, store: CvStore) -> None:
        self._store = store
        #: The page register; ``None`` for accessory decoders, whose register 6 is undefined (S-9.2.3 E).
        self._page: int | None = 1 if self._kind is DecoderKind.MULTI_FUNCTION else None
        self._service = ServiceTracker()
        self._service.context = Context.OPERATIONS  # no decoder powers up in service mode
        self._heard = Heard()
        self._read: dict[bytes, tuple[Instruction, ...]] = {}
        self._taken: Packet | None = None  # the packet whose instructions are being fed

    @property
    def cvs(self) -> CvStore:
        """Its CVs."""
        return self._store

    @property
    def mode(self) -> Context:
        """OPERATIONS, SERVICE, or LEFT until operations resume."""
        return self._service.context

    def feed(self, event: Event) -> tuple[Effect, ...]:
        """Take the next packet, fault or cutout; give what the decoder does at its end.

        An instruction that was decoded stands for its packet, so that what :func:`halfbit.decode` gives can be fed. Of
        several instructions of one packet the first one counts.

        :raises HalfbitError: for anything else, for an instruction without its packet, and if the event ends before the
            one before it.
        """
        if isinstance(event, Instruction):
            if event.packet is None:
                raise HalfbitError(f"{event!r} has no packet: feed Packet(STANDARD.encode(instruction), end=...)")
            if event.packet is self._taken:
                return ()
            event = event.packet
        if not isinstance(event, (Packet, Fault, Cutout)):
            raise HalfbitError(f"{event!r} is no packet, instruction, fault or cutout")
        effects = list(self.tick(event.end))
        if isinstance(event, Packet):
            self._taken = event
            if len(event.data) > 2 and exclusive_or(event.data) == 0:
                before = self._shown()
                effects += self._packet(event.data, event.end)
                effects += self._changes(before)
        return tuple(effects)

    def tick(self, now: int) -> tuple[Effect, ...]:
        """Let time pass without a packet.

        :param now: ns, on the clock of the packets. Call it as often as effects are to be on time.
        :raises HalfbitError: if it lies before the last event.
        """
        if now < self._heard.now:
            raise HalfbitError(f"{now} ns comes before {self._heard.now} ns: give events in order of time")
        self._heard = attrs.evolve(self._heard, now=now)
        effects: list[Effect] = []
        if self._service.expired(now):
            self._service.restore(Context.LEFT, self._heard.last, self._heard.kept)
            effects.append(ModeChanged(Context.LEFT))
        before = self._shown()
        effects += self._passed(now)
        return (*effects, *self._changes(before))

    @property
    def due(self) -> int | None:
        """When :meth:`tick` will next have an effect if no packet comes before, ns; ``None``: never."""
        kept = self._service.kept_end
        times = self._deadlines()
        if self.mode is Context.SERVICE and kept is not None:
            times.append(kept + HOLD)
        return min(times, default=None)

    @abc.abstractmethod
    def _deadlines(self) -> list[int]:
        """When time alone will have effects."""

    @abc.abstractmethod
    def _passed(self, now: int) -> list[Effect]:
        """What else follows from the time."""

    @abc.abstractmethod
    def _shown(self) -> Any:
        """What shows on the outside."""

    @abc.abstractmethod
    def _changes(self, before: Any) -> list[Effect]:
        """Effects of what shows otherwise than before."""

    @abc.abstractmethod
    def _obey(self, instructions: tuple[Instruction, ...], data: bytes, end: int) -> list[Effect]:
        """Act on a packet in operations."""

    def _packet(self, data: bytes, end: int) -> list[Effect]:
        before = self._heard
        run = before.run + 1 if data == before.last else 1
        mode = self._service.context
        self._service.take(data, end, resets=False)
        now_in = self._service.context
        effects: list[Effect] = []
        if now_in is not mode:
            effects.append(ModeChanged(now_in))
            if now_in is Context.SERVICE:
                before = attrs.evolve(before, own=b"", own_run=0)
        self._heard = attrs.evolve(before, valid=end, kept=self._service.kept_end, last=data, run=run)
        if in_service_form(data) and now_in is not Context.OPERATIONS:
            if now_in is Context.SERVICE and run == 2:
                for instruction in STANDARD.decode_service(data):
                    effects += self._execute(instruction)
        elif now_in is Context.OPERATIONS:
            instructions = self._instructions(data)
            if instructions:
                effects += self._obey(instructions, data, end)
        return effects

    def _instructions(self, data: bytes) -> tuple[Instruction, ...]:
        found = self._read.get(data)
        if found is None:
            if len(self._read) >= REMEMBERED:
                self._read.clear()
            found = STANDARD.decode(data)
            if isinstance(found[0], Ambiguous):  # two documents differ: the one that was read counts
                found = next((one for one in found[0].readings if not _from_memory(one)), ())
            self._read[data] = found
        return found

    def _second(self, data: bytes) -> bool:
        """Note a packet to this decoder; True if it is the second identical one (S-9.2.1 C)."""
        heard = self._heard
        run = heard.own_run + 1 if data == heard.own else 1
        self._heard = attrs.evolve(heard, own=data, own_run=run)
        return run == 2

    def _in_operations(self, access: Access, second: bool) -> list[Effect]:
        """Verify at once, write with the second identical packet; both are answered (S-9.2.1 C and E).

        A verify is answered with the value whether or not it agrees, which the text leaves open. A write is answered
        with what was written, also by the short form.
        """
        store, cv = self._store, access.cv
        if not access.write:
            value = store.get(cv)
            return [] if value is None else [Answer(cv, value)]
        if not second:
            return []
        new = access.written(store.base(cv))
        effects: list[Effect] = [*store.write(cv, new)]
        return effects if isinstance(effects[-1], CvRefused) else [*effects, Answer(cv, new)]

    def _execute(self, instruction: Instruction) -> list[Effect]:
        """Act in service mode (S-9.2.3 E)."""
        if isinstance(instruction, FactoryReset):
            return self._factory_reset()
        if instruction.new_page is not None and self._page is not None:
            self._page = instruction.new_page
            return [Acknowledgement()]
        if not isinstance(instruction, CvAccess):
            return []
        access = access_of(instruction, self._kind, self._page)
        if access is not None:
            return self._in_service(access)
        paged = isinstance(instruction, RegisterAccess) and instruction.register == PAGE_REGISTER
        return [Acknowledgement()] if paged and instruction.value == self._page else []

    def _in_service(self, access: Access) -> list[Effect]:
        """Write or verify; acknowledge what was done or is so (S-9.2.3)."""
        store, cv = self._store, access.cv
        value = store.get(cv)
        if value is None:
            return []
        if not access.write:
            return [Acknowledgement()] if access.agrees(value) else []
        effects: list[Effect] = [*store.write(cv, access.written(store.base(cv)))]
        return effects if isinstance(effects[-1], CvRefused) else [*effects, Acknowledgement()]

    def _factory_reset(self) -> list[Effect]:
        """Acknowledged, which the text leaves open. Refused by a decoder that is locked."""
        if not self._store.factory_reset():
            return []
        return [FactoryResetDone(), *self._as_at_power_up(), Acknowledgement()]

    @abc.abstractmethod
    def _as_at_power_up(self) -> list[Effect]:
        """Forget what is not in a CV."""


def _from_memory(reading: tuple[Instruction, ...]) -> bool:
    """True for the reading of a later document, and for service mode, which is decided before."""
    return any(isinstance(one, ExtendedCvAccess) or isinstance(one.address, NoAddress) for one in reading)
