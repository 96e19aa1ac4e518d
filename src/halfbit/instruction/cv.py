"""Access to configuration variables: operations mode (S-9.2.1 C and D, appendix A) and service mode (S-9.2.3 E)."""

from __future__ import annotations

from typing import ClassVar

import attrs

from .address import DecoderKind
from .base import Instruction, hexadecimal
from .field import choice, flag, integer, octets


@attrs.frozen(slots=True)
class CvTarget:
    """A CV in one kind of decoder, as the target of an access."""

    decoder: DecoderKind | None  #: The kind of decoder; ``None`` for both kinds.
    cv: int


class CvAccess(Instruction):
    """Base of all CV access, in operations mode and in service mode."""

    __slots__ = ()
    _form: ClassVar[str] = "CV"  # the first words of the text
    _meaning: ClassVar[tuple[str, ...]] = ("writes", "decoder", "targets")

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

    def _in_brief(self) -> str:
        """The CV, the bit if there is one, and the value: ``:=`` for a write, ``= ...?`` for a verify."""
        what = f"CV {self.cv}" if self.position is None else f"CV {self.cv} bit {self.position}"
        value = None if self.value is None else int(self.value)
        return f"{what} := {value}" if self.writes else f"{what} = {value}?"

    def __str__(self) -> str:
        return f"{self._form}: {self._in_brief()}"


@attrs.frozen(slots=True)
class CvByteAccess(CvAccess):
    """Base of access to the whole byte of one CV, 1 to 1024."""

    cv: int = integer(1, 1024)  #: The CV's number; the packet has the number - 1.
    value: int = integer(0, 255)


@attrs.frozen(slots=True)
class CvBitAccess(CvAccess):
    """Base of access to one bit of a CV, 1 to 1024."""

    cv: int = integer(1, 1024)  #: The CV's number; the packet has the number - 1.
    writes: bool = flag()  #: True writes the bit, False verifies it.
    value: bool = flag()
    position: int = integer(0, 7)

    def __str__(self) -> str:
        return f"{self._form} {'write' if self.writes else 'verify'} bit: {self._in_brief()}"


