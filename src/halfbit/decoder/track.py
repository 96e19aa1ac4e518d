"""The state of all addresses on a track, from the events of a capture."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..event import Fault, Packet
from ..instruction import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, Context, CvAccess, CvShortFormPair, DecoderKind, Event,
    ExtendedAccessoryAddress, ExtendedAccessoryBroadcast, FactoryReset, Instruction, LongAddress, NoAddress,
    PagePreset, RegisterAccess, Repetition, ShortAddress,
)  # fmt: skip
from .acts import act, know
from .base import Access, access_of
from .cv import byte
from .seen import Change, Changes, CvBit, Item, Seen


class TrackState:
    """Events in, changes out. Also holds the last known state of every address, in bounded memory.

    Everything known about a decoder comes from packets. A value that depends on CV 29 is an :class:`Either` until that
    CV is given or a packet writes it. Packets to a consist address count for that address, not for its members.

    :param cvs: known CVs of decoders: address to CV number to value.
    :raises HalfbitError: for a CV or value out of range.
    """

    def __init__(self, cvs: Mapping[Address, Mapping[int, int]] | None = None) -> None:
        self.seen: dict[Address, Seen] = {}  #: The rows by address, in the order of their first packets.
        self.losses: int = 0  #: Number of faults that cannot be assigned to an address already seen.
        self.start: int | None = None  #: Start of the first event, ns.
        self.end: int = 0  #: End of the last event, ns.
        self.mode: Context = Context.UNKNOWN
        self._given = {address: {n: byte(n, value) for n, value in of.items()} for address, of in (cvs or {}).items()}
        self._changes = Changes()
        self._packet: object = None

    @property
    def length(self) -> int:
        """From the start of the first event to the end of the last, ns."""
        return self.end - (self.start or 0)

    def share(self, address: Address) -> float:
        """The share of the track's time used by packets to an address, 0 to 1."""
        row = self.seen.get(address)
        return row.time / self.length if row and self.length else 0.0

    def idle(self, address: Address) -> int | None:
        """Time since the last packet to an address, ns; ``None`` if there was no packet."""
        row = self.seen.get(address)
        return None if row is None else self.end - row.last

    def members(self, consist: int) -> list[Address]:
        """The addresses in a consist, as far as known from packets."""
        return [row.address for row in self.seen.values() if row.consist and row.consist.address == consist]

    def looks_like(self, fault: Fault) -> Address | None:
        """The address in the first bytes of a damaged packet, if that address was seen before; else ``None``."""
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
        """Take the next event and return the changes that it makes."""
        if isinstance(event, Instruction):
            packet = event.packet
            if packet is None:
                return ()
            if packet is not self._packet:  # else a further instruction of the same packet
                self._packet = packet
                self._new(event, packet)
            self._act(event)
            return self._changes.take()
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
        """End the capture. CV writes that still wait for their repeat had no effect."""
        for row in self._waiting():
            self._undone(row)
        return self._changes.take()

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        rows = [{**row.as_dict(), "share": round(self.share(row.address), 6)} for row in self.seen.values()]
        return {"length": self.length, "mode": self.mode.value, "losses": self.losses, "addresses": rows}

    def _new(self, event: Instruction, packet: Packet) -> None:
        if self.start is None:
            self.start = packet.start
        self.end = self._changes.now = packet.end
        self._mode(event.context)
        row = self._row(event.address)
        row.heard(packet.start, packet.end)
        everyone = isinstance(event.address, (Broadcast, AccessoryBroadcast, ExtendedAccessoryBroadcast))
        for waiting in self._waiting() if everyone else [row]:
            if waiting.pending is not None and waiting.pending[0] != packet.data:
                self._undone(waiting)

    def _mode(self, mode: Context) -> None:
        before, self.mode = self.mode, mode
        if mode is before:
            return
        nobody = self.seen.get(NoAddress())
        if before is Context.SERVICE and nobody is not None:
            self._undone(nobody)
            nobody.cvs.clear()  # another vehicle may be there next time
        if before is not Context.UNKNOWN or mode is not Context.OPERATIONS:
            self._changes.note_mode(before, mode)

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

    def _reached(self, row: Seen) -> list[Seen]:
        """The rows that a packet to this row affects: more than one for a broadcast."""
        address, rows = row.address, self.seen.values()
        if isinstance(address, Broadcast):
            return [each for each in rows if isinstance(each.address, (ShortAddress, LongAddress))]
        if isinstance(address, AccessoryBroadcast):  # an output of every decoder (S-9.2.1 D)
            others = ((each, each.address) for each in rows)
            return [each for each, its in others if isinstance(its, AccessoryAddress) and its.pair == address.pair]
        if isinstance(address, ExtendedAccessoryBroadcast):
            return [each for each in rows if isinstance(each.address, ExtendedAccessoryAddress)]
        return [row]

    def _act(self, event: Instruction) -> None:
        if isinstance(event, (CvAccess, FactoryReset, PagePreset)):
            self._write(self._row(event.address), event)
            return
        for row in self._reached(self._row(event.address)):
            act(self._changes, row, event)

    # CV writes

    def _write(self, row: Seen, one: CvAccess | FactoryReset | PagePreset) -> None:
        """Note a CV write once, with the packet on which decoders act."""
        packet = one.packet
        if packet is None or (isinstance(one, CvAccess) and not one.writes):
            return
        if not one.needs_repeat:  # short forms: one packet acts; a repeat with the same value is the same write
            if any(row.cvs.get(access.cv) != access.value for access in _accesses(one)):
                self._written(row, one, self._changes.now, effective=True)
        elif one.repetition is Repetition.REPEAT:
            if row.pending is not None and row.pending[0] == packet.data:
                row.pending = None
                self._written(row, one, self._changes.now, effective=True)
        else:
            self._undone(row)
            row.pending = (packet.data, one, self._changes.now)

    def _waiting(self) -> list[Seen]:
        """The rows with a CV write that waits for its repeat, the longest wait first."""
        rows = [(row.pending[2], row) for row in self.seen.values() if row.pending is not None]
        return [row for _, row in sorted(rows, key=lambda pair: pair[0])]

    def _undone(self, row: Seen) -> None:
        """Note that a waiting CV write was not repeated."""
        pending, row.pending = row.pending, None
        if pending is not None:
            self._written(row, pending[1], pending[2], effective=False)

    def _written(self, row: Seen, one: Instruction, time: int, *, effective: bool) -> None:
        if isinstance(one, FactoryReset):
            self._changes.note(row, Item.RESET, None, None, "factory reset", time=time, effective=effective)
        elif isinstance(one, PagePreset):
            self._changes.note(row, Item.REGISTER, 6, None, 1, time=time, effective=effective)
        elif isinstance(one, RegisterAccess) and one.cv is None:
            self._changes.note(row, Item.REGISTER, one.register, None, one.value, time=time, effective=effective)
        for access in _accesses(one):
            before = row.cvs.get(access.cv)
            after: int | CvBit = access.value
            if access.bit is not None:
                after = CvBit(access.bit, bool(access.value)) if before is None else access.written(before)
            self._changes.note(row, Item.CV, access.cv, before, after, time=time, effective=effective)
            if effective and isinstance(after, int):
                know(self._changes, row, access.cv, after)


def _accesses(one: Instruction) -> list[Access]:
    """The CV writes of an instruction."""
    if isinstance(one, CvShortFormPair):
        return [Access(one.cv, True, one.value), Access(one.cv + 1, True, one.next_value)]
    if not isinstance(one, CvAccess) or one.cv is None:
        return []
    access = access_of(one, DecoderKind.MULTI_FUNCTION, one.packet_context.page)
    return [] if access is None else [access]
