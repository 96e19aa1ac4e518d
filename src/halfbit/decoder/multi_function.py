"""Model of a multi-function decoder in a vehicle (S-9.2, S-9.2.1 C, S-9.2.2, S-9.2.3)."""

from __future__ import annotations

import enum
from collections.abc import Callable, Mapping
from fractions import Fraction
import attrs

from ..error import HalfbitError
from ..instruction import (
    Address, AnalogFunction, BinaryStateLong, BinaryStateShort, Broadcast, BroadcastStop, Configuration,
    ConsistControl, CvBitManipulation, CvShortForm, CvShortFormPair, CvVerifyByte, CvWriteByte, DecoderKind,
    DigitalDecoderReset, FunctionControl, FunctionGroupOne, HardReset, Instruction, LongAddress, RestrictedSpeedStep,
    SetExtendedAddressing, ShortAddress, SpeedAndDirection, SpeedControl, SpeedDirectionFunctions,
)  # fmt: skip
from ..instruction.speed import readings_of
from .base import Access, DecoderMachine
from .cv import MULTI_FUNCTION, CvStore, Veto
from .effect import (
    STOP, AnalogSet, BinaryStateSet, CvRefused, DirectionChanged, Effect, FunctionChanged, PacketTimeOut, ResetDone,
    RestrictionChanged, Speed, SpeedChanged,
)  # fmt: skip
from .state import MultiFunctionState, Vehicle

_REVERSED = 0b00000001  # CV 29
_EXTENDED = 0b00100000
_OPPOSITE = 0b10000000  # CV 19


class _To(enum.Flag):
    """The kinds of a decoder's own addresses that match a packet."""

    NOBODY = 0
    OWN = enum.auto()
    CONSIST = enum.auto()
    ALL = enum.auto()


