"""Access to configuration variables: the base class, and operations mode (S-9.2.1 C and D, appendix A)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from ..event import as_json
from .address import DecoderKind, JsonValue
from .base import Instruction, brief, hexadecimal
from .field import choice, flag, integer, octets


@attrs.frozen(slots=True)
class CvTarget:
    """A CV in one kind of decoder, as the target of an access."""

    #: The kind of decoder; ``None`` for both kinds.
    decoder: DecoderKind | None
    #: The CV's number, from 1.
    cv: int


@attrs.frozen(slots=True)
class CvAccess(Instruction):
    """Base of all CV access, in operations mode and in service mode."""

    _form: ClassVar[str] = "CV"  # the first words of the text

    @property
    def cv(self) -> int | None:
        """The CV's number, from 1; ``None`` if the packet does not say."""
        raise NotImplementedError

    @property
    def value(self) -> int | None:
        """The byte; if there is a :attr:`position`, the bit. ``None`` if the packet has no single value."""
        raise NotImplementedError

    @property
    def position(self) -> int | None:
        """The bit of the CV, 0 to 7; ``None`` for the whole byte."""
        return None

    @property
    def writes(self) -> bool | None:
        """True if it changes the CV, False if it verifies or reads it; ``None`` if the packet does not say."""
        raise NotImplementedError

    @property
    def decoder(self) -> DecoderKind | None:
        """The kind of decoder it is for; ``None`` in service mode, which reaches any decoder on the track."""
        return self.address.decoder

    @property
    def targets(self) -> tuple[CvTarget, ...]:
        """The CVs it reaches; one per kind of decoder if these differ. Empty if not known."""
        return () if self.cv is None else (CvTarget(self.decoder, self.cv),)

    @property
    def values(self) -> dict[int, int]:
        """CV number to value, 0 to 255, for each CV for which the packet has a whole byte."""
        cv, value = self.cv, self.value
        return {} if cv is None or value is None or self.position is not None else {cv: value}

    @property
    def brief(self) -> str:
        """CV and value; ``:=`` for a write, ``= ...?`` for a verify. Cut to at most 40 characters."""
        return brief(self._words())

    def meaning(self) -> dict[str, JsonValue]:
        """``writes``, ``decoder`` and ``targets``, for ``as_dict()``."""
        decoder = None if self.decoder is None else self.decoder.value
        return {"writes": self.writes, "decoder": decoder, "targets": [as_json(one) for one in self.targets]}

    def _words(self) -> str:
        """The CV, the bit if there is one, and the value written or compared."""
        what = f"CV {self.cv}" + ("" if self.position is None else f" bit {self.position}")
        value = None if self.value is None else int(self.value)
        return f"{what} := {value}" if self.writes else f"{what} = {value}?"

    def __str__(self) -> str:
        return f"{self._form}: {self._words()}"


@attrs.frozen(slots=True)
class CvByteAccess(CvAccess):
    """Base of access to the whole byte of one CV, 1 to 1024."""

    #: The CV's number; the packet has the number - 1.
    cv: int = integer(1, 1024)
    #: The byte.
    value: int = integer(0, 255)


@attrs.frozen(slots=True)
class CvBitAccess(CvAccess):
    """Base of access to one bit of a CV, 1 to 1024."""

    #: The CV's number; the packet has the number - 1.
    cv: int = integer(1, 1024)
    #: True writes the bit, False verifies it.
    writes: bool = flag()
    #: The bit's value.
    value: bool = flag()
    #: The bit's position, 0 to 7.
    position: int = integer(0, 7)

    def __str__(self) -> str:
        return f"{self._form} {'write' if self.writes else 'verify'} bit: {self._words()}"


@attrs.frozen(slots=True)
class CvVerifyByte(CvByteAccess):
    """CV access, long form, verify byte: 111001VV VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Long Form, Verify Byte"
    _form: ClassVar[str] = "CV verify byte"
    writes: ClassVar[bool] = False


@attrs.frozen(slots=True)
class CvWriteByte(CvByteAccess):
    """CV access, long form, write byte: 111011VV VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Long Form, Write Byte"
    _form: ClassVar[str] = "CV write byte"
    writes: ClassVar[bool] = True
    #: Decoders act on the second identical packet (S-9.2.1 C).
    needs_repeat: ClassVar[bool] = True


