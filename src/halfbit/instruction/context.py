"""What packets before tell about a packet: service mode or not, and first sight or repeat."""

from __future__ import annotations

from .address import (
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    Broadcast,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    LongAddress,
    ShortAddress,
)
from .base import Context, Instruction, Repetition
from .service import PAGE_REGISTER, PagePreset, RegisterAccess

__all__ = ["RepeatTracker", "ServiceTracker", "in_service_form", "tells_nothing"]

#: After so long without a valid reset or service mode packet decoders leave service mode (S-9.2.3);
#: for so long after a reset stations keep off addresses 100 to 127 (S-9.2 B). ns.
HOLD = 20_000_000

#: The first bytes to keep off: 01100100 to 01111111 (S-9.2 B).
_HELD = range(100, 128)

_RESET = b"\0\0\0"  # S-9.2 B

_OPERATIONS = Context.OPERATIONS  # members of an enumeration are slow to get at


def in_service_form(data: bytes) -> bool:
    """Whether it is identical in form to a service mode packet: 0111 first, 3 or 4 bytes (S-9.2.3 E)."""
    return len(data) in (3, 4) and data[0] >> 4 == 0b0111


def tells_nothing(data: bytes) -> bool:
    """Whether neither form nor address of a packet has to do with service mode, resets or holding off."""
    return data != _RESET and not (data and data[0] in _HELD) and not in_service_form(data)


class ServiceTracker:
    """Follows the rules by which decoders enter and leave service mode (S-9.2.3).

    Enter: a service mode packet as the next valid one after a reset packet. Leave: a valid packet
    that is neither, or 20 ms without either; what the page register holds is then forgotten, for
    another decoder may be on the programming track the next time. After leaving, operations resume
    only with a valid packet that is not identical in form to a service mode packet.

    A packet counts from when it is complete, so times are compared from end to end. Where packets
    have no times nothing expires.

    :param forced: a context that stays, whatever the packets say.
    """

    def __init__(self, forced: Context | None = None) -> None:
        #: What the packet taken last is to be read in.
        self.context = forced or Context.UNKNOWN
        #: Whether stations must not send it now, if it is one of operations mode.
        self.hold_off = False
        #: Whether it is, as a service mode packet, the same as the packet before (S-9.2.3).
        self.repetition = Repetition.FIRST
        #: What the page register holds; ``None`` where that is not known.
        self.page: int | None = None
        self._forced = forced is not None
        self._before = b""
        self._reset_end: int | None = None  # of the last reset packet
        self._kept_end: int | None = None  # of the last reset or service mode packet

    def take(self, data: bytes, end: int | None) -> None:
        """Note a valid packet that ended at ``end`` ns (``None``: unknown)."""
        before, self._before = self._before, data
        self.repetition = Repetition.REPEAT if before == data else Repetition.FIRST
        expired = end is not None and self._kept_end is not None and end - self._kept_end >= HOLD
        if expired and self.context is Context.SERVICE:
            self._go(Context.LEFT)
        self.hold_off = False
        if in_service_form(data):
            if before == _RESET and not expired:
                self._go(Context.SERVICE)
            if self.context is Context.SERVICE:
                self._kept_end = end
        elif data == _RESET:
            self._kept_end = self._reset_end = end
            if self.context is Context.LEFT:
                self._go(Context.OPERATIONS)
        else:
            self._go(Context.OPERATIONS)
        if data and data[0] in _HELD:
            if end is None or self._reset_end is None:
                self.hold_off = before == _RESET
            else:
                self.hold_off = end - self._reset_end < HOLD

    def take_common(self, data: bytes) -> bool:
        """The same for a valid packet that :func:`tells_nothing`, in short, if operations go on with it.

        Then there is nothing to be known beside it. False: it was not taken.
        """
        if self.context is not _OPERATIONS:
            return False
        self._before = data
        self.hold_off = False
        return True

    def executed(self, instruction: Instruction) -> None:
        """Note a service mode instruction on which decoders act: it may set the page register."""
        if isinstance(instruction, PagePreset):
            self.page = 1
        elif isinstance(instruction, RegisterAccess):
            if instruction.write and instruction.register == PAGE_REGISTER:
                self.page = instruction.value

    def _go(self, context: Context) -> None:
        if context is not self.context and not self._forced:
            self.page = None
            self.context = context


class RepeatTracker:
    """Tells the first from the second identical packet of an operations mode CV write (S-9.2.1 C).

    Any other packet to the same decoder in between, broadcast included, undoes the first. A write
    to broadcast counts as repeated only where it is so for all decoders: a packet to any of them
    undoes it. Holds at most one packet for each address.
    """

    def __init__(self) -> None:
        self._waiting: dict[Address, bytes] = {}

    @property
    def waiting(self) -> bool:
        """Whether a first one waits for its repeat."""
        return bool(self._waiting)

    def take(self, data: bytes, address: Address, needs_repeat: bool) -> Repetition | None:
        """Note a valid packet; what it is where its instructions need a repeat, else ``None``."""
        waiting = self._waiting
        if not waiting and not needs_repeat:
            return None
        decoder, everyone = _decoder(address)
        if decoder is None:
            return None
        repeat = waiting.get(decoder) == data
        if decoder in everyone:
            for key in [key for key in waiting if everyone[0] in _decoder(key)[1]]:
                del waiting[key]
        else:
            for key in (decoder, *everyone):
                waiting.pop(key, None)
        if not needs_repeat:
            return None
        waiting[decoder] = data
        return Repetition.REPEAT if repeat else Repetition.FIRST


_MULTI_FUNCTION = (Broadcast(),)
_BASIC = (AccessoryBroadcast(0, 0),)
_EXTENDED = (ExtendedAccessoryBroadcast(),)


def _decoder(address: Address) -> tuple[Address | None, tuple[Address, ...]]:
    """The decoder behind an address, and the address that reaches it together with all others."""
    if isinstance(address, (Broadcast, ShortAddress, LongAddress)):
        return address, _MULTI_FUNCTION
    if isinstance(address, AccessoryAddress):
        return AccessoryAddress(address.board), _BASIC  # all its outputs are one decoder
    if isinstance(address, AccessoryBroadcast):
        return _BASIC[0], _BASIC
    if isinstance(address, (ExtendedAccessoryAddress, ExtendedAccessoryBroadcast)):
        return address, _EXTENDED
    return None, ()