class MultiFunctionDecoder(DecoderMachine):
    """Model of a multi-function decoder: packets and time in, effects out.

    The standards leave these points open. This model does the following:

    - Own address: the primary one; if CV 29 bit 5 is set, the extended one; never both. If CV 1 = 0, nothing is obeyed
      outside service mode. The addresses at the start of the packet count.
    - The direction follows at once from the last direction bit, CV 29 bit 0 and, in a consist, CV 19 bit 7. A
      direction that "may be ignored" is not ignored.
    - A reset stops the vehicle, sets it forward, switches everything off and ends a restriction. The CVs and the
      consist do not change.
    - In a consist, speed to the own address is ignored completely, with direction, FL of 14 steps and restricted speed.
      Broadcast is obeyed. The own address is obeyed if it is also the consist's address.
    - A packet to the consist address only: functions are obeyed only if their bit in CV 21 or 22 is set. For FL it is
      the bit of the direction after the packet. Consist control, resets and the short form of CV access are obeyed.
    - A restricted speed step limits the drive level, not the requested speed. Its bits 0 to 4 are read as a speed
      code of S-9.2. Bit 5 (the direction bit in S-9.2) is not used.
    - The page register starts at 1. Leaving service mode sets it back to 1 (common practice, no source), and so does a
      factory reset. Page 0 is page 256 (from memory).
    - Decoder flags, factory test, acknowledgement request, decoder lock and address query have no effect.
    - The short form for CV 17 and 18, or 31 and 32, acts on one packet (RCN-214, from memory).

    :param cvs: CVs that differ from the maker's defaults: CV number to value.
    :param defaults: the maker's defaults that differ from :data:`~halfbit.decoder.cv.MULTI_FUNCTION`.
    :param veto: see :data:`~halfbit.decoder.cv.Veto`.
    :param timeout_unit: ns per count of CV 11. The unit is in S-9.2.4, which we have not read: 1 s is an assumption.
        Any valid packet restarts the time.
    :raises HalfbitError: for a CV or value out of range, or a unit of 0 or less.
    """

    _kind = DecoderKind.MULTI_FUNCTION

    def __init__(
        self, cvs: Mapping[int, int] | None = None, *, defaults: Mapping[int, int] | None = None,
        veto: Veto | None = None, timeout_unit: int = 1_000_000_000,
    ) -> None:  # fmt: skip
        super().__init__(CvStore(MULTI_FUNCTION, cvs, defaults=defaults, veto=veto))
        if timeout_unit <= 0:
            raise HalfbitError(f"timeout_unit: {timeout_unit!r} ns: give more than 0")
        self._timeout_unit = timeout_unit
        self._vehicle = Vehicle(STOP)

    @property
    def speed(self) -> Speed:
        """The requested speed."""
        return self._vehicle.speed

    @property
    def forward(self) -> bool:
        """True if the vehicle must run forward."""
        turned = self._store[29] & _REVERSED != 0
        if self._configuration.consist and self._store[19] & _OPPOSITE:
            turned = not turned
        return self._vehicle.direction is not turned

    def function(self, number: int) -> bool:
        """True if a function is on; number 0 is FL (the headlight)."""
        return number in self._vehicle.functions

    def binary_state(self, number: int) -> bool:
        """True if a binary state is on.

        :raises HalfbitError: for a number outside 1 to 32767.
        """
        return self._vehicle.binary.get(number)

    @property
    def drive_level(self) -> int:
        """The drive level, 0 (off) to 255 (full supply), when momentum has reached the requested speed.

        If the speed is restricted, at most the level of the restricted step.
        """
        cvs, forward = self._store.__getitem__, self.forward
        level, code = drive_level(cvs, self.speed, forward=forward), self._vehicle.restriction
        if code is None:
            return level
        (limit,) = readings_of(code & 0b11111, self._steps)
        return min(level, drive_level(cvs, Speed.of(limit), forward=forward))

    def state(self) -> MultiFunctionState:
        """A snapshot of the decoder, for :meth:`restore`."""
        page = self._page or 0
        return MultiFunctionState(self._store.state(), self.mode, self._heard, self._vehicle, self.forward, page)

    def restore(self, state: MultiFunctionState) -> None:
        """Continue from a snapshot. It may be from another decoder."""
        self._restore(state.cvs, state.mode, state.heard)
        self._vehicle, self._page = state.vehicle, state.page

    def _deadlines(self) -> list[int]:
        limit = self._store[11] * self._timeout_unit
        return [self._heard.valid + limit] if limit and self.speed.step else []

    def _passed(self, now: int) -> list[Effect]:
        if not any(now >= time for time in self._deadlines()):
            return []
        self._vehicle = attrs.evolve(self._vehicle, speed=STOP)
        return [PacketTimeOut()]

    def _obey(self, instructions: tuple[Instruction, ...], data: bytes, end: int) -> list[Effect]:
        to = self._meant(instructions[0].address)
        if to is _To.NOBODY:
            return []
        second = self._second(data)
        return [effect for one in instructions for effect in self._act(one, to, second)]

    def _act(self, one: Instruction, to: _To, second: bool) -> list[Effect]:
        """Obey an instruction. Some have no effect.

        :param second: True if its packet is the second identical one.
        """
        match one:
            case CvVerifyByte() | CvWriteByte() | CvBitManipulation() if not to & _To.CONSIST:
                return self._in_operations(Access(one.cv, one.writes, int(one.value), one.position), second)
            case SpeedControl():
                self._speed(one, to)
            case FunctionControl():
                states = one.functions
                if isinstance(one, FunctionGroupOne) and self._steps == 28:
                    states[0] = one.bit4
                self._set_functions(to, states)
            case RestrictedSpeedStep() if not self._speed_ignored(to):
                self._vehicle = attrs.evolve(self._vehicle, restriction=one.limit)
                return [RestrictionChanged(one.limit)]
            case BinaryStateShort() | BinaryStateLong() if to is not _To.CONSIST:
                long = isinstance(one, BinaryStateLong)
                binary = self._vehicle.binary.set(one.number, one.state, long)
                self._vehicle = attrs.evolve(self._vehicle, binary=binary)
                return [BinaryStateSet(one.number, one.state, long)]
            case AnalogFunction() if to is not _To.CONSIST:
                values = {**self._vehicle.analog, one.output: one.value}
                self._vehicle = attrs.evolve(self._vehicle, analog=values)
                return [AnalogSet(one.output, one.value)]
            case DigitalDecoderReset():
                self._as_at_power_up()
                return [ResetDone()]
            case HardReset():
                self._as_at_power_up()
                return [ResetDone(hard=True), *self._store.hard_reset()]
            case ConsistControl():
                return [*self._store.write(19, one.cv19)]
            case SetExtendedAddressing():
                access = Access(29, True, int(one.enabled), bit=5)
                return [*self._store.write(29, access.written(self._store[29]))]
            case CvShortForm():
                return self._in_operations(Access(one.cv, True, one.value), second=True)
            case CvShortFormPair():
                effects: list[Effect] = [*self._store.write(one.cv, one.value)]
                if isinstance(effects[-1], CvRefused):
                    return effects
                return effects + self._in_operations(Access(one.cv + 1, True, one.next_value), second=True)
        return []

    def _meant(self, address: Address) -> _To:
        cvs = self._store
        if cvs[1] == 0:
            return _To.NOBODY
        if isinstance(address, Broadcast):
            return _To.ALL
        to = _To.NOBODY
        if isinstance(address, (ShortAddress, LongAddress)):
            if address.to_bytes() == bytes((cvs[17], cvs[18]) if cvs[29] & _EXTENDED else (cvs[1],)):
                to |= _To.OWN
            if address == self._configuration.consist:
                to |= _To.CONSIST
        return to

    def _shown(self) -> tuple[Speed, bool, frozenset[int]]:
        return self.speed, self.forward, self._vehicle.functions

    def _changes(self, before: tuple[Speed, bool, frozenset[int]]) -> list[Effect]:
        speed, forward, functions = self._shown()
        effects: list[Effect] = []
        if speed != before[0]:
            effects.append(self._speed_changed(speed, before[0]))
        if forward is not before[1]:
            effects.append(DirectionChanged(forward))
        return effects + [FunctionChanged(number, number in functions) for number in sorted(functions ^ before[2])]

    def _speed_changed(self, speed: Speed, before: Speed) -> SpeedChanged:
        if speed.emergency:
            return SpeedChanged(speed)
        cvs, steps = self._store.__getitem__, speed.steps or before.steps or self._steps
        rising = momentum(cvs, steps, rising=True) if speed.step else 0
        return SpeedChanged(speed, rising, momentum(cvs, steps, rising=False))

    @property
    def _configuration(self) -> Configuration:
        cvs = self._store
        return Configuration(cvs[29], cv19=cvs[19], cv21=cvs[21], cv22=cvs[22])

    @property
    def _steps(self) -> int:
        return self._configuration.steps

    def _set_functions(self, to: _To, states: Mapping[int, bool]) -> None:
        functions, own = set(self._vehicle.functions), self._configuration
        for number, on in states.items():
            # CV 21 and 22 have only F0 to F12 (S-9.2.2).
            if to is not _To.CONSIST or number <= 12 and own.obeys_consist(number, forward=self.forward):
                functions.add(number) if on else functions.discard(number)
        self._vehicle = attrs.evolve(self._vehicle, functions=frozenset(functions))

    def _speed(self, one: SpeedControl, to: _To) -> None:
        reading = one.readings[0]
        if isinstance(one, SpeedAndDirection):
            (reading,) = readings_of(one.code, self._steps)
        fl = reading.fl
        if isinstance(one, BroadcastStop) and self._steps == 14:
            fl = one.direction_ignored  # with 14 steps C is FL; the standard makes no exception for broadcast
        if not self._speed_ignored(to):
            self._vehicle = attrs.evolve(self._vehicle, speed=Speed.of(reading), direction=one.forward)
            if fl is not None:
                self._set_functions(to, {0: fl})
        if isinstance(one, SpeedDirectionFunctions):
            self._set_functions(to, one.functions)

    def _speed_ignored(self, to: _To) -> bool:
        """True in a consist, for packets to the own address only (S-9.2.1 C)."""
        return to is _To.OWN and self._configuration.consist is not None

    def _as_at_power_up(self) -> None:
        self._vehicle = Vehicle(STOP)


