"""What a packet cannot say and a decoder's configuration does (S-9.2.2)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Union

import attrs

from ..error import HalfbitError
from .address import Address, Broadcast, LongAddress, ShortAddress
from .field import integer

__all__ = ["Configuration", "Configurations", "configurations_for"]


@attrs.frozen(slots=True)
class Configuration:
    """The CVs of a multi-function decoder on which the meaning of its packets depends (S-9.2.2).

    :raises HalfbitError: for a value outside 0 to 255.
    """

    #: The value of CV 29.
    cv29: int = integer(0, 255)
    #: CV 19, the consist: bits 0 to 6 the address, 0 if in none; bit 7 if its direction is opposite.
    cv19: int = integer(0, 255, default=0, kw_only=True)
    #: CV 21: which of F1 (bit 0) to F8 (bit 7) obey the consist's address.
    cv21: int = integer(0, 255, default=0, kw_only=True)
    #: CV 22: the same for FL forward (bit 0), FL reverse (bit 1), F9 (bit 2) to F12 (bit 5).
    cv22: int = integer(0, 255, default=0, kw_only=True)

    @property
    def steps(self) -> int:
        """Speed steps of the speed and direction instruction: 28 with CV 29 bit 1 set, else 14.

        With bit 1 set, FL stands in function group one; without, in speed and direction.
        """
        return 28 if self.cv29 & 0b10 else 14

    @property
    def consist(self) -> ShortAddress | None:
        """The address of the consist it is in; ``None`` if in none (CV 19)."""
        number = self.cv19 & 0x7F
        return ShortAddress(number) if number else None

    def obeys_consist(self, function: int, *, forward: bool) -> bool:
        """Whether a function of 0 (FL) to 12 obeys the consist's address (CV 21 and 22).

        :param forward: the direction, on which FL depends.
        :raises HalfbitError: for another function.
        """
        if type(function) is not int or not 0 <= function <= 12:
            raise HalfbitError(f"function: {function!r} is not an integer from 0 (FL) to 12: the CVs have no others")
        if 1 <= function <= 8:
            return bool(self.cv21 >> function - 1 & 1)
        bit = function - 7 if function else int(not forward)
        return bool(self.cv22 >> bit & 1)


#: The configuration of all multi-function decoders; or of each by its address, where the key :class:`Broadcast` stands
#: for all that are not named.
Configurations = Union[Configuration, Mapping[Address, Configuration], None]


def checked_configurations(given: object) -> dict[Address, Configuration]:
    """Configurations as a mapping.

    :raises HalfbitError: if they are no :data:`Configurations`.
    """
    if given is None:
        return {}
    if isinstance(given, Configuration):
        return {Broadcast(): given}
    if isinstance(given, Mapping):
        for address, one in given.items():
            if not isinstance(address, (Broadcast, ShortAddress, LongAddress)) or not isinstance(one, Configuration):
                break
        else:
            return dict(given)
    raise HalfbitError(
        f"configuration: {given!r} is no Configuration: give Configuration(cv29=...), "
        "or a mapping of short and long addresses (Broadcast() for all others) to them"
    )


def configurations_for(address: Address, known: Mapping[Address, Configuration]) -> tuple[Configuration, ...]:
    """Those of the decoders that a packet to ``address`` is for: its own one, and those of a consist.

    Empty if they are not all known.
    """
    if not known or not isinstance(address, (Broadcast, ShortAddress, LongAddress)):
        return ()
    if isinstance(address, Broadcast):
        return tuple(dict.fromkeys(known.values())) if address in known else ()
    consist = [one for one in known.values() if one.consist == address]
    own = known.get(address, None if consist else known.get(Broadcast()))
    return tuple(dict.fromkeys([*consist, *([] if own is None else [own])]))
