"""Decoder configuration: CVs that change the meaning of a packet (S-9.2.2)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Union

import attrs

from ..error import HalfbitError
from .address import Address, Broadcast, LongAddress, ShortAddress
from .field import integer


@attrs.frozen(slots=True)
class Configuration:
    """The CVs of a multi-function decoder on which the meaning of its packets depends (S-9.2.2).

    :raises HalfbitError: for a value outside 0 to 255.
    """

    #: The value of CV 29.
    cv29: int = integer(0, 255)
    #: CV 19, the consist: bits 0 to 6 are its address, 0 for no consist; bit 7 is set if the locomotive runs reversed.
    cv19: int = integer(0, 255, default=0, kw_only=True)
    #: CV 21: a set bit means that the function obeys the consist's address; F1 is bit 0, F8 is bit 7.
    cv21: int = integer(0, 255, default=0, kw_only=True)
    #: CV 22: the same for FL forward (bit 0), FL reverse (bit 1), F9 (bit 2) to F12 (bit 5).
    cv22: int = integer(0, 255, default=0, kw_only=True)

    @property
    def steps(self) -> int:
        """Speed steps of the speed and direction instruction: 28 if CV 29 bit 1 is set, else 14.

        If bit 1 is set, FL (the headlight) is in function group one; else it is in speed and direction.
        """
        return 28 if self.cv29 & 0b10 else 14

    @property
    def consist(self) -> ShortAddress | None:
        """The address of the decoder's consist; ``None`` if it is not in a consist (CV 19)."""
        number = self.cv19 & 0x7F
        return ShortAddress(number) if number else None

    def obeys_consist(self, function: int, *, forward: bool) -> bool:
        """True if the function, 0 (FL) to 12, obeys the consist's address (CV 21 and 22).

        :param forward: the direction; it matters for FL only.
        :raises HalfbitError: for a function outside 0 to 12.
        """
        if type(function) is not int or not 0 <= function <= 12:
            raise HalfbitError(f"function: {function!r} is not an integer from 0 (FL) to 12: the CVs have no others")
        if 1 <= function <= 8:
            return bool(self.cv21 >> function - 1 & 1)
        bit = function - 7 if function else int(not forward)
        return bool(self.cv22 >> bit & 1)


#: One configuration for all multi-function decoders, or a mapping of address to configuration. In the mapping the key
#: :class:`Broadcast` is for all addresses that have no key of their own.
Configurations = Union[Configuration, Mapping[Address, Configuration], None]


def checked_configurations(given: object) -> dict[Address, Configuration]:
    """Configurations as a mapping.

    :raises HalfbitError: if ``given`` is not a :data:`Configurations`.
    """
    if given is None:
        return {}
    if isinstance(given, Configuration):
        return {Broadcast(): given}
    if isinstance(given, Mapping) and all(
        isinstance(address, (Broadcast, ShortAddress, LongAddress)) and isinstance(one, Configuration)
        for address, one in given.items()
    ):
        return dict(given)
    raise HalfbitError(
        f"configuration: {given!r} is no Configuration: give Configuration(cv29=...), "
        "or a mapping of short and long addresses (Broadcast() for all others) to them"
    )


def configurations_for(address: Address, known: Mapping[Address, Configuration]) -> tuple[Configuration, ...]:
    """The configurations of the decoders that a packet to ``address`` reaches: its own decoder, and those of a consist.

    Empty if one of them is not known. Without duplicates.
    """
    if not known or not isinstance(address, (Broadcast, ShortAddress, LongAddress)):
        return ()
    if isinstance(address, Broadcast):
        return tuple(dict.fromkeys(known.values())) if address in known else ()
    consist = [one for one in known.values() if one.consist == address]
    own = known.get(address, None if consist else known.get(Broadcast()))
    return tuple(dict.fromkeys([*consist, *([] if own is None else [own])]))