# Drive level and momentum of the motor for a speed step, from the CVs (S-9.2.2).

ReadCv = Callable[[int], int]  #: A function that takes a CV number and returns its value.

_TABLE = 0b00010000  # CV 29 bit 4: use the speed table, not CV 2, 5 and 6
_SUBTRACT = 0b10000000  # CV 23 and 24, bit 7
_UNIT = 896_000_000  # ns: CV 3 * 0.896 s / number of steps (S-9.2.2)


def momentum(cvs: ReadCv, steps: int, *, rising: bool) -> int:
    """The duration of one speed step while the speed rises or falls, in ns, rounded to the nearest.

    CV 3 is adjusted by CV 23, CV 4 by CV 24; the sum is limited to 0 to 255 (S-9.2.2). The adjustment also acts if CV 3
    or CV 4 is 0; the standard says nothing about this case.
    """
    value, adjustment = (cvs(3), cvs(23)) if rising else (cvs(4), cvs(24))
    amount = adjustment & ~_SUBTRACT
    value = max(0, value - amount) if adjustment & _SUBTRACT else min(255, value + amount)
    return (2 * value * _UNIT + steps) // (2 * steps)


def drive_level(cvs: ReadCv, speed: Speed, *, forward: bool) -> int:
    """The drive level for a speed: 0 (off) to 255 (full supply), rounded to the nearest.

    Step 1 has CV 2, or the first value of the table. The top step has CV 5, or the last value of the table (S-9.2.2).
    The standard leaves the steps in between open. Here they are on straight lines, and CV 6 is the level halfway
    between step 1 and the top step. Without CV 5 the top is 255; without CV 6 there is one straight line. 14 and 126
    steps are spread evenly over the whole table. The trims (CV 66 and 95) act only with the table, because S-9.2.2
    describes them with it.
    """
    if not speed.step:
        return 0
    place = Fraction(speed.step - 1, speed.steps - 1)
    if cvs(29) & _TABLE:
        level = _between([cvs(number) for number in range(67, 95)], place)
        level *= Fraction(cvs(66 if forward else 95) or 128, 128)
    else:
        low, middle, high = cvs(2), cvs(6), cvs(5)
        high = high if high > 1 else 255
        level = _between([low, middle, high] if middle > 1 else [low, high], place)
    return min(255, int(level + Fraction(1, 2)))


def _between(points: list[int], place: Fraction) -> Fraction:
    """Linear interpolation between equally spaced points, at a place from 0 to 1."""
    at = place * (len(points) - 1)
    index = min(int(at), len(points) - 2)
    return points[index] + (at - index) * (points[index + 1] - points[index])
