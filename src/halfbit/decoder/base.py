"""Base of both decoder models: packets, service mode, the second identical packet, access to CVs."""

from __future__ import annotations

import abc
from functools import lru_cache
from typing import Any, ClassVar, Union

import attrs

from ..error import HalfbitError
from ..event import Cutout, Fault, Packet, exclusive_or
from ..instruction import (
    STANDARD, Ambiguous, Context, CvAccess, CvShortFormPair, DecoderKind, ExtendedCvAccess, FactoryReset, Instruction,
    PacketContext, RegisterAccess,
)  # fmt: skip
from ..instruction.context import HOLD, ServiceTracker, in_service_form
from ..instruction.cv import PAGE_REGISTER
from .cv import CvState, CvStore
from .effect import Acknowledgement, Answer, CvRefused, Effect, FactoryResetDone, ModeChanged

#: What a decoder model takes: packets, or what :func:`halfbit.decode` gives.
AnyEvent = Union[Packet, Instruction, Fault, Cutout]


@attrs.frozen(slots=True)
class Access:
    """An access to a CV. All forms of CV access are turned into this one."""

    cv: int
    write: bool
    value: int
    bit: int | None = None  #: The bit, 0 to 7; ``None`` for the whole byte.

    def written(self, old: int) -> int:
        """The CV's value after the write.

        :param old: the value before.
        """
        if self.bit is None:
            return self.value
        mask = 1 << self.bit
        return old | mask if self.value else old & ~mask

    def agrees(self, held: int) -> bool:
        """True if a verify matches the value ``held``."""
        return held == self.value if self.bit is None else held >> self.bit & 1 == self.value


def access_of(instruction: CvAccess, kind: DecoderKind | None = None, page: int | None = None) -> Access | None:
    """The access that an instruction requests; ``None`` if the CV is not known, or does not exist in this decoder.

    The legacy form counts as a write, because the packet does not say (S-9.2.1 appendix A).

    :param kind: the kind of decoder. The CV of a register depends on it.
    :param page: the page register of the decoder.
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
    """A decoder's memory of earlier packets. It is saved too, so that a restored decoder continues exactly."""

    now: int = 0  #: Time of the last packet, fault, cutout or tick, ns.
    valid: int = 0  #: End of the last valid packet, ns.
    #: End of the last packet that keeps service mode active, ns; ``None`` if there was no such packet.
    kept: int | None = None
    last: bytes = b""  #: The last valid packet.
    run: int = 0  #: How many times in a row it was received.
    own: bytes = b""  #: The last packet to this decoder in operations mode.
    own_run: int = 0  #: How many times it was received with no other packet to this decoder in between.


