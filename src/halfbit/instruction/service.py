"""Service mode: packets without an address, for what stands on the programming track (S-9.2.3 E)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import JsonValue
from .base import Instruction, flag, integer
from .cv import bit_words

__all__ = [
    "DirectBitManipulation",
    "DirectVerifyByte",
    "DirectWriteByte",
    "FactoryReset",
    "PagePreset",
    "RegisterAccess",
]

#: The register that holds the page.
PAGE_REGISTER = 6

#: Registers that hold the same CV on all pages (S-9.2.3 E).
_UNPAGED = {5: 29, 7: 7, 8: 8}


@attrs.frozen(slots=True)
class _ServiceMode(Instruction):
    """All of these act only on the second identical packet with no other valid one between (S-9.2.3)."""

    @property
    def needs_repeat(self) -> bool:
        return True


@attrs.frozen(slots=True)
class DirectVerifyByte(_ServiceMode):
    """Direct mode, verify byte: 011101AA AAAAAAAA DDDDDDDD (S-9.2.3 E)."""

    name: ClassVar[str] = "Direct Mode, Verify Byte"
    #: A + 1.
    cv: int = integer(1, 1024)
    #: D.
    value: int = integer(0, 255)

    def __str__(self) -> str:
        return f"direct mode verify byte: CV {self.cv} = {self.value}?"


@attrs.frozen(slots=True)
class DirectWriteByte(_ServiceMode):
    """Direct mode, write byte: 011111AA AAAAAAAA DDDDDDDD (S-9.2.3 E)."""

    name: ClassVar[str] = "Direct Mode, Write Byte"
    #: A + 1.
    cv: int = integer(1, 1024)
    #: D.
    value: int = integer(0, 255)

    def __str__(self) -> str:
        return f"direct mode write byte: CV {self.cv} := {self.value}"


@attrs.frozen(slots=True)
class DirectBitManipulation(_ServiceMode):
    """Direct mode, bit manipulation: 011110AA AAAAAAAA 111KDBBB (S-9.2.3 E)."""

    name: ClassVar[str] = "Direct Mode, Bit Manipulation"
    #: A + 1.
    cv: int = integer(1, 1024)
    #: K: write the bit, rather than verify it.
    write: bool = flag()
    #: D: the bit's value.
    value: bool = flag()
    #: BBB: which bit.
    position: int = integer(0, 7)

    def __str__(self) -> str:
        return f"direct mode {bit_words(self.write, self.cv, self.position, self.value)}"


@attrs.frozen(slots=True)
class RegisterAccess(_ServiceMode):
    """Register, paged and address-only mode: 0111CRRR DDDDDDDD (S-9.2.3 E).

    The three modes send the same packets, so a packet does not tell which it is; what it reaches
    follows from the register and the page.
    """

    name: ClassVar[str] = "Register or Paged Mode"
    #: C: write, rather than verify.
    write: bool = flag()
    #: RRR + 1.
    register: int = integer(1, 8)
    #: D.
    value: int = integer(0, 255)

    @property
    def page(self) -> int | None:
        """What the page register holds, where packets before told."""
        return self.evidence.page

    @property
    def address_only(self) -> bool:
        """Whether it could be a packet of address-only mode: 0111C000 0DDDDDDD, and no page but 1."""
        return self.register == 1 and self.value < 128 and self.page in (None, 1)

    @property
    def cv(self) -> int | None:
        """The CV it reaches; ``None`` for the page register, and where the page is not known.

        Registers 1 to 4 are CV (page - 1) * 4 + register. Page 0 counts as page 256 (from memory).
        """
        if self.register > 4:
            return _UNPAGED.get(self.register)
        if self.page is None:
            return None
        return (self.page - 1) % 256 * 4 + self.register

    def details(self) -> dict[str, JsonValue]:
        return {"page": self.page, "cv": self.cv, "address_only": self.address_only}

    def __str__(self) -> str:
        if self.register == PAGE_REGISTER:
            where = "page register"
        elif self.cv is not None:
            where = f"CV {self.cv}"
        else:
            where = f"CV {self.register}, or if paged CV 4 * (page - 1) + {self.register}"
        act = f":= {self.value}" if self.write else f"= {self.value}?"
        return f"{'write' if self.write else 'verify'} register {self.register} ({where}) {act}"


@attrs.frozen(slots=True)
class PagePreset(_ServiceMode):
    """Page preset, the page register := 1: 01111101 00000001 (S-9.2.3 E)."""

    name: ClassVar[str] = "Page Preset"

    def __str__(self) -> str:
        return "page preset: page register := 1"


@attrs.frozen(slots=True)
class FactoryReset(_ServiceMode):
    """Factory reset: 01111111 00001000 (S-9.2.3 E)."""

    name: ClassVar[str] = "Factory Reset"

    def __str__(self) -> str:
        return "factory reset"
