"""How instructions change the rows of a track: one function per instruction class, listed in a table at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ..instruction import (
    AccessoryAddress, AccessoryBroadcast, Address, AnalogFunction, BasicAccessory, BinaryStateLong, BinaryStateShort,
    Broadcast, BroadcastStop, ConsistControl, DigitalDecoderReset, ExtendedAccessory, ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast, FunctionControl, FunctionExpansion, FunctionGroupOne, FunctionGroupTwo, HardReset,
    Instruction, LongAddress, RestrictedSpeedStep, ShortAddress, SpeedAndDirection, SpeedControl, SpeedControl128,
    SpeedDirectionFunctions,
)  # fmt: skip
from ..instruction.speed import readings_of
from .effect import STOP, Speed
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
        readings = readings_of(one.code, steps)
        speeds = [Speed.of(reading) for reading in readings]
        speed = speeds[0] if speeds[0] == speeds[-1] else Either(*speeds)
        for each in self._vehicles(row):
            self._set_speed(each, speed, one.forward)
            if steps != 28:
                self._set_fl(each, 1, readings[-1].fl)

    def _speed(self, row: Seen, one: SpeedControl) -> None:
        for each in self._vehicles(row):
            self._set_speed(each, Speed.of(one.readings[0]), one.forward)
            if isinstance(one, SpeedDirectionFunctions):
                self._set_functions(each, one.functions)

    def _stop(self, row: Seen, one: BroadcastStop) -> None:
        for each in self._vehicles(row):
            if each.speed is not None:
                self._set_speed(each, Speed.of(one.readings[0]), each.forward)

    def _set_speed(self, row: Seen, speed: Speed | Either, forward: bool | None) -> None:
        self._set(row, Item.SPEED, "speed", speed)
        self._set(row, Item.DIRECTION, "forward", forward)

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

    def _functions(self, row: Seen, one: FunctionControl) -> None:
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
            self._put(each, Item.ANALOG, each.analog, one.output, one.value)

    def _restricted(self, row: Seen, one: RestrictedSpeedStep) -> None:
        code = one.bit5 << 5 | one.code if one.enabled else None
        for each in self._vehicles(row):
            self._set(each, Item.RESTRICTION, "restriction", code)

    def _consist(self, row: Seen, one: ConsistControl) -> None:
        consist = Consist(one.number, one.reversed) if one.number else None
        for each in self._vehicles(row):
            self._set(each, Item.CONSIST, "consist", consist)
            each.cvs[19] = one.number | one.reversed << 7 if one.number else 0

    def _reset(self, row: Seen, one: DigitalDecoderReset | HardReset) -> None:
        for each in self._vehicles(row):
            if each.speed is not None:
                self._set_speed(each, STOP, each.forward)
            self._set_functions(each, {number: False for number in each.functions})
            for which, on in enumerate(each.fl):
                self._set_fl(each, which, None if on is None else False)
            each.binary, each.analog = {}, {}
            self._set(each, Item.RESTRICTION, "restriction", None)
            if isinstance(one, HardReset):
                for number in (29, 31, 32):  # their defaults depend on the maker, so they are not known now
                    each.cvs.pop(number, None)
                each.cvs[19] = 0
                self._set(each, Item.CONSIST, "consist", None)

    def _output(self, row: Seen, one: BasicAccessory) -> None:
        address = one.address
        if not isinstance(address, (AccessoryAddress, AccessoryBroadcast)) or address.output is None:
            return
        rows = [row]
        if isinstance(address, AccessoryBroadcast):  # this output of every decoder (S-9.2.1 D)
            others = ((each, each.address) for each in self.seen.values())
            rows = [each for each, its in others if isinstance(its, AccessoryAddress) and its.pair == address.pair]
        for each in rows:
            self._put(each, Item.OUTPUT, each.outputs, address.output, one.activate)

    def _aspect(self, row: Seen, one: ExtendedAccessory) -> None:
        rows = [row]
        if isinstance(row.address, ExtendedAccessoryBroadcast):
            rows = [each for each in self.seen.values() if isinstance(each.address, ExtendedAccessoryAddress)]
        for each in rows:
            self._set(each, Item.ASPECT, "aspect", one.aspect)

    def _set(self, row: Seen, item: Item, name: str, value: Value) -> None:
        """Set an attribute of a row, and note the change if there is one."""
        before = getattr(row, name)
        if before != value:
            self._note(row, item, None, before, value)
            setattr(row, name, value)

    def _put(self, row: Seen, item: Item, states: dict[int, Any], number: int, value: Value) -> None:
        """Set one of a row's numbered states, and note the change if there is one."""
        before = states.get(number)
        if before != value:
            self._note(row, item, number, before, value)
            states[number] = value

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
    SpeedControl128: Acts._speed,
    SpeedDirectionFunctions: Acts._speed,
}
