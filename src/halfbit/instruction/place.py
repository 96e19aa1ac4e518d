"""Places of patterns: after an address, or the whole packet."""

from __future__ import annotations

import enum
from collections.abc import Mapping

from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, ExtendedAccessoryAddress, ExtendedAccessoryBroadcast,
    IdleAddress, LongAddress, NoAddress, ReservedAddress, ShortAddress,
)  # fmt: skip


class Place(enum.Enum):
    """The place of a pattern. Only patterns in the same place can match the same bytes.

    For multi-function decoders a pattern starts after the address. In all other places it is the whole packet without
    the error detection byte.
    """

    #: After 00000000 (S-9.2.1 A).
    BROADCAST = "behind the broadcast address"
    #: After 0AAAAAAA, 1 to 127 (S-9.2.1 A).
    SHORT = "behind a short address"
    #: After 11AAAAAA AAAAAAAA, first byte 192 to 231 (S-9.2.1 A).
    LONG = "behind a long address"
    #: First byte 10AAAAAA (S-9.2.1 A).
    ACCESSORY = "accessory packet"
    #: First byte 232 to 254 (S-9.2.1 A).
    RESERVED = "reserved address"
    #: First byte 11111111 (S-9.2.1 A).
    IDLE = "idle address"
    #: No address: first byte 0111xxxx in service mode (S-9.2.3 E).
    SERVICE = "service mode"

    @property
    def follows_address(self) -> bool:
        """True if patterns start after the address."""
        return self in (Place.BROADCAST, Place.SHORT, Place.LONG)

    @property
    def many(self) -> bool:
        """True if a packet may hold several instructions (S-9.2.1 C). A broadcast holds one (S-9.2.1 B)."""
        return self in (Place.SHORT, Place.LONG)

    @property
    def key(self) -> int:
        """Index of the byte that decoding uses to look up instructions: the byte with the most information."""
        return 1 if self in (Place.ACCESSORY, Place.IDLE) else 0


#: The place of each kind of address.
PLACES: Mapping[type[Address], Place] = {
    Broadcast: Place.BROADCAST,
    ShortAddress: Place.SHORT,
    LongAddress: Place.LONG,
    AccessoryAddress: Place.ACCESSORY,
    AccessoryBroadcast: Place.ACCESSORY,
    ExtendedAccessoryAddress: Place.ACCESSORY,
    ExtendedAccessoryBroadcast: Place.ACCESSORY,
    ReservedAddress: Place.RESERVED,
    IdleAddress: Place.IDLE,
    NoAddress: Place.SERVICE,
}

#: Fixed bits of the first byte of a whole-packet pattern: mask and value (S-9.2.1 A, S-9.2.3 E).
FIRST: Mapping[Place, tuple[int, int]] = {
    Place.ACCESSORY: (0xC0, 0x80),
    Place.RESERVED: (0xE0, 0xE0),
    Place.IDLE: (0xFF, 0xFF),
    Place.SERVICE: (0xF0, 0x70),
}
