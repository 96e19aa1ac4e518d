"""Service mode: packets without an address, for the decoder on the programming track (S-9.2.3 E).

Decoders act only on the second of two identical packets, with no other valid packet in between (S-9.2.3).
"""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import DecoderKind, JsonValue
from .base import Instruction, brief
from .cv import CvAccess, CvBitAccess, CvByteAccess, CvTarget
from .field import flag, integer

#: The register that holds the page.
PAGE_REGISTER = 6

#: Register to CV without paging, for multi-function and for accessory decoders (S-9.2.3 E, both columns of the table).
_MULTI_FUNCTION = {1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8}
_ACCESSORY = {1: 513, 7: 7, 8: 520}


@attrs.frozen(slots=True)
class DirectVerifyByte(CvByteAccess):
    """Direct mode, verify byte: 011101AA AAAAAAAA DDDDDDDD (S-9.2.3 E)."""

    name: ClassVar[str] = "Direct Mode, Verify Byte"
    _form: ClassVar[str] = "direct mode verify byte"
    writes: ClassVar[bool] = False
    needs_repeat: ClassVar[bool] = True


@attrs.frozen(slots=True)
class DirectWriteByte(CvByteAccess):
    """Direct mode, write byte: 011111AA AAAAAAAA DDDDDDDD (S-9.2.3 E)."""

    name: ClassVar[str] = "Direct Mode, Write Byte"
    _form: ClassVar[str] = "direct mode write byte"
    writes: ClassVar[bool] = True
    needs_repeat: ClassVar[bool] = True


@attrs.frozen(slots=True)
class DirectBitManipulation(CvBitAccess):
    """Direct mode, bit manipulation: 011110AA AAAAAAAA 111KDBBB (S-9.2.3 E)."""

    name: ClassVar[str] = "Direct Mode, Bit Manipulation"
    _form: ClassVar[str] = "direct mode"
    needs_repeat: ClassVar[bool] = True


@attrs.frozen(slots=True)
class RegisterAccess(CvAccess):
    """Register, paged and address-only mode: 0111CRRR DDDDDDDD (S-9.2.3 E).

    The three modes send the same packets, so a packet does not show its mode. The CV depends on the register, the page
    and the kind of decoder. :attr:`targets` gives it for both kinds.
    """

    name: ClassVar[str] = "Register or Paged Mode"
    needs_repeat: ClassVar[bool] = True
    #: C: True writes, False verifies.
    writes: bool = flag()
    #: RRR + 1.
    register: int = integer(1, 8)
    #: D.
    value: int = integer(0, 255)

    @property
    def page(self) -> int | None:
        """The value of the page register, if earlier packets set it; else ``None``."""
        return self.packet_context.page

    @property
    def address_only(self) -> bool:
        """True if it may be an address-only mode packet: 0111C000 0DDDDDDD, and page 1 or not known."""
        return self.register == 1 and self.value < 128 and self.page in (None, 1)

    @property
    def cv(self) -> int | None:
        """The CV in a multi-function decoder; ``None`` for the page register, or if the page is not known.

        Registers 1 to 4 are CV (page - 1) * 4 + register. Page 0 counts as page 256 (from memory).
        """
        if self.register > 4:
            return _MULTI_FUNCTION.get(self.register)
        if self.page is None:
            return None
        return (self.page - 1) % 256 * 4 + self.register

    @property
    def targets(self) -> tuple[CvTarget, ...]:
        """The CV in each kind of decoder: both columns of the register table in S-9.2.3 E.

        If the page is 1 or not known, it may be register mode. With another page it is paged mode, and the CV is the
        same in both kinds.
        """
        if self.register <= 4 and self.page not in (None, 1):
            cv = self.cv
            return () if cv is None else (CvTarget(None, cv),)
        columns = ((DecoderKind.MULTI_FUNCTION, _MULTI_FUNCTION), (DecoderKind.ACCESSORY, _ACCESSORY))
        return tuple(CvTarget(kind, column[self.register]) for kind, column in columns if self.register in column)

    @property
    def new_page(self) -> int | None:
        """The value, if it writes the page register; else ``None``."""
        return self.value if self.writes and self.register == PAGE_REGISTER else None

    def meaning(self) -> dict[str, JsonValue]:
        """``writes``, ``decoder``, ``targets``, ``cv`` and ``address_only``, for ``as_dict()``."""
        return {**CvAccess.meaning(self), "cv": self.cv, "address_only": self.address_only}

    @property
    def brief(self) -> str:
        """Register, value and CVs, cut to at most 40 characters."""
        return brief(f"register {self.register} {self._act()} ({self._places('paged')})")

    def _act(self) -> str:
        return f":= {self.value}" if self.writes else f"= {self.value}?"

    def _places(self, paged: str) -> str:
        """The targets as text: CV of multi-function decoders, CV of accessory decoders, then ``paged``."""
        if self.register == PAGE_REGISTER:
            return "page register"
        numbers = dict.fromkeys(one.cv for one in self.targets)
        places = [f"{'accessory ' if place else ''}CV {number}" for place, number in enumerate(numbers)]
        if self.register <= 4 and self.page is None:
            places.append(paged)
        return ", or ".join(places)

    def __str__(self) -> str:
        where = self._places(f"if paged CV 4 * (page - 1) + {self.register}")
        return f"{'write' if self.writes else 'verify'} register {self.register} ({where}) {self._act()}"


@attrs.frozen(slots=True)
class PagePreset(Instruction):
    """Page preset, the page register := 1: 01111101 00000001 (S-9.2.3 E)."""

    name: ClassVar[str] = "Page Preset"
    needs_repeat: ClassVar[bool] = True
    new_page: ClassVar[int] = 1

    def __str__(self) -> str:
        return "page preset: page register := 1"


@attrs.frozen(slots=True)
class FactoryReset(Instruction):
    """Factory reset: 01111111 00001000 (S-9.2.3 E)."""

    name: ClassVar[str] = "Factory Reset"
    needs_repeat: ClassVar[bool] = True
