"""How instructions change the state of an address."""

from __future__ import annotations

from collections.abc import Mapping

from ..instruction import (
    AccessoryAddress, AnalogFunction, BasicAccessory, BinaryStateLong, BinaryStateShort, BroadcastStop, ConsistControl,
    DigitalDecoderReset, ExtendedAccessory, ExtendedAccessoryAddress, FunctionControl, FunctionGroupOne, HardReset,
    Instruction, RestrictedSpeedStep, SpeedAndDirection, SpeedControl, SpeedDirectionFunctions,
)  # fmt: skip
from ..instruction.speed import readings_of
from .effect import STOP, Speed
from .seen import Changes, Consist, Either, Item, Seen


def act(changes: Changes, row: Seen, one: Instruction) -> None:
    """Change the state of an address as an instruction asks. ``TrackState`` handles CV writes."""
    match one:
        case SpeedAndDirection():
            _speed_and_direction(changes, row, one)
        case BroadcastStop():
            if row.speed is not None:
                _set_speed(changes, row, Speed.of(one.readings[0]), row.forward)
        case SpeedControl():
            _set_speed(changes, row, Speed.of(one.readings[0]), one.forward)
            if isinstance(one, SpeedDirectionFunctions):
                _set_functions(changes, row, one.functions)
        case FunctionGroupOne():
            if (one.packet_context.steps or row.steps) != 14:
                _set_fl(changes, row, 0, one.bit4)
            _set_functions(changes, row, {number: on for number, on in one.functions.items() if number})
        case FunctionControl():
            _set_functions(changes, row, one.functions)
        case BinaryStateShort() | BinaryStateLong():
            _binary(changes, row, one)
        case AnalogFunction():
            changes.put(row, Item.ANALOG, row.analog, one.output, one.value)
        case RestrictedSpeedStep():
            changes.set(row, Item.RESTRICTION, "restriction", one.limit)
        case ConsistControl():
            know(changes, row, 19, one.cv19)
        case DigitalDecoderReset() | HardReset():
            _reset(changes, row, one)
        case BasicAccessory():
            output = getattr(one.address, "output", None)
            if output is not None:
                changes.put(row, Item.OUTPUT, row.outputs, output, one.activate)
        case ExtendedAccessory():
            changes.set(row, Item.ASPECT, "aspect", one.aspect)


def _speed_and_direction(changes: Changes, row: Seen, one: SpeedAndDirection) -> None:
    steps = one.packet_context.steps or row.steps
    readings = readings_of(one.code, steps)
    speeds = [Speed.of(reading) for reading in readings]
    _set_speed(changes, row, speeds[0] if speeds[0] == speeds[-1] else Either(*speeds), one.forward)
    if steps != 28:
        _set_fl(changes, row, 1, readings[-1].fl)


def _set_speed(changes: Changes, row: Seen, speed: Speed | Either, forward: bool | None) -> None:
    changes.set(row, Item.SPEED, "speed", speed)
    changes.set(row, Item.DIRECTION, "forward", forward)


def _set_functions(changes: Changes, row: Seen, states: Mapping[int, bool]) -> None:
    for number, on in states.items():
        if number == 0:
            _set_fl(changes, row, 0, on)
            _set_fl(changes, row, 1, on)
            continue
        before, row.functions[number] = row.functions.get(number), on
        if before is not on and (on or before is not None):
            changes.note(row, Item.FUNCTION, number, before, on)


def _set_fl(changes: Changes, row: Seen, which: int, on: bool | None) -> None:
    before, row.fl[which] = row.lamp, on
    after = row.lamp
    if after != before and not (before is None and after in (False, Either(False, None), Either(None, False))):
        changes.note(row, Item.FUNCTION, 0, before, after)


def _binary(changes: Changes, row: Seen, one: BinaryStateShort | BinaryStateLong) -> None:
    before = row.binary.get(one.number)
    if before is not one.state:
        if one.number == 0:
            last = 127 if isinstance(one, BinaryStateShort) else 32767
            row.binary = {number: on for number, on in row.binary.items() if number > last}
        row.binary[one.number] = one.state
        changes.note(row, Item.BINARY_STATE, one.number, before, one.state)
    elif one.number:
        row.binary.pop(0, None)


def _reset(changes: Changes, row: Seen, one: DigitalDecoderReset | HardReset) -> None:
    if row.speed is not None:
        _set_speed(changes, row, STOP, row.forward)
    _set_functions(changes, row, {number: False for number in row.functions})
    for which, on in enumerate(row.fl):
        _set_fl(changes, row, which, None if on is None else False)
    row.binary, row.analog = {}, {}
    changes.set(row, Item.RESTRICTION, "restriction", None)
    if isinstance(one, HardReset):
        for number in (29, 31, 32):  # their defaults depend on the maker, so they are not known now
            row.cvs.pop(number, None)
        know(changes, row, 19, 0)


def know(changes: Changes, row: Seen, number: int, value: int) -> None:
    """Note the value of a CV, and of the CVs that change with it (S-9.2.2)."""
    row.cvs[number] = value
    if isinstance(row.address, (AccessoryAddress, ExtendedAccessoryAddress)):
        return
    if number == 1:
        row.cvs[19] = 0
        if 29 in row.cvs:
            row.cvs[29] &= ~0b00100000
    if number in (1, 19):
        member = row.cvs[19] & 0x7F
        changes.set(row, Item.CONSIST, "consist", Consist(member, row.cvs[19] > 127) if member else None)
