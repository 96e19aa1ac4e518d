"""How instructions change the rows of a track: one function per instruction class, listed in a table at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ..instruction import (
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    AnalogFunction,
    BasicAccessory,
    BinaryStateLong,
    BinaryStateShort,
    Broadcast,
    BroadcastStop,
    ConsistControl,
    DigitalDecoderReset,
    ExtendedAccessory,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    FunctionExpansion,
    FunctionGroupOne,
    FunctionGroupTwo,
    HardReset,
    Instruction,
    LongAddress,
    RestrictedSpeedStep,
    ShortAddress,
    SpeedAndDirection,
    SpeedControl128,
    SpeedDirectionFunctions,
)
from ..instruction.speed import reading_14, reading_28
from .effect import EMERGENCY_STOP, STOP, Speed
from .seen import Change, Consist, Either, Item, Seen, Value

__all__ = ["ACTS", "Acts"]


class Acts:
    """The rows of all addresses, and the changes in them."""

    def __init__(self) -> None:
        #: The rows by address, in the order of their first packets.
        self.seen: dict[Address, Seen] = {}
        self._changes: list[Change] = []
        self._now = 0

    def _vehicles(self, row: Seen) -> Iterator[Seen]:
        """The rows that a packet to this row affects: for broadcast, all vehicles."""
        if not isinstance(row.address, Broadcast):
            yield row
            return
        for each in self.seen.values():
            if isinstance(each.address, (ShortAddress, LongAddress)):
                yield each

    def _speed_and_direction(self, row: Seen, one: SpeedAndDirection) -> None:
        steps = one.packet_context.steps or row.steps
        by_28, by_14 = reading_28(one.code), reading_14(one.code)
        speeds = Speed.of(by_28), Speed.of(by_14)
        if steps is None:
            speed: Speed | Either = speeds[0] if speeds[0] == speeds[1] else Either(*speeds)
        else:
            speed = speeds[0 if steps == 28 else 1]
        for each in self._vehicles(row):
            self._set_speed(each, speed, one.forward)
            if steps != 28:
                self._set_fl(each, 1, by_14.fl)

    def _speed_128(self, row: Seen, one: SpeedControl128) -> None:
        for each in self._vehicles(row):
            self._set_speed(each, Speed.of(one.readings[0]), one.forward)

    def _speed_functions(self, row: Seen, one: SpeedDirectionFunctions) -> None:
        for each in self._vehicles(row):
            self._set_speed(each, Speed.of(one.readings[0]), one.forward)
            self._set_functions(each, one.functions)

    def _stop(self, row: Seen, one: BroadcastStop) -> None:
        for each in self._vehicles(row):
            if each.speed is not None:
                self._set_speed(each, EMERGENCY_STOP if one.emergency else STOP, each.forward)

    def _set_speed(self, row: Seen, speed: Speed | Either, forward: bool | None) -> None:
        if speed != row.speed:
            self._note(row, Item.SPEED, None, row.speed, speed)
            row.speed = speed
        if forward is not row.forward:
            self._note(row, Item.DIRECTION, None, row.forward, forward)
            row.forward = forward

    def _set_functions(self, row: Seen, states: Mapping[int, bool]) -> None:
        for number, on in states.items():
            if number == 0:
                self._set_fl(row, 0, on)
                self._set_fl(row, 1, on)
                continue
            before = row.functions.get(number)
            if before is not on:
                row.functions[number] = on
                if on or before is not None:
                    self._note(row, Item.FUNCTION, number, before, on)
                else:
                    row.version += 1

    def _set_fl(self, row: Seen, which: int, on: bool | None) -> None:
        if row.fl[which] is on:
            return
        before = row.lamp
        row.fl[which] = on
        row.version += 1
        after = row.lamp
        if after != before and not (before is None and after in (False, Either(False, None), Either(None, False))):
            self._note(row, Item.FUNCTION, 0, before, after)

    def _group_one(self, row: Seen, one: FunctionGroupOne) -> None:
        steps = one.packet_context.steps or row.steps
        for each in self._vehicles(row):
            if steps != 14:
                self._set_fl(each, 0, one.bit4)
            self._set_functions(each, {n: on for n, on in one.functions.items() if n})

    def _functions(self, row: Seen, one: FunctionGroupTwo | FunctionExpansion) -> None:
        for each in self._vehicles(row):
            self._set_functions(each, one.functions)

    def _binary(self, row: Seen, one: BinaryStateShort | BinaryStateLong) -> None:
        for each in self._vehicles(row):
            before = each.binary.get(one.number)
            if before is not one.state:
                if one.number == 0:
                    last = 127 if isinstance(one, BinaryStateShort) else 32767
                    each.binary = {number: on for number, on in each.binary.items() if number > last}
                each.binary[one.number] = one.state
                self._note(each, Item.BINARY_STATE, one.number, before, one.state)
            elif one.number:
                each.binary.pop(0, None)

    def _analog(self, row: Seen, one: AnalogFunction) -> None:
        for each in self._vehicles(row):
            before = each.analog.get(one.output)
            if before != one.value:
                each.analog[one.output] = one.value
                self._note(each, Item.ANALOG, one.output, before, one.value)

    def _restricted(self, row: Seen, one: RestrictedSpeedStep) -> None:
        code = one.bit5 << 5 | one.code if one.enabled else None
        for each in self._vehicles(row):
            if code != each.restriction:
                self._note(each, Item.RESTRICTION, None, each.restriction, code)
                each.restriction = code

    def _consist(self, row: Seen, one: ConsistControl) -> None:
        consist = Consist(one.number, one.reversed) if one.number else None
        for each in self._vehicles(row):
            self._set_consist(each, consist)
            each.cvs[19] = one.number | one.reversed << 7 if one.number else 0

    def _set_consist(self, row: Seen, consist: Consist | None) -> None:
        if consist != row.consist:
            self._note(row, Item.CONSIST, None, row.consist, consist)
            row.consist = consist

    def _reset(self, row: Seen, one: DigitalDecoderReset | HardReset) -> None:
        for each in self._vehicles(row):
            if each.speed is not None:
                self._set_speed(each, STOP, each.forward)
            self._set_functions(each, {number: False for number in each.functions})
            for which, on in enumerate(each.fl):
                self._set_fl(each, which, None if on is None else False)
            each.binary, each.analog = {}, {}
            if each.restriction is not None:
                self._note(each, Item.RESTRICTION, None, each.restriction, None)
                each.restriction = None
            if isinstance(one, HardReset):
                for number in (29, 31, 32):  # their defaults depend on the maker, so they are not known now
                    each.cvs.pop(number, None)
                each.cvs[19] = 0
                self._set_consist(each, None)

    def _output(self, row: Seen, one: BasicAccessory) -> None:
        address = one.address
        if not isinstance(address, (AccessoryAddress, AccessoryBroadcast)) or address.output is None:
            return
        rows = [row]
        if isinstance(address, AccessoryBroadcast):  # this output of every decoder (S-9.2.1 D)
            others = ((each, each.address) for each in self.seen.values())
            rows = [each for each, its in others if isinstance(its, AccessoryAddress) and its.pair == address.pair]
        for each in rows:
            before = each.outputs.get(address.output)
            if before is not one.activate:
                each.outputs[address.output] = one.activate
                self._note(each, Item.OUTPUT, address.output, before, one.activate)

    def _aspect(self, row: Seen, one: ExtendedAccessory) -> None:
        rows = [row]
        if isinstance(row.address, ExtendedAccessoryBroadcast):
            rows = [each for each in self.seen.values() if isinstance(each.address, ExtendedAccessoryAddress)]
        for each in rows:
            if each.aspect != one.aspect:
                self._note(each, Item.ASPECT, None, each.aspect, one.aspect)
                each.aspect = one.aspect

    def _note(
        self,
        row: Seen,
        item: Item,
        number: int | None,
        before: Value,
        after: Value,
        time: int | None = None,
        effective: bool = True,
    ) -> None:
        row.version += 1
        at = self._now if time is None else time
        self._changes.append(Change(at, row.address, item, number, before, after, effective))


_Act = Callable[[Acts, Seen, Any], None]

#: The function for each instruction class. ``TrackState`` handles CV writes separately.
ACTS: dict[type[Instruction], _Act] = {
    AnalogFunction: Acts._analog,
    BasicAccessory: Acts._output,
    BinaryStateLong: Acts._binary,
    BinaryStateShort: Acts._binary,
    BroadcastStop: Acts._stop,
    ConsistControl: Acts._consist,
    DigitalDecoderReset: Acts._reset,
    ExtendedAccessory: Acts._aspect,
    FunctionExpansion: Acts._functions,
    FunctionGroupOne: Acts._group_one,
    FunctionGroupTwo: Acts._functions,
    HardReset: Acts._reset,
    RestrictedSpeedStep: Acts._restricted,
    SpeedAndDirection: Acts._speed_and_direction,
    SpeedControl128: Acts._speed_128,
    SpeedDirectionFunctions: Acts._speed_functions,
}
