"""What the packets before say about a packet: service mode or not, first or repeat, too soon after a reset or not."""

from __future__ import annotations

from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, ExtendedAccessoryAddress, ExtendedAccessoryBroadcast,
    LongAddress, ShortAddress,
)  # fmt: skip
from .base import Context, Repetition

__all__ = ["RepeatTracker", "ServiceTracker", "in_service_form", "tells_nothing"]

#: After so long without a valid reset or service mode packet decoders leave service mode (S-9.2.3);
#: for so long after a reset stations send nothing to addresses 100 to 127 (S-9.2 B). ns.
HOLD = 20_000_000

#: For so many packet times after a digital decoder reset stations send nothing to 112 to 127 (S-9.2.1 C).
PACKET_TIMES = 10

#: First bytes of packets that must wait: 01100100 to 01111111 (S-9.2 B), and 112 to 127 (S-9.2.1 C).
_WAIT_TIME, _WAIT_PACKETS = range(100, 128), range(112, 128)

_RESET = b"\0\0\0"  # S-9.2 B

_OPERATIONS = Context.OPERATIONS  # members of an enumeration are slow to get at


def in_service_form(data: bytes) -> bool:
    """Whether it is identical in form to a service mode packet: 0111 first, 3 or 4 bytes (S-9.2.3 E)."""
    return len(data) in (3, 4) and data[0] >> 4 == 0b0111


def tells_nothing(data: bytes) -> bool:
    """Whether neither form nor address of a packet has to do with service mode or the reset packet."""
    return data != _RESET and data[0] not in _WAIT_TIME and not in_service_form(data)


class ServiceTracker:
    """Follows the rules by which decoders enter and leave service mode, and the times to wait after a reset.

    Enter: a service mode packet as the next valid one after a reset packet; no time is named (S-9.2.3 E). If a stretch
    was lost between them, another packet may have stood there. Within 20 ms of the reset it was a service mode packet
    all the same, for a station may send no other to these addresses (S-9.2 B); later nothing says so.
    Leave: a valid packet that is neither, or 20 ms without either; what the page register holds is then forgotten, for
    another decoder may be on the programming track the next time. After leaving, operations resume
    only with a valid packet that is not identical in form to a service mode packet.

    A packet counts from when it is complete, so times are compared from end to end. If packets
    have no times nothing expires.

    :param forced: a context that stays, whatever the packets say.
    """

    def __init__(self, forced: Context | None = None) -> None:
        #: What the packet taken last is to be read in.
        self.context = forced or Context.UNKNOWN
        #: Whether the station had to wait before it, if it is one of operations mode.
        self.too_soon = False
        #: Whether it is, as a service mode packet, the same as the packet before (S-9.2.3).
        self.repetition = Repetition.FIRST
        #: What the page register holds; ``None`` if that is not known.
        self.page: int | None = None
        self._forced = forced is not None
        self._before = b""
        self._lost = False  # a stretch, since the packet before
        self._reset_end: int | None = None  # of the last reset packet
        #: End of the last reset or service mode packet, ns; ``None``: none yet, or without a time.
        self.kept_end: int | None = None
        self._wait = 0  # packet times to wait after the last digital decoder reset

    def take(self, data: bytes, end: int | None, resets: bool) -> None:
        """Note a valid packet.

        :param end: its end, ns; ``None`` if unknown.
        :param resets: whether it is a digital decoder reset, unless it is one of service mode.
        """
        before, self._before = self._before, data
        lost, self._lost = self._lost, False
        self.repetition = Repetition.REPEAT if before == data else Repetition.FIRST
        if self.expired(end):
            self._go(Context.LEFT)
        if in_service_form(data):
            if before == _RESET:
                self._after_reset(lost and not _soon(self._reset_end, end))
            if self.context is Context.SERVICE:
                self.kept_end = end
        elif data == _RESET:
            self.kept_end = self._reset_end = end
            if self.context is Context.LEFT:
                self._go(Context.OPERATIONS)
        else:
            self._go(Context.OPERATIONS)
        self.too_soon = data[0] in _WAIT_TIME and self._must_wait(data[0], before, end)
        if resets and self.context is not Context.SERVICE:
            self._wait = PACKET_TIMES
        elif self._wait:
            self._wait -= 1

    def expired(self, now: int | None) -> bool:
        """Whether it is time to leave service mode."""
        return self.context is Context.SERVICE and _since(self.kept_end, now) >= HOLD

    def restore(self, context: Context, before: bytes, kept_end: int | None) -> None:
        """Go on in a context, after a packet ``before``."""
        self.context, self._before, self.kept_end = context, before, kept_end

    def take_common(self, data: bytes) -> bool:
        """The same for a valid packet that :func:`tells_nothing`, in short, if operations go on with it.

        Then there is nothing to be known beside it. False: it was not taken.
        """
        if self.context is not _OPERATIONS:
            return False
        if self._wait:
            self._wait -= 1
        self._before = data
        self._lost = self.too_soon = False
        return True

    def lose(self) -> None:
        """Note that a stretch of the signal was lost: one packet time or more."""
        self._lost = True
        if self._wait:
            self._wait -= 1

    def turn_page(self, page: int) -> None:
        """Note that decoders were told to set the page register."""
        self.page = page

    def _after_reset(self, uncertain: bool) -> None:
        if not uncertain:
            self._go(Context.SERVICE)
        elif self.context is Context.OPERATIONS:
            self._go(Context.UNKNOWN)

    def _must_wait(self, first: int, before: bytes, end: int | None) -> bool:
        if self._wait and first in _WAIT_PACKETS:
            return True
        return before == _RESET if end is None or self._reset_end is None else _soon(self._reset_end, end)

    def _go(self, context: Context) -> None:
        if context is not self.context and not self._forced:
            self.page = None
            self.context = context


def _since(start: int | None, end: int | None) -> int:
    """ns between two times; 0 if one is not known."""
    return 0 if start is None or end is None else end - start


def _soon(start: int | None, end: int | None) -> bool:
    """Whether the two times are known to be less than 20 ms apart."""
    return start is not None and end is not None and end - start < HOLD


class RepeatTracker:
    """Tells the first from the second identical packet of an operations mode CV write (S-9.2.1 C).

    Any other packet to the same decoder in between, broadcast included, undoes the first. A write
    to broadcast counts as repeated only if it is so for all decoders: a packet to any of them
    undoes it. Holds at most one packet for each address.
    """

    def __init__(self) -> None:
        self._waiting: dict[Address, bytes] = {}

    @property
    def waiting(self) -> bool:
        """Whether a first one waits for its repeat."""
        return bool(self._waiting)

    def take(self, data: bytes, address: Address, needs_repeat: bool) -> Repetition | None:
        """Note a valid packet; which one it is if its instructions need a repeat, else ``None``."""
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
_BASIC = (AccessoryBroadcast(),)
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
