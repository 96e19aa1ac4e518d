"""Facts that follow from earlier packets: service mode or not, first or repeat, too soon after a reset or not."""

from __future__ import annotations

from .address import AccessoryAddress, AccessoryBroadcast, Address, Broadcast, DecoderKind, ExtendedAccessoryBroadcast
from .base import Context, Repetition

#: 20 ms, in ns. Decoders leave service mode after this time without a valid reset or service mode packet (S-9.2.3).
#: Stations send nothing to addresses 100 to 127 for this time after a reset (S-9.2 B).
HOLD = 20_000_000

#: Packet times after a digital decoder reset during which stations send nothing to addresses 112 to 127 (S-9.2.1 C).
PACKET_TIMES = 10

#: First bytes of packets that must wait after a reset: 01100100 to 01111111 (S-9.2 B), 112 to 127 (S-9.2.1 C).
WAIT_TIME, WAIT_PACKETS = range(100, 128), range(112, 128)

RESET = b"\0\0\0"  #: The reset packet, a broadcast (S-9.2 B).


def in_service_form(data: bytes) -> bool:
    """True if the packet has the form of a service mode packet: it starts with 0111, 3 or 4 bytes (S-9.2.3 E)."""
    return len(data) in (3, 4) and data[0] >> 4 == 0b0111


class ServiceTracker:
    """Tracks when decoders enter and leave service mode, and the times to wait after a reset.

    Enter: the next valid packet after a reset packet is a service mode packet; the standard gives no time limit
    (S-9.2.3 E). If part of the signal was lost between the two, the lost part may have held another packet. Within
    20 ms of the reset this does not matter: a station must not send any other packet to these addresses (S-9.2 B).
    After 20 ms it is not certain.

    Leave: a valid packet that is neither reset nor service mode, or 20 ms without either. The page register is then
    forgotten, because another decoder may be on the programming track next time. After that, operations resume only
    with a valid packet that does not have the form of a service mode packet.

    A packet counts when it is complete, so times run from packet end to packet end. If packets have no times, nothing
    expires.

    :param forced: a fixed context, which no packet changes.
    """

    def __init__(self, forced: Context | None = None) -> None:
        self.context: Context = forced or Context.UNKNOWN
        #: True if the station sent the last packet too early. Valid only if it is an operations mode packet.
        self.too_soon: bool = False
        #: REPEAT if the last packet is the same as the one before it (S-9.2.3). Valid only for service mode packets.
        self.repetition: Repetition = Repetition.FIRST
        #: The value of the page register; ``None`` if not known. Whoever reads a write of it sets it.
        self.page: int | None = None
        self._forced = forced is not None
        self._before = b""
        self._lost = False  # True if part of the signal was lost since the packet before
        self._reset_end: int | None = None  # of the last reset packet
        #: End of the last reset or service mode packet, ns; ``None`` before the first, or if it has no time.
        self.kept_end: int | None = None
        self._wait = 0  # packet times to wait after the last digital decoder reset

    def take(self, data: bytes, end: int | None, resets: bool) -> None:
        """Note a valid packet.

        :param end: its end, ns; ``None`` if unknown.
        :param resets: True if it is a digital decoder reset when read in operations mode.
        """
        before, lost, self._before, self._lost = self._before, self._lost, data, False
        self.repetition = Repetition.REPEAT if before == data else Repetition.FIRST
        if self.expired(end):
            self._go(Context.LEFT)
        if in_service_form(data):
            if before == RESET and not (lost and not _soon(self._reset_end, end)):
                self._go(Context.SERVICE)
            elif before == RESET and self.context is Context.OPERATIONS:
                self._go(Context.UNKNOWN)
            if self.context is Context.SERVICE:
                self.kept_end = end
        elif data == RESET:
            self.kept_end = self._reset_end = end
            if self.context is Context.LEFT:
                self._go(Context.OPERATIONS)
        else:
            self._go(Context.OPERATIONS)
        self.too_soon = data[0] in WAIT_TIME and self._must_wait(data[0], before, end)
        if resets and self.context is not Context.SERVICE:
            self._wait = PACKET_TIMES
        elif self._wait:
            self._wait -= 1

    def expired(self, now: int | None) -> bool:
        """True if it is time to leave service mode.

        :param now: ns; ``None`` if unknown.
        """
        return self.context is Context.SERVICE and _soon(self.kept_end, now) is False

    def restore(self, context: Context, before: bytes, kept_end: int | None) -> None:
        """Restore a saved state.

        :param before: the bytes of the last packet.
        :param kept_end: end of the last reset or service mode packet, ns; ``None`` if there is no such packet or time.
        """
        self.context, self._before, self.kept_end = context, before, kept_end

    def lose(self) -> None:
        """Note that part of the signal was lost. It counts as one packet time."""
        self._lost = True
        if self._wait:
            self._wait -= 1

    def _must_wait(self, first: int, before: bytes, end: int | None) -> bool:
        if self._wait and first in WAIT_PACKETS:
            return True
        soon = _soon(self._reset_end, end)
        return before == RESET if soon is None else soon

    def _go(self, context: Context) -> None:
        if context is not self.context and not self._forced:
            self.page = None
            self.context = context


def _soon(start: int | None, end: int | None) -> bool | None:
    """True if the times, ns, are less than 20 ms apart; ``None`` if one of them is not known."""
    return None if start is None or end is None else end - start < HOLD


class RepeatTracker:
    """Finds out if an operations mode CV write is the first packet or a repeat (S-9.2.1 C).

    Any other packet to the same decoder in between, broadcast included, cancels the first. A broadcast write must be
    repeated for all decoders: a packet to any of them in between cancels it. Holds at most one packet per address.
    """

    def __init__(self) -> None:
        self.waiting: dict[Address, bytes] = {}  #: First packets that wait for their repeat, by address.

    def take(self, data: bytes, address: Address, needs_repeat: bool) -> Repetition | None:
        """Note a valid packet.

        :return: first or repeat, if its instructions need a repeat; else ``None``.
        """
        waiting = self.waiting
        if not waiting and not needs_repeat:
            return None
        decoder, everyone = decoder_of(address)
        if decoder is None or everyone is None:
            return None
        repeat = waiting.get(decoder) == data
        if decoder == everyone:
            for key in [key for key in waiting if decoder_of(key)[1] == everyone]:
                del waiting[key]
        else:
            waiting.pop(decoder, None)
            waiting.pop(everyone, None)
        if not needs_repeat:
            return None
        waiting[decoder] = data
        return Repetition.REPEAT if repeat else Repetition.FIRST


def decoder_of(address: Address) -> tuple[Address | None, Address | None]:
    """The decoder of an address, and the broadcast address that also reaches it. For a broadcast both are the same."""
    if isinstance(address, AccessoryAddress):
        return AccessoryAddress(address.board), _BASIC  # all its outputs are one decoder
    if isinstance(address, AccessoryBroadcast):
        return _BASIC, _BASIC
    if address.decoder is None:
        return None, None
    return address, _MULTI_FUNCTION if address.decoder is DecoderKind.MULTI_FUNCTION else _EXTENDED


_MULTI_FUNCTION, _BASIC, _EXTENDED = Broadcast(), AccessoryBroadcast(), ExtendedAccessoryBroadcast()