@attrs.frozen(slots=True)
class CvBitManipulation(CvBitAccess):
    """CV access, long form, bit manipulation: 111010VV VVVVVVVV 111CDBBB (S-9.2.1 C)."""

    name: ClassVar[str] = "CV Access, Long Form, Bit Manipulation"

    @property
    def needs_repeat(self) -> bool:
        """True for a write: decoders act on the second identical packet (S-9.2.1 C)."""
        return self.writes


@attrs.frozen(slots=True)
class CvShortForm(CvAccess):
    """CV access, short form: 11110010 DDDDDDDD for CV 23, 11110011 DDDDDDDD for CV 24 (S-9.2.1 C).

    Decoders act on a single packet.
    """

    name: ClassVar[str] = "CV Access, Short Form"
    _form: ClassVar[str] = "CV short form"
    #: 23 or 24.
    cv: int = choice(23, 24)
    #: D.
    value: int = integer(0, 255)
    writes: ClassVar[bool] = True


@attrs.frozen(slots=True)
class CvShortFormPair(CvAccess):
    """CV access, short form, two CVs: 11110100 for 17 and 18, 11110101 for 31 and 32 (RCN-214, from memory)."""

    name: ClassVar[str] = "CV Access, Short Form, Two CVs"
    _form: ClassVar[str] = "CV short form"
    #: The first of the two: 17 or 31.
    cv: int = choice(17, 31)
    #: V: the byte for the first.
    value: int = integer(0, 255)
    #: D: the byte for the second.
    next_value: int = integer(0, 255)
    writes: ClassVar[bool] = True

    @property
    def values(self) -> dict[int, int]:
        """Both CVs: number to byte."""
        return {self.cv: self.value, self.cv + 1: self.next_value}

    @property
    def targets(self) -> tuple[CvTarget, ...]:
        """Both CVs."""
        return (CvTarget(self.decoder, self.cv), CvTarget(self.decoder, self.cv + 1))

    def _words(self) -> str:
        return f"CV {self.cv} := {self.value}, CV {self.cv + 1} := {self.next_value}"


@attrs.frozen(slots=True)
class LegacyCvAccess(CvByteAccess):
    """Accessory CV access, old form: 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD (S-9.2.1 appendix A).

    The packet does not say if it writes or verifies.
    """

    name: ClassVar[str] = "Accessory CV Access, Legacy"
    _form: ClassVar[str] = "legacy accessory CV access"
    #: The packet does not say.
    writes: ClassVar[None] = None

    def _words(self) -> str:
        return f"CV {self.cv}, data {self.value}"


#: GG of extended CV access, in words and as a sign, from memory.
_OPERATIONS = {0b01: ("read", "= ?"), 0b10: ("write bits", "bits :="), 0b11: ("write", ":=")}


@attrs.frozen(slots=True)
class ExtendedCvAccess(CvAccess):
    """Extended CV access: 1110GGSS, a 24-bit CV number, then 0 to 4 bytes (RCN-214, from memory).

    Its length differs from a packet with one long form only. It can be the same as that of a long form followed by
    other instructions; both readings are then given, as :class:`Ambiguous`.
    """

    name: ClassVar[str] = "Extended CV Access"
    #: GG: 1 read, 2 write bits, 3 write.
    operation: int = choice(1, 2, 3)
    #: SS: a sequence number, to match answers to requests.
    sequence: int = integer(0, 3)
    #: V + 1.
    cv: int = integer(1, 1 << 24)
    #: The bytes after the CV number.
    data: bytes = octets(0, 4)

    @property
    def value(self) -> int | None:
        """The byte, if it writes exactly one; else ``None``."""
        return self.data[0] if self.operation == 3 and len(self.data) == 1 else None

    @property
    def writes(self) -> bool:
        """False for a read, True for both kinds of write."""
        return self.operation != 1

    @property
    def brief(self) -> str:
        """CV, operation and data, cut to at most 40 characters."""
        data = f" {hexadecimal(self.data)}" if self.data or self.writes else ""
        return brief(f"ext. CV {self.cv} {_OPERATIONS[self.operation][1]}{data}")

    def __str__(self) -> str:
        words = f"extended CV access: {_OPERATIONS[self.operation][0]} CV {self.cv}, sequence {self.sequence}"
        return words + (f", data {hexadecimal(self.data)}" if self.data else "")
