"""Builds instructions from everyday values: a speed step, function numbers, an accessory's linear number, a CV.

:meth:`Registry.encode` turns them into packets. Every function raises :class:`HalfbitError` for a value that the
instruction cannot hold. The message says which values it can hold.
"""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from ..error import HalfbitError
from .accessory import BasicAccessory, ExtendedAccessory
from .address import AccessoryAddress, Address, Broadcast, ExtendedAccessoryAddress, LinearConvention, NoAddress
from .cv import (
    CvAccess, CvBitManipulation, CvVerifyByte, CvWriteByte, DirectBitManipulation, DirectVerifyByte, DirectWriteByte,
)  # fmt: skip
from .function import FunctionControl, FunctionExpansion, FunctionGroupOne, FunctionGroupTwo
from .speed import BroadcastStop, SpeedAndDirection, SpeedControl, SpeedControl128

__all__ = ["accessory", "functions", "signal", "speed", "stop", "verify_cv", "write_cv", "write_cv_bit"]


def speed(
    address: Address, step: int, *, of: int = 28, forward: bool = True, fl: bool | None = None
) -> SpeedAndDirection | SpeedControl128:
    """A speed step and a direction (S-9.2 B; S-9.2.1 C).

    :param step: 1 to ``of``; 0 for stop.
    :param of: number of speed steps of the decoder: 14, 28 or 126.
    :param forward: the direction.
    :param fl: the state of FL (the headlight). Only with 14 steps: with other step counts the packet has no FL.
    :raises HalfbitError: for other values.
    """
    if type(step) is not int or of not in (14, 28, 126) or not 0 <= step <= of:
        raise HalfbitError(f"step {step!r} of {of!r}: give a step from 0 to the number of steps, 14, 28 or 126")
    if fl is not None and (of != 14 or not isinstance(fl, bool)):
        raise HalfbitError(f"fl: {fl!r}: only with 14 steps does this instruction carry FL, as False or True")
    code = step + 1 if step else 0
    if of == 126:
        return SpeedControl128(address, forward, code)
    if of == 14:
        return SpeedAndDirection(address, forward, code | bool(fl) << 4)
    # S-9.2 B: step = 2 * SSSS - 3 + C.
    return SpeedAndDirection(address, forward, (step + 3) // 2 | (step + 3) % 2 << 4 if step else 0)


def stop(
    address: Address, *, emergency: bool = False, of: int = 28, forward: bool = True, fl: bool | None = None
) -> SpeedControl:
    """Stop one decoder; with :class:`Broadcast` and 28 steps, the broadcast stop for all decoders (S-9.2 B).

    :param emergency: True cuts the motor's power off at once; False brakes.
    :param of: number of speed steps, as in :func:`speed`; so are ``forward`` and ``fl``.
    :raises HalfbitError: as :func:`speed`.
    """
    still = speed(address, 0, of=of, forward=forward, fl=fl)
    if isinstance(address, Broadcast) and of == 28:
        return BroadcastStop(address, forward, False, emergency)
    return attrs.evolve(still, code=still.code | bool(emergency))


def functions(address: Address, states: Mapping[int, bool]) -> tuple[FunctionControl, ...]:
    """The instructions that set functions (S-9.2.1 C; F29 up from memory).

    Each instruction sets a whole group: F0 (FL) to F4, F5 to F8, F9 to F12, F13 to F20 and so on to F68. **Functions
    of a group that you leave out are switched off**: give every function that must stay on.

    :param states: mapping of function number (0 to 68) to state.
    """
    if not isinstance(states, Mapping) or not states:
        raise HalfbitError(f"states: {states!r} is not a mapping of function to state: give e.g. {{0: True, 3: False}}")
    for number, state in states.items():
        if type(number) is not int or not 0 <= number <= 68 or not isinstance(state, bool):
            raise HalfbitError(f"states: {number!r}: {state!r}: give a function from 0 to 68 and False or True")

    def bits(first: int, count: int) -> int:
        return sum(states.get(first + index, False) << index for index in range(count))

    found: list[FunctionControl] = []
    if any(number <= 4 for number in states):
        found.append(FunctionGroupOne(address, states.get(0, False), bits(1, 4)))
    for first, last in ((5, 8), (9, 12), *((first, first + 7) for first in range(13, 68, 8))):
        if any(first <= number <= last for number in states):
            kind = FunctionGroupTwo if first < 13 else FunctionExpansion
            found.append(kind(address, first, bits(first, last - first + 1)))
    return tuple(found)


def accessory(number: int, convention: LinearConvention, *, output: int = 1, activate: bool = True) -> BasicAccessory:
    """One output of a basic accessory decoder, by the linear number of the pair (S-9.2.1 D).

    :param convention: how pairs are counted. Two ways are in use; they differ by 4.
    :param output: 0 or 1.
    """
    return BasicAccessory(AccessoryAddress.from_linear(number, convention, output), activate)


def signal(number: int, convention: LinearConvention, aspect: int) -> ExtendedAccessory:
    """Set the aspect of an extended accessory decoder, by its linear number (S-9.2.1 D).

    :param aspect: 0 (absolute stop) to 31; to 255 in later documents (from memory).
    """
    return ExtendedAccessory(ExtendedAccessoryAddress.from_linear(number, convention), aspect)


def write_cv(address: Address, cv: int, value: int) -> CvAccess:
    """Write a byte to a CV, 1 to 1024. With :class:`NoAddress`: service mode, direct mode.

    Decoders act on the second identical packet: send it twice (S-9.2.1 C, S-9.2.3).
    """
    return (DirectWriteByte if isinstance(address, NoAddress) else CvWriteByte)(address, cv, value)


def write_cv_bit(address: Address, cv: int, position: int, value: bool) -> CvAccess:
    """Write one bit, 0 to 7, of a CV, 1 to 1024. With :class:`NoAddress`: service mode, direct mode. Send it twice."""
    kind = DirectBitManipulation if isinstance(address, NoAddress) else CvBitManipulation
    return kind(address, cv, True, value, position)


def verify_cv(address: Address, cv: int, value: int) -> CvAccess:
    """Ask if a CV, 1 to 1024, has this value. With :class:`NoAddress`: service mode, direct mode."""
    return (DirectVerifyByte if isinstance(address, NoAddress) else CvVerifyByte)(address, cv, value)
