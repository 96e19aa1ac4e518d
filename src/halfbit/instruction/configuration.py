"""What a packet cannot tell and a decoder's configuration does (S-9.2.2)."""

from __future__ import annotations

from typing import Any

import attrs

from ..error import HalfbitError
from .address import Address, Broadcast, LongAddress, ShortAddress

__all__ = ["Configuration"]


def _byte(instance: Any, attribute: attrs.Attribute[Any], value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 255:
        raise HalfbitError(f"Configuration.{attribute.name}: {value!r} is not an integer from 0 to 255")


@attrs.frozen(slots=True)
class Configuration:
    """CV 29 of a multi-function decoder, and the address it belongs to (S-9.2.2, CV 29).

    :raises HalfbitError: for a value outside 0 to 255, or an address that is neither short nor long.
    """

    #: The value of CV 29.
    cv29: int = attrs.field(validator=_byte)
    #: Whose it is; ``None``: that of every multi-function decoder.
    address: ShortAddress | LongAddress | None = attrs.field(default=None)

    @address.validator
    def _check_address(self, attribute: attrs.Attribute[Any], value: object) -> None:
        if value is not None and not isinstance(value, (ShortAddress, LongAddress)):
            raise HalfbitError(f"Configuration.address: {value!r} is no short or long address")

    @property
    def steps(self) -> int:
        """Speed steps of the speed and direction instruction: 28 with bit 1 set, else 14.

        With bit 1 set, FL stands in function group one; without, in speed and direction.
        """
        return 28 if self.cv29 & 0b10 else 14

    def holds_for(self, address: Address) -> bool:
        """Whether packets to ``address`` are to be read with it."""
        if self.address is None:
            return isinstance(address, (Broadcast, ShortAddress, LongAddress))
        return self.address == address
