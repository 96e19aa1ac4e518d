"""Who is on the track: every address at once, from events alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ..event import Cutout, Fault
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
    Context,
    CvAccess,
    CvShortFormPair,
    DecoderKind,
    DigitalDecoderReset,
    Event,
    ExtendedAccessory,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    FactoryReset,
    FunctionExpansion,
    FunctionGroupOne,
    FunctionGroupTwo,
    HardReset,
    Instruction,
    LongAddress,
    NoAddress,
    PagePreset,
    RegisterAccess,
    Repetition,
    RestrictedSpeedStep,
    ShortAddress,
    SpeedAndDirection,
    SpeedControl128,
    SpeedDirectionFunctions,
)
from ..instruction.speed import reading_14, reading_28
from .base import Access, access_of
from .cv import byte
from .effect import EMERGENCY_STOP, STOP, Speed
from .seen import Change, Consist, CvBit, Either, Item, Seen, Value

__all__ = ["TrackState"]

#: How many different packets are remembered.
REMEMBERED = 4096

_OPERATIONS = Context.OPERATIONS


class TrackState:
    """Events in, changes out; and what was last seen of every address, in flat memory.

    Of a decoder nothing is known but what the packets say. What depends on CV 29 is an :class:`Either` until that CV is
    given, or seen written. Packets to a consist address count for that address, not for its members.

    :param cvs: CVs of decoders, by address.
    :raises HalfbitError: for a CV or value out of range.
    """

    def __init__(self, cvs: Mapping[Address, Mapping[int, int]] | None = None) -> None:
        #: By address, in the order of their first packets.
        self.seen: dict[Address, Seen] = {}
        #: Losses that look like no address that was seen.
        self.losses = 0
        #: Start of the first event and end of the last, ns.
        self.start: int | None = None
        self.end = 0
        #: What packets are taken for on the track.
        self.mode = Context.UNKNOWN
        self._given = {address: {n: byte(n, value) for n, value in of.items()} for address, of in (cvs or {}).items()}
        # Packets that change nothing when they come again: bytes to address, and its version after the packet.
        self._known: dict[bytes, tuple[Seen, int]] = {}
        self._packet: object = None
        self._again = False
        self._waiting: set[Seen] = set()
        self._changes: list[Change] = []
        self._now = 0

    @property
    def length(self) -> int:
        """From the start of the first event to the end of the last, ns."""
        return self.end - (self.start or 0)

    def share(self, address: Address) -> float:
        """The share of the track's time that packets to an address take, 0 to 1."""
        row = self.seen.get(address)
        return row.time / self.length if row and self.length else 0.0

    def idle(self, address: Address) -> int | None:
        """Time since the last packet to an address, ns; ``None`` if there was none."""
        row = self.seen.get(address)
        return None if row is None else self.end - row.last

    def members(self, consist: int) -> list[Address]:
        """Who is in a consist, as far as the packets tell."""
        return [row.address for row in self.seen.values() if row.consist and row.consist.address == consist]

    def looks_like(self, fault: Fault) -> Address | None:
        """The address that the first bytes of a torn packet name, if it was seen before."""
        data = fault.data
        if not data:
            return None
        address: Address | None = None
        if 1 <= data[0] <= 127:
            address = ShortAddress(data[0])
        elif len(data) > 1 and 192 <= data[0] <= 231:
            address = LongAddress((data[0] & 0x3F) << 8 | data[1])
        elif len(data) > 1 and 128 <= data[0] <= 191:
            board = (~data[1] & 0x70) << 2 | data[0] & 0x3F
            pair = data[1] >> 1 & 3
            address = AccessoryAddress(board, pair) if data[1] & 0x80 else ExtendedAccessoryAddress(board << 2 | pair)
        return address if address in self.seen else None

    def feed(self, event: Event) -> tuple[Change, ...]:
        """Take the next event; give what changed with it."""
        if isinstance(event, Instruction):
            packet = event.packet
            if packet is None:
                return ()
            if packet is self._packet:  # a further instruction of the same packet
                return () if self._again else self._more(event, packet.data)
            self._packet = packet
            end = self.end = packet.end
            known = self._known.get(packet.data)
            if known is not None and event.packet_context.context is _OPERATIONS is self.mode:
                row, version = known
                if version == row.version:
                    self._again = True
                    row.heard(packet.start, end)
                    return ()
            self._again = False
            self._new(event, packet.start, end, packet.data)
            return self._taken()
        if self.start is None:
            self.start = event.start
        self.end = event.end
        if isinstance(event, Fault):
            address = self.looks_like(event)
            if address is None:
                self.losses += 1
            else:
                self.seen[address].losses += 1
        return ()

    def finish(self) -> tuple[Change, ...]:
        """The track is over: CV writes that wait for their repeat had no effect."""
        for row in list(self._waiting):
            self._undone(row)
        return self._taken()

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        return {
            "length": self.length,
            "mode": self.mode.value,
            "losses": self.losses,
            "addresses": [{**row.as_dict(), "share": round(self.share(row.address), 6)} for row in self.seen.values()],
        }

    def _taken(self) -> tuple[Change, ...]:
        changes, self._changes = tuple(self._changes), []
        return changes

    def _more(self, event: Instruction, data: bytes) -> tuple[Change, ...]:
        """A further instruction of a packet that may change something."""
        self._act(event)
        known = self._known.pop(data, None)
        if known is not None and not event.needs_repeat:
            self._known[data] = (known[0], known[0].version)
        return self._taken()

    def _new(self, event: Instruction, start: int, end: int, data: bytes) -> None:
        """A packet that may change something."""
        if self.start is None:
            self.start = start
        self._now = end
        self._mode(event.context)
        row = self._row(event.address)
        row.heard(start, end)
        everyone = isinstance(event.address, (Broadcast, AccessoryBroadcast, ExtendedAccessoryBroadcast))
        for waiting in [*self._waiting] if everyone else [row] if row.pending else []:
            if waiting.pending and waiting.pending[0] != data:
                self._undone(waiting)
        self._act(event)
        if not everyone and not event.needs_repeat and event.context is _OPERATIONS and row.pending is None:
            if len(self._known) >= REMEMBERED:
                self._known.clear()
            self._known[data] = (row, row.version)

    def _mode(self, mode: Context) -> None:
        before, self.mode = self.mode, mode
        if mode is before:
            return
        nobody = self.seen.get(NoAddress())
        if before is Context.SERVICE and nobody is not None:
            self._undone(nobody)
            nobody.cvs.clear()  # another vehicle may stand there the next time
        if before is not Context.UNKNOWN or mode is not _OPERATIONS:
            self._changes.append(Change(self._now, None, Item.MODE, None, before.value, mode.value))

    def _row(self, address: Address) -> Seen:
        """The row of an address; both outputs of an accessory decoder's pair share one."""
        row = self.seen.get(address)
        if row is None:
            if isinstance(address, AccessoryAddress) and address.output is not None:
                return self._row(AccessoryAddress(address.board, address.pair))
            if isinstance(address, AccessoryBroadcast):
                address = AccessoryBroadcast(address.pair, 0)
            row = self.seen.setdefault(address, Seen(address))
            row.cvs.update(self._given.get(address, {}))
        return row

    def _act(self, event: Instruction) -> None:
        act = _ACTS.get(type(event))
        if act is not None:
            act(self, self._row(event.address), event)
        elif isinstance(event, (CvAccess, FactoryReset, PagePreset)):
            self._write(self._row(event.address), event)

    # What instructions change

    def _vehicles(self, row: Seen) -> Iterator[Seen]:
        """The rows that a packet to a row is for."""
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
                for number in (29, 31, 32):  # their defaults are the maker's
                    each.cvs.pop(number, None)
                each.cvs[19] = 0
                self._set_consist(each, None)

    def _output(self, row: Seen, one: BasicAccessory) -> None:
        address = one.address
        output = address.output if isinstance(address, (AccessoryAddress, AccessoryBroadcast)) else None
        if output is not None:
            before = row.outputs.get(output)
            if before is not one.activate:
                row.outputs[output] = one.activate
                self._note(row, Item.OUTPUT, output, before, one.activate)

    def _aspect(self, row: Seen, one: ExtendedAccessory) -> None:
        if row.aspect != one.aspect:
            self._note(row, Item.ASPECT, None, row.aspect, one.aspect)
            row.aspect = one.aspect

    # CV writes

    def _write(self, row: Seen, one: CvAccess | FactoryReset | PagePreset) -> None:
        """Note a CV write once, with the packet on which decoders act."""
        packet = one.packet
        if packet is None or (isinstance(one, CvAccess) and not one.writes):
            return
        if not one.needs_repeat:  # the short forms: one packet acts, and the same value again is the same act
            if any(row.cvs.get(access.cv) != access.value for access in _accesses(one)):
                self._written(row, one, self._now, effective=True)
        elif one.repetition is Repetition.REPEAT:
            if row.pending is not None and row.pending[0] == packet.data:
                self._forget(row)
                self._written(row, one, self._now, effective=True)
        else:
            self._undone(row)
            row.pending = (packet.data, one, self._now)
            row.version += 1
            self._waiting.add(row)

    def _undone(self, row: Seen) -> None:
        """A CV write that waits is not repeated."""
        pending = self._forget(row)
        if pending is not None:
            self._written(row, pending[1], pending[2], effective=False)

    def _forget(self, row: Seen) -> tuple[bytes, Instruction, int] | None:
        pending, row.pending = row.pending, None
        row.version += 1
        self._waiting.discard(row)
        return pending

    def _written(self, row: Seen, one: Instruction, time: int, *, effective: bool) -> None:
        if isinstance(one, FactoryReset):
            self._note(row, Item.RESET, None, None, "factory reset", time, effective)
        elif isinstance(one, PagePreset):
            self._note(row, Item.REGISTER, 6, None, 1, time, effective)
        elif isinstance(one, RegisterAccess) and one.cv is None:
            self._note(row, Item.REGISTER, one.register, None, one.value, time, effective)
        for access in _accesses(one):
            before = row.cvs.get(access.cv)
            after: int | CvBit = access.value
            if access.bit is not None:
                after = CvBit(access.bit, bool(access.value)) if before is None else access.written(before)
            self._note(row, Item.CV, access.cv, before, after, time, effective)
            if effective and isinstance(after, int):
                self._know(row, access.cv, after)

    def _know(self, row: Seen, number: int, value: int) -> None:
        """A CV is known, and what follows from it (S-9.2.2)."""
        row.cvs[number] = value
        if isinstance(row.address, (AccessoryAddress, ExtendedAccessoryAddress)):
            return
        if number == 1:
            row.cvs[19] = 0
            if 29 in row.cvs:
                row.cvs[29] &= ~0b00100000
        if number in (1, 19):
            member = row.cvs[19] & 0x7F
            self._set_consist(row, Consist(member, row.cvs[19] > 127) if member else None)

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