class DecoderMachine(abc.ABC):
    """The rules that all decoders have for packets.

    The standards leave these points open. This model does the following: exactly the second of several identical
    packets acts; the third and later ones do nothing. A damaged packet does not come between two identical packets,
    because the standards speak of valid packets only. The packet that ends service mode is obeyed, and operations
    resume with it.
    """

    _kind: ClassVar[DecoderKind]

    def __init__(self, store: CvStore) -> None:
        self._store = store
        #: The page register; ``None`` for accessory decoders: their register 6 is undefined (S-9.2.3 E).
        self._page: int | None = 1 if self._kind is DecoderKind.MULTI_FUNCTION else None
        self._service = ServiceTracker()
        self._service.context = Context.OPERATIONS  # no decoder powers up in service mode
        self._heard = Heard()
        self._taken: Packet | None = None  # the packet whose instructions are being fed

    @property
    def cvs(self) -> CvStore:
        """The decoder's CVs."""
        return self._store

    @property
    def mode(self) -> Context:
        """OPERATIONS or SERVICE; LEFT after service mode until operations resume."""
        return self._service.context

    def feed(self, event: AnyEvent) -> tuple[Effect, ...]:
        """Take the next packet, fault or cutout and return what the decoder does when it ends.

        A decoded instruction counts as its packet, so the output of :func:`halfbit.decode` can be fed. If a packet has
        several instructions, the first one feeds the packet and the others are ignored.

        :raises HalfbitError: for anything else, for an instruction without its packet, and if the event ends earlier
            than the last one.
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
                effects += [*self._packet(event.data, event.end), *self._changes(before)]
        return tuple(effects)

    def tick(self, now: int) -> tuple[Effect, ...]:
        """Let time pass without a packet.

        :param now: ns, on the clock of the packets. Effects come only when this is called, so call it often.
        :raises HalfbitError: if ``now`` is before the last event.
        """
        if now < self._heard.now:
            raise HalfbitError(f"{now} ns comes before {self._heard.now} ns: give events in order of time")
        self._heard = attrs.evolve(self._heard, now=now)
        effects: list[Effect] = []
        if self._service.expired(now):
            self._service.restore(Context.LEFT, self._heard.last, self._heard.kept)
            effects += self._mode_changed()
        before = self._shown()
        effects += self._passed(now)
        return (*effects, *self._changes(before))

    @property
    def due(self) -> int | None:
        """When :meth:`tick` will next have an effect if no packet comes first, ns; ``None`` if never."""
        kept = self._service.kept_end
        times = self._deadlines()
        if self.mode is Context.SERVICE and kept is not None:
            times.append(kept + HOLD)
        return min(times, default=None)

    def _restore(self, cvs: CvState, mode: Context, heard: Heard) -> None:
        """Take over the part of a snapshot that all decoders have."""
        self._store.restore(cvs)
        self._heard, self._taken = heard, None
        self._service.restore(mode, heard.last, heard.kept)

    @abc.abstractmethod
    def _deadlines(self) -> list[int]:
        """Times, ns, at which there will be effects without a packet."""

    @abc.abstractmethod
    def _passed(self, now: int) -> list[Effect]:
        """Apply what is due at this time, ns."""

    @abc.abstractmethod
    def _shown(self) -> Any:
        """The outputs of the decoder: what can be seen from outside."""

    @abc.abstractmethod
    def _changes(self, before: Any) -> list[Effect]:
        """Effects for all outputs that differ from ``before``."""

    @abc.abstractmethod
    def _obey(self, instructions: tuple[Instruction, ...], data: bytes, end: int) -> list[Effect]:
        """Act on a packet in operations mode."""

    def _packet(self, data: bytes, end: int) -> list[Effect]:
        before = self._heard
        run = before.run + 1 if data == before.last else 1
        mode = self._service.context
        self._service.take(data, end, resets=False)
        now_in = self._service.context
        effects: list[Effect] = []
        if now_in is not mode:
            effects += self._mode_changed()
            if now_in is Context.SERVICE:
                before = attrs.evolve(before, own=b"", own_run=0)
        self._heard = attrs.evolve(before, valid=end, kept=self._service.kept_end, last=data, run=run)
        if in_service_form(data) and now_in is not Context.OPERATIONS:
            if now_in is Context.SERVICE and run == 2:
                for instruction in STANDARD.decode_service(data):
                    effects += self._execute(instruction)
        elif now_in is Context.OPERATIONS:
            instructions = _instructions(data)
            if instructions:
                effects += self._obey(instructions, data, end)
        return effects

    def _mode_changed(self) -> list[Effect]:
        self._first_page()  # at each change of mode: common practice, no source
        return [ModeChanged(self.mode)]

    def _first_page(self) -> None:
        """Set the page register back to 1, if there is one."""
        if self._page is not None:
            self._page = 1

    def _second(self, data: bytes) -> bool:
        """Note a packet to this decoder; True if it is the second identical one (S-9.2.1 C)."""
        heard = self._heard
        run = heard.own_run + 1 if data == heard.own else 1
        self._heard = attrs.evolve(heard, own=data, own_run=run)
        return run == 2

    def _in_operations(self, access: Access, second: bool) -> list[Effect]:
        """Verify at once; write with the second identical packet. Both are answered (S-9.2.1 C and E).

        A verify is answered with the CV's value, even if it does not match; the standard leaves this open. A write is
        answered with the value written, also with the short form.
        """
        store, cv = self._store, access.cv
        if not access.write:
            value = store.get(cv)
            return [] if value is None else [Answer(cv, value)]
        return self._write(access, Answer(cv, access.written(store.base(cv)))) if second else []

    def _write(self, access: Access, answer: Effect) -> list[Effect]:
        """Write a CV. The answer comes last, if the write was not refused."""
        effects: list[Effect] = [*self._store.write(access.cv, access.written(self._store.base(access.cv)))]
        return effects if isinstance(effects[-1], CvRefused) else [*effects, answer]

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
        """Write or verify. Acknowledge a write that was done and a verify that matches (S-9.2.3)."""
        value = self._store.get(access.cv)
        if value is None:
            return []
        if access.write:
            return self._write(access, Acknowledgement())
        return [Acknowledgement()] if access.agrees(value) else []

    def _factory_reset(self) -> list[Effect]:
        """Factory reset. It is acknowledged (the standard leaves this open). A locked decoder refuses it."""
        if not self._store.factory_reset():
            return []
        self._first_page()
        self._as_at_power_up()
        return [FactoryResetDone(), Acknowledgement()]

    @abc.abstractmethod
    def _as_at_power_up(self) -> None:
        """Go back to the state at power-up; only the CVs stay."""


@lru_cache(maxsize=512)
def _instructions(data: bytes) -> tuple[Instruction, ...]:
    """The instructions of a packet in operations mode. If two documents differ, the one that we have read counts."""
    found = STANDARD.decode(data)
    if not isinstance(found[0], Ambiguous):
        return found
    return next((one for one in found[0].readings if not isinstance(one[0], ExtendedCvAccess)), ())
