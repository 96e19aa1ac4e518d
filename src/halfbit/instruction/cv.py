"""Access to configuration variables in operations mode (S-9.2.1 C and D, appendix A)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .base import Instruction, choice, flag, integer

__all__ = [
    "CvBitManipulation",
    "CvShortForm",
    "CvShortFormPair",
    "CvVerifyByte",
    "CvWriteByte",
    "LegacyCvAccess",
]


@attrs.frozen(slots=True)
class CvVerifyByte(Instruction):
    """CV access, long form, verify byte: 111001VV VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Long Form, Verify Byte"
    #: V + 1.
    cv: int = integer(1, 1024)
    #: D.
    value: int = integer(0, 255)

    def __str__(self) -> str:
        return f"CV verify byte: CV {self.cv} = {self.value}?"


@attrs.frozen(slots=True)
class CvWriteByte(Instruction):
    """CV access, long form, write byte: 111011VV VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Long Form, Write Byte"
    #: V + 1.
    cv: int = integer(1, 1024)
    #: D.
    value: int = integer(0, 255)

    @property
    def needs_repeat(self) -> bool:
        return True

    def __str__(self) -> str:
        return f"CV write byte: CV {self.cv} := {self.value}"


@attrs.frozen(slots=True)
class CvBitManipulation(Instruction):
    """CV access, long form, bit manipulation: 111010VV VVVVVVVV 111CDBBB (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Long Form, Bit Manipulation"
    #: V + 1.
    cv: int = integer(1, 1024)
    #: C: write the bit, rather than verify it.
    write: bool = flag()
    #: D: the bit's value.
    value: bool = flag()
    #: BBB: which bit.
    position: int = integer(0, 7)

    @property
    def needs_repeat(self) -> bool:
        return self.write

    def __str__(self) -> str:
        return f"CV {bit_words(self.write, self.cv, self.position, self.value)}"


def bit_words(write: bool, cv: int, position: int, value: bool) -> str:
    """A bit manipulation in words."""
    if write:
        return f"write bit: CV {cv} bit {position} := {int(value)}"
    return f"verify bit: CV {cv} bit {position} = {int(value)}?"


@attrs.frozen(slots=True)
class CvShortForm(Instruction):
    """CV access, short form: 11110010 DDDDDDDD for CV 23, 11110011 DDDDDDDD for CV 24 (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Short Form"
    #: 23 or 24.
    cv: int = choice(23, 24)
    #: D.
    value: int = integer(0, 255)

    def __str__(self) -> str:
        return f"CV short form: CV {self.cv} := {self.value}"


@attrs.frozen(slots=True)
class CvShortFormPair(Instruction):
    """CV access, short form, two CVs: 11110100 for 17 and 18, 11110101 for 31 and 32 (RCN-214, from memory)."""

    name: ClassVar[str] = "CV Access, Short Form, Two CVs"
    #: The first of the two: 17 or 31.
    cv: int = choice(17, 31)
    #: For the first.
    value: int = integer(0, 255)
    #: For the second.
    next_value: int = integer(0, 255)

    def __str__(self) -> str:
        return f"CV short form: CV {self.cv} := {self.value}, CV {self.cv + 1} := {self.next_value}"


@attrs.frozen(slots=True)
class LegacyCvAccess(Instruction):
    """Accessory CV access as it was: 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD (S-9.2.1 appendix A)."""

    name: ClassVar[str] = "Accessory CV Access, Legacy"
    #: V + 1.
    cv: int = integer(1, 1024)
    #: D.
    value: int = integer(0, 255)

    def __str__(self) -> str:
        return f"legacy accessory CV access: CV {self.cv}, data {self.value}"