def _accesses(one: Instruction) -> list[Access]:
    """The CV writes of an instruction."""
    if isinstance(one, CvShortFormPair):
        return [Access(one.cv, True, one.value), Access(one.cv + 1, True, one.next_value)]
    if not isinstance(one, CvAccess) or one.cv is None:
        return []
    access = access_of(one, DecoderKind.MULTI_FUNCTION, one.packet_context.page)
    return [] if access is None else [access]


_Act = Callable[[TrackState, Seen, Any], None]

#: What is done at an instruction; CV writes come beside.
_ACTS: dict[type[Instruction], _Act] = {
    AnalogFunction: TrackState._analog,
    BasicAccessory: TrackState._output,
    BinaryStateLong: TrackState._binary,
    BinaryStateShort: TrackState._binary,
    BroadcastStop: TrackState._stop,
    ConsistControl: TrackState._consist,
    DigitalDecoderReset: TrackState._reset,
    ExtendedAccessory: TrackState._aspect,
    FunctionExpansion: TrackState._functions,
    FunctionGroupOne: TrackState._group_one,
    FunctionGroupTwo: TrackState._functions,
    HardReset: TrackState._reset,
    RestrictedSpeedStep: TrackState._restricted,
    SpeedAndDirection: TrackState._speed_and_direction,
    SpeedControl128: TrackState._speed_128,
    SpeedDirectionFunctions: TrackState._speed_functions,
}
