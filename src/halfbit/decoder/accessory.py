"""Model of an accessory decoder for turnouts and signals (S-9.2.1 D, S-9.2.2 table 3)."""

from __future__ import annotations

from collections.abc import Mapping

from ..error import HalfbitError
from ..instruction import (
    AccessoryAddress, AccessoryBroadcast, BasicAccessory, CvAccess, DecoderKind, ExtendedAccessory,
    ExtendedAccessoryAddress, ExtendedAccessoryBroadcast, Instruction, LegacyCvAccess,
)  # fmt: skip
from .base import Access, DecoderMachine, access_of
from .cv import ACCESSORY, CvStore, Veto
from .effect import AspectChanged, Effect, OutputChanged
from .state import AccessoryState

_EXTENDED = 0b00100000  # CV 29
_BY_OUTPUT = 0b01000000
_ACCESSORY = 0b10000000

HEADS = range(4)

_NUMBER_1 = 4  #: The 11-bit address of output 1: board 1, pair 0.


class AccessoryDecoder(DecoderMachine):
    """Model of an accessory decoder: packets and time in, effects out.

    The standards leave these points open. This model does the following:

    - If CV 29 bit 5 is set, the decoder obeys only extended packets; else only basic packets. A packet of the other
      kind is for another decoder. The legacy form of CV access reaches both kinds.
    - Decoder addressing: eight outputs (DDD), or four signals (the two low bits of the 11-bit address). Output
      addressing: one pair with outputs 0 and 1, or one signal. Output numbers are counted from board address 1, because
      CV 1 = 1 with CV 9 = 0 must answer to the same packet with both ways of addressing (S-9.2.2). RCN-213 does the
      same (from memory).
    - C = 1 switches one output on, C = 0 switches it off. The other output of the pair does not change.
    - CV 3 to 6 are the on-times of pairs 0 to 3; with output addressing, only CV 3 is used. Each activation restarts
      the time.
    - CV access to one output (C = 1, DDD) reaches the decoder's only set of CVs. With output addressing, the pair must
      match. CDDD = 0DDD is reserved. CV access has no broadcast: those bytes are board 511.
    - An accessory NOP has no effect, but it comes between two packets like any other packet.
    - Resets change nothing. A factory reset switches everything off.

    :param cvs: CVs that differ from the maker's defaults: CV number to value.
    :param defaults: the maker's defaults that differ from :data:`~halfbit.decoder.cv.ACCESSORY`.
    :param veto: see :data:`~halfbit.decoder.cv.Veto`.
    :param on_time_unit: ns per count of CV 3 to 6. The standard has no unit: 10 ms is an assumption.
    :raises HalfbitError: for a CV or value out of range, or a unit of 0 or less.
    """

    _kind = DecoderKind.ACCESSORY
    _outputs: frozenset[int]
    _aspects: tuple[int, ...]
    _off_at: dict[int, int]

    def __init__(
        self, cvs: Mapping[int, int] | None = None, *, defaults: Mapping[int, int] | None = None,
        veto: Veto | None = None, on_time_unit: int = 10_000_000,
    ) -> None:  # fmt: skip
        super().__init__(CvStore(ACCESSORY, cvs, defaults=defaults, veto=veto, accessory=True))
        if on_time_unit <= 0:
            raise HalfbitError(f"on_time_unit: {on_time_unit!r} ns: give more than 0")
        self._on_time_unit = on_time_unit
        self._as_at_power_up()

    @property
    def outputs(self) -> frozenset[int]:
        """Numbers of the outputs that are on, 0 to 7."""
        return self._outputs

    @property
    def aspects(self) -> tuple[int, ...]:
        """The aspect of each signal, 0 to 255; 0 is absolute stop."""
        return self._aspects

    def state(self) -> AccessoryState:
        """A snapshot of the decoder, for :meth:`restore`."""
        cvs, off_at = self._store.state(), dict(self._off_at)
        return AccessoryState(cvs, self.mode, self._heard, self._outputs, self._aspects, off_at)

    def restore(self, state: AccessoryState) -> None:
        """Continue from a snapshot. It may be from another decoder."""
        self._restore(state.cvs, state.mode, state.heard)
        self._outputs, self._aspects, self._off_at = state.outputs, state.aspects, dict(state.off_at)

    def _deadlines(self) -> list[int]:
        return list(self._off_at.values())

    def _passed(self, now: int) -> list[Effect]:
        over = {output for output, time in self._off_at.items() if now >= time}
        for output in over:
            del self._off_at[output]
        self._outputs -= over
        return []

    def _shown(self) -> tuple[frozenset[int], tuple[int, ...]]:
        return self._outputs, self._aspects

    def _changes(self, before: tuple[frozenset[int], tuple[int, ...]]) -> list[Effect]:
        effects: list[Effect] = [OutputChanged(n, n in self._outputs) for n in sorted(self._outputs ^ before[0])]
        aspects = zip(HEADS, before[1], self._aspects)
        return effects + [AspectChanged(head, now) for head, old, now in aspects if old != now]

    def _obey(self, instructions: tuple[Instruction, ...], data: bytes, end: int) -> list[Effect]:
        one = instructions[0]
        if not self._meant(one):
            return []
        second = self._second(data)
        if isinstance(one, BasicAccessory):
            self._switch(one, end)
        elif isinstance(one, ExtendedAccessory):
            self._show(one)
        elif isinstance(one, CvAccess):
            access = access_of(one)
            if access is not None:
                return self._in_operations(access, second)
        return []

    def _meant(self, one: Instruction) -> bool:
        """True if the packet is for this decoder."""
        address = one.address
        extended = self._store[29] & _EXTENDED != 0
        to_all = not isinstance(one, CvAccess)  # CV access has no broadcast: those bytes are board 511
        if isinstance(address, ExtendedAccessoryBroadcast):
            return extended and (to_all or self._reaches(511, 3))
        if isinstance(address, AccessoryBroadcast):
            return not extended and (to_all or self._reaches(511, address.pair))
        if isinstance(address, ExtendedAccessoryAddress):
            return extended and self._reaches(address.number >> 2, address.number & 3)
        if isinstance(address, AccessoryAddress):
            return (not extended or isinstance(one, LegacyCvAccess)) and self._reaches(address.board, address.pair)
        return False

    def _reaches(self, board: int, pair: int | None) -> bool:
        low, high = self._store[1], self._store[9] & 0b111
        if not self._store[29] & _BY_OUTPUT:
            return board == high << 6 | low & 0b111111
        own = (low + 256 * high - 1 + _NUMBER_1) % 2048
        return board == own >> 2 if pair is None else board << 2 | pair == own

    def _switch(self, one: BasicAccessory, end: int) -> None:
        address = one.address
        assert isinstance(address, (AccessoryAddress, AccessoryBroadcast))
        by_output = self._store[29] & _BY_OUTPUT
        pair = 0 if by_output else address.pair or 0
        number = pair << 1 | (address.output or 0)
        self._off_at.pop(number, None)
        self._outputs = self._outputs | {number} if one.activate else self._outputs - {number}
        time = self._store[3 + pair]
        if one.activate and time:
            self._off_at[number] = end + time * self._on_time_unit

    def _show(self, one: ExtendedAccessory) -> None:
        address = one.address
        aspects = list(self._aspects)
        if self._store[29] & _BY_OUTPUT:
            aspects[0] = one.aspect
        elif isinstance(address, ExtendedAccessoryAddress):
            aspects[address.number & 3] = one.aspect
        else:
            aspects = [one.aspect for _ in HEADS]
        self._aspects = tuple(aspects)

    def _in_service(self, access: Access) -> list[Effect]:
        if self._store[29] & _ACCESSORY:  # the two top bits of the number may be ignored (S-9.2.2, CV 29 bit 7)
            access = Access((access.cv - 1) % 256 + 1, access.write, access.value, access.bit)
        return super()._in_service(access)

    def _as_at_power_up(self) -> None:
        self._outputs, self._aspects, self._off_at = frozenset(), tuple(0 for _ in HEADS), {}