class CvVerifyByte(CvByteAccess):
    """CV access, long form, verify byte: 111001VV VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    __slots__ = ()
    name: ClassVar[str] = "CV Access, Long Form, Verify Byte"
    _form: ClassVar[str] = "CV verify byte"
    writes: ClassVar[bool] = False


class CvWriteByte(CvByteAccess):
    """CV access, long form, write byte: 111011VV VVVVVVVV DDDDDDDD (S-9.2.1 C)."""

    __slots__ = ()
    name: ClassVar[str] = "CV Access, Long Form, Write Byte"
    _form: ClassVar[str] = "CV write byte"
    writes: ClassVar[bool] = True
    needs_repeat: ClassVar[bool] = True


class CvBitManipulation(CvBitAccess):
    """CV access, long form, bit manipulation: 111010VV VVVVVVVV 111CDBBB (S-9.2.1 C)."""

    __slots__ = ()
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
    cv: int = choice(23, 24)
    value: int = integer(0, 255)
    writes: ClassVar[bool] = True


@attrs.frozen(slots=True)
class CvShortFormPair(CvAccess):
    """CV access, short form, two CVs: 11110100 for 17 and 18, 11110101 for 31 and 32 (RCN-214, from memory)."""

    name: ClassVar[str] = "CV Access, Short Form, Two CVs"
    _form: ClassVar[str] = "CV short form"
    cv: int = choice(17, 31)  #: The first of the two.
    value: int = integer(0, 255)  #: V: the byte for the first.
    next_value: int = integer(0, 255)  #: D: the byte for the second.
    writes: ClassVar[bool] = True

    @property
    def targets(self) -> tuple[CvTarget, ...]:
        """Both CVs."""
        return (CvTarget(self.decoder, self.cv), CvTarget(self.decoder, self.cv + 1))

    def _in_brief(self) -> str:
        return f"CV {self.cv} := {self.value}, CV {self.cv + 1} := {self.next_value}"


class LegacyCvAccess(CvByteAccess):
    """Accessory CV access, old form: 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD (S-9.2.1 appendix A).

    The packet does not say if it writes or verifies.
    """

    __slots__ = ()
    name: ClassVar[str] = "Accessory CV Access, Legacy"
    _form: ClassVar[str] = "legacy accessory CV access"
    writes: ClassVar[None] = None

    def _in_brief(self) -> str:
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
    operation: int = choice(1, 2, 3)  #: GG: 1 read, 2 write bits, 3 write.
    sequence: int = integer(0, 3)  #: SS: a sequence number, to match answers to requests.
    cv: int = integer(1, 1 << 24)  #: V + 1.
    data: bytes = octets(0, 4)

    @property
    def value(self) -> int | None:
        """The byte, if it writes exactly one; else ``None``."""
        return self.data[0] if self.operation == 3 and len(self.data) == 1 else None

    @property
    def writes(self) -> bool:
        """False for a read, True for both kinds of write."""
        return self.operation != 1

    def _in_brief(self) -> str:
        data = f" {hexadecimal(self.data)}" if self.data or self.writes else ""
        return f"ext. CV {self.cv} {_OPERATIONS[self.operation][1]}{data}"

    def __str__(self) -> str:
        words = f"extended CV access: {_OPERATIONS[self.operation][0]} CV {self.cv}, sequence {self.sequence}"
        return words + (f", data {hexadecimal(self.data)}" if self.data else "")


# Service mode: packets without an address, for the decoder on the programming track (S-9.2.3 E). Decoders act only on
# the second of two identical packets, with no other valid packet in between (S-9.2.3).

PAGE_REGISTER = 6

#: Register to CV without paging, for multi-function and for accessory decoders (S-9.2.3 E, both columns of the table).
_MULTI_FUNCTION = {1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8}
_ACCESSORY = {1: 513, 7: 7, 8: 520}


class DirectVerifyByte(CvByteAccess):
    """Direct mode, verify byte: 011101AA AAAAAAAA DDDDDDDD (S-9.2.3 E)."""

    __slots__ = ()
    name: ClassVar[str] = "Direct Mode, Verify Byte"
    _form: ClassVar[str] = "direct mode verify byte"
    writes: ClassVar[bool] = False
    needs_repeat: ClassVar[bool] = True


class DirectWriteByte(CvByteAccess):
    """Direct mode, write byte: 011111AA AAAAAAAA DDDDDDDD (S-9.2.3 E)."""

    __slots__ = ()
    name: ClassVar[str] = "Direct Mode, Write Byte"
    _form: ClassVar[str] = "direct mode write byte"
    writes: ClassVar[bool] = True
    needs_repeat: ClassVar[bool] = True


class DirectBitManipulation(CvBitAccess):
    """Direct mode, bit manipulation: 011110AA AAAAAAAA 111KDBBB (S-9.2.3 E)."""

    __slots__ = ()
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
    _meaning: ClassVar[tuple[str, ...]] = (*CvAccess._meaning, "cv", "address_only")
    needs_repeat: ClassVar[bool] = True
    writes: bool = flag()  #: C: True writes, False verifies.
    register: int = integer(1, 8)  #: RRR + 1.
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

    def _in_brief(self) -> str:
        return f"register {self.register} {self._act()} ({self._places('paged')})"

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


class PagePreset(Instruction):
    """Page preset, the page register := 1: 01111101 00000001 (S-9.2.3 E)."""

    __slots__ = ()
    name: ClassVar[str] = "Page Preset"
    needs_repeat: ClassVar[bool] = True
    new_page: ClassVar[int] = 1

    def __str__(self) -> str:
        return "page preset: page register := 1"


class FactoryReset(Instruction):
    """Factory reset: 01111111 00001000 (S-9.2.3 E)."""

    __slots__ = ()
    name: ClassVar[str] = "Factory Reset"
    needs_repeat: ClassVar[bool] = True
