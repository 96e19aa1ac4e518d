"""Where patterns stand: behind an address, or as whole packets."""

from __future__ import annotations

import enum
from collections.abc import Mapping

from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, ExtendedAccessoryAddress, ExtendedAccessoryBroadcast,
    IdleAddress, LongAddress, NoAddress, ReservedAddress, ShortAddress,
)  # fmt: skip

__all__ = ["FIRST", "PLACES", "Place"]


class Place(enum.Enum):
    """Where a pattern stands. Only patterns in the same place can be taken for one another.

    Behind the address of a multi-function decoder patterns start after the address. Elsewhere a pattern is the whole
    packet but for the error detection byte.
    """

    #: Behind 00000000 (S-9.2.1 A).
    BROADCAST = "behind the broadcast address"
    #: Behind 0AAAAAAA, 1 to 127 (S-9.2.1 A).
    SHORT = "behind a short address"
    #: Behind 11AAAAAA AAAAAAAA, first byte 192 to 231 (S-9.2.1 A).
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
        """Whether patterns start after the address."""
        return self in (Place.BROADCAST, Place.SHORT, Place.LONG)

    @property
    def many(self) -> bool:
        """Whether patterns may follow one another (S-9.2.1 C). S-9.2.1 B speaks of one instruction to broadcast."""
        return self in (Place.SHORT, Place.LONG)

    @property
    def key(self) -> int:
        """The byte of the pattern by which decoding looks instructions up: the one that says most."""
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

#: What the first byte of a whole-packet pattern must fix: mask and value (S-9.2.1 A, S-9.2.3 E).
FIRST: Mapping[Place, tuple[int, int]] = {
    Place.ACCESSORY: (0xC0, 0x80),
    Place.RESERVED: (0xE0, 0xE0),
    Place.IDLE: (0xFF, 0xFF),
    Place.SERVICE: (0xF0, 0x70),
}
