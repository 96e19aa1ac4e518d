"""The rows of the standards' registry: S-9.2 B, S-9.2.1, S-9.2.3 and, from memory, later documents."""

from __future__ import annotations

from collections.abc import Mapping

from .accessory import AccessoryNop, BasicAccessory, ExtendedAccessory
from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, ExtendedAccessoryAddress, ExtendedAccessoryBroadcast,
    IdleAddress, LongAddress, NoAddress, ReservedAddress, ShortAddress,
)  # fmt: skip
from .base import Instruction
from .control import (
    AddressQuery, ConsistControl, DecoderAcknowledgementRequest, DecoderLock, DigitalDecoderReset, FactoryTest,
    HardReset, Idle, ModelDate, ModelTime, SetDecoderFlags, SetExtendedAddressing, SystemTime,
)  # fmt: skip
from .cv import (
    CvBitManipulation, CvShortForm, CvShortFormPair, CvVerifyByte, CvWriteByte, DirectBitManipulation, DirectVerifyByte,
    DirectWriteByte, ExtendedCvAccess, FactoryReset, LegacyCvAccess, PagePreset, RegisterAccess,
)  # fmt: skip
from .entry import Entry, FieldLetters, Tail
from .function import (
    AnalogFunction, BinaryStateLong, BinaryStateShort, FunctionExpansion, FunctionGroupOne, FunctionGroupTwo,
)  # fmt: skip
from .pattern import Letters
from .special import AdvancedExtended, Reserved
from .speed import BroadcastStop, RestrictedSpeedStep, SpeedAndDirection, SpeedControl128, SpeedDirectionFunctions

# Multi-function decoders (S-9.2 B, S-9.2.1 C), reserved addresses and idle. A pattern starts after the address.

_ANY = (Broadcast, ShortAddress, LongAddress)
_OWN = (ShortAddress, LongAddress)
_ALL = (Broadcast,)
_KEPT = (ReservedAddress,)
_REST = Tail("data", 0)
_SHORT = "CV Access, Short Form, CV"

_B, _C, _D, _E = "S-9.2 B", "S-9.2.1 C", "S-9.2.1 D", "S-9.2.3 E"
_RCN_211, _RCN_212, _RCN_213, _RCN_214 = (f"RCN-{number}, from memory" for number in (211, 212, 213, 214))
_MODES = f"{_C}; special operating modes: {_RCN_212}"
_ASPECT = f"{_D}; aspects from 32 up: {_RCN_213}"
_ADVANCED = "S-9.2.1 A; S-9.2.1.1, RCN-218, from memory"

# Letters of fields. CVs are counted from 1, sent from 0.
_Fields = Mapping[str, FieldLetters]
_CV = Letters("V", add=1)
_BYTE: _Fields = {"cv": _CV, "value": "D"}
_BIT: _Fields = {"cv": _CV, "writes": "C", "value": "D", "position": "B"}
_SPEED: _Fields = {"forward": "D", "code": "S"}
_BITS: _Fields = {"states": "D"}
_DATA: _Fields = {"value": "D"}
_RESTRICTED: _Fields = {"enabled": Letters("E", xor=1), "bit6": "U", "bit5": "F", "code": "S"}
_STOP: _Fields = {"forward": "D", "direction_ignored": "C", "emergency": "S"}
_TIME: _Fields = {"minute": "M", "weekday": "W", "hour": "H", "update": "U", "factor": "B"}


def _short_form_pair(pattern: str, cv: int) -> Entry:
    title, fields = f"{_SHORT} {cv} and {cv + 1}", {"value": "V", "next_value": "D"}
    return Entry(pattern, _ANY, CvShortFormPair, _RCN_214, fields, constants={"cv": cv}, title=title)


def _reserved(pattern: str, *other_than: str) -> Entry:
    return Entry(pattern, _ANY, Reserved, _C, tail=_REST, other_than=other_than)


def _extended(pattern: str, operation: int, title: str) -> Entry:
    return Entry(
        f"{pattern}SS VVVVVVVV VVVVVVVV VVVVVVVV", _ANY, ExtendedCvAccess, _RCN_214, {"sequence": "S", "cv": _CV},
        constants={"operation": operation}, tail=Tail("data", 0, 4), alone=True,
        beside=(CvVerifyByte, CvWriteByte, CvBitManipulation), title=title,
    )  # fmt: skip


MULTI_FUNCTION = (
    # Class 000.
    Entry("00000000", _ALL, DigitalDecoderReset, f"{_B}; {_C}", title="Digital Decoder Reset Packet"),
    Entry("00000000", _OWN, DigitalDecoderReset, _C),
    Entry("00000001", _ANY, HardReset, _C),
    Entry("0000001F", _ANY, FactoryTest, _C, {"f": "F"}, tail=_REST),
    Entry("0000011D CCCC0SSS", _ANY, SetDecoderFlags, _C, {"value": "D", "code": "C", "sub_address": "S"}),
    Entry("0000101D", _ANY, SetExtendedAddressing, _C, {"enabled": "D"}),
    # Two rows, because only 00001111 may share a packet with another instruction of its class.
    Entry("00001110", _ANY, DecoderAcknowledgementRequest, _C, constants={"value": 0}),
    Entry("00001111", _ANY, DecoderAcknowledgementRequest, _C, constants={"value": 1}, shares=True),
    _reserved("0000010D"),
    _reserved("0000100D"),
    _reserved("0000110D"),
    Entry("0001001R 0AAAAAAA", _ANY, ConsistControl, _C, {"reversed": "R", "number": "A"}),
    Entry("0001001R 1AAAAAAA", _ANY, Reserved, _C, title="Consist Control, Reserved"),
    _reserved("0001CCCC", "0001001R"),
    # Class 001.
    Entry("00111111 DSSSSSSS", _ANY, SpeedControl128, _C, _SPEED),
    Entry("00111110 EUFSSSSS", _ANY, RestrictedSpeedStep, _MODES, _RESTRICTED),
    Entry("00111101 VVVVVVVV DDDDDDDD", _ANY, AnalogFunction, _C, {"output": "V", "value": "D"}),
    Entry("00111100 DSSSSSSS", _ANY, SpeedDirectionFunctions, _RCN_212, _SPEED, tail=Tail("states", 1, 4)),
    _reserved("001CCCCC", "00111111", "00111110", "00111101"),
    # Classes 010 and 011.
    Entry("01DCSSSS", _ANY, SpeedAndDirection, f"{_B}; {_C}", {"forward": "D", "code": "CS"}),
    Entry("01DC000S", _ALL, BroadcastStop, _B, _STOP, special_of=(SpeedAndDirection,), alone=True),
    # Classes 100 and 101.
    Entry("100LDDDD", _ANY, FunctionGroupOne, _C, {"bit4": "L", "states": "D"}),
    Entry("1011DDDD", _ANY, FunctionGroupTwo, _C, _BITS, constants={"first": 5}, title="Function Group Two, F5 to F8"),
    Entry("1010DDDD", _ANY, FunctionGroupTwo, _C, _BITS, constants={"first": 9}, title="Function Group Two, F9 to F12"),
    # Class 110.
    Entry("11000000 DLLLLLLL HHHHHHHH", _ANY, BinaryStateLong, _C, {"state": "D", "number": "HL"}),
    Entry("11000001 00MMMMMM WWWHHHHH U0BBBBBB", _ALL, ModelTime, _RCN_211, _TIME),
    Entry("11000001 010TTTTT MMMMYYYY YYYYYYYY", _ALL, ModelDate, _RCN_211, {"day": "T", "month": "M", "year": "Y"}),
    Entry("11000010 MMMMMMMM MMMMMMMM", _ANY, SystemTime, _RCN_211, {"milliseconds": "M"}),
    Entry("11011000 DDDDDDDD", _ANY, FunctionExpansion, _RCN_212, _BITS, constants={"first": 29}, title="F29 to F36"),
    Entry("11011001 DDDDDDDD", _ANY, FunctionExpansion, _RCN_212, _BITS, constants={"first": 37}, title="F37 to F44"),
    Entry("11011010 DDDDDDDD", _ANY, FunctionExpansion, _RCN_212, _BITS, constants={"first": 45}, title="F45 to F52"),
    Entry("11011011 DDDDDDDD", _ANY, FunctionExpansion, _RCN_212, _BITS, constants={"first": 53}, title="F53 to F60"),
    Entry("11011100 DDDDDDDD", _ANY, FunctionExpansion, _RCN_212, _BITS, constants={"first": 61}, title="F61 to F68"),
    Entry("11011101 DLLLLLLL", _ANY, BinaryStateShort, _C, {"state": "D", "number": "L"}),
    Entry("11011110 DDDDDDDD", _ANY, FunctionExpansion, _C, _BITS, constants={"first": 13}, title="F13 to F20"),
    Entry("11011111 DDDDDDDD", _ANY, FunctionExpansion, _C, _BITS, constants={"first": 21}, title="F21 to F28"),
    _reserved("110CCCCC", "11000000", "11011101", "1101111C"),
    # Class 111.
    Entry("111001VV VVVVVVVV DDDDDDDD", _ANY, CvVerifyByte, _C, _BYTE),
    Entry("111011VV VVVVVVVV DDDDDDDD", _ANY, CvWriteByte, _C, _BYTE),
    Entry("111010VV VVVVVVVV 111CDBBB", _ANY, CvBitManipulation, _C, _BIT),
    Entry("111000VV VVVVVVVV DDDDDDDD", _ANY, Reserved, _C, title="CV Access, Long Form, Reserved"),
    _extended("111001", 1, "Extended CV Access, Read"),
    _extended("111010", 2, "Extended CV Access, Write Bits"),
    _extended("111011", 3, "Extended CV Access, Write"),
    Entry("11110010 DDDDDDDD", _ANY, CvShortForm, _C, _DATA, constants={"cv": 23}, title=f"{_SHORT} 23"),
    Entry("11110011 DDDDDDDD", _ANY, CvShortForm, _C, _DATA, constants={"cv": 24}, title=f"{_SHORT} 24"),
    _short_form_pair("11110100 VVVVVVVV DDDDDDDD", 17),
    _short_form_pair("11110101 VVVVVVVV DDDDDDDD", 31),
    Entry("11111001 0AAAAAAA", _ALL, DecoderLock, "S-9.2.3 appendix B", {"number": "A"}),
    Entry("11111001 1AAAAAAA", _ALL, Reserved, _C, tail=_REST, title="Decoder Lock, Reserved"),
    Entry("11111001", (ShortAddress,), AddressQuery, "S-9.2.3 appendix A", numbers=(1, 111), alone=True),
    Entry("1111CCCC", _ALL, Reserved, _C, tail=_REST, other_than=("1111001C", "11111001")),
    Entry("1111CCCC", _OWN, Reserved, _C, tail=_REST, other_than=("1111001C",)),
    # Other addresses.
    Entry("11111111 00000000", (IdleAddress,), Idle, _B),
    Entry("11101AAA", _KEPT, Reserved, "S-9.2.1 A", tail=_REST, title="Reserved addresses 232 to 239"),
    Entry("11110AAA", _KEPT, Reserved, "S-9.2.1 A", tail=_REST, title="Reserved addresses 240 to 247"),
    Entry("111110AA", _KEPT, Reserved, "S-9.2.1 A", tail=_REST, title="Reserved addresses 248 to 251"),
    Entry("11111100", _KEPT, Reserved, "S-9.2.1 A", tail=_REST, title="Reserved address 252"),
    Entry("11111101", _KEPT, AdvancedExtended, _ADVANCED, tail=_REST, title="Advanced Extended Packet, 253"),
    Entry("11111110", _KEPT, AdvancedExtended, _ADVANCED, tail=_REST, title="Advanced Extended Packet, 254"),
)

# Accessory decoders (S-9.2.1 D, appendix A). The address shares its bytes with the instruction, so each pattern is a
# whole packet. The six low bits of the address come first. The three high bits follow; they are sent inverted.

# The letter A occurs in up to three runs: first the six low bits, then the three high bits.
# Some patterns have a third run of two bits; they are the lowest bits of all.
_BOARD = Letters("A", order=(1, 0), xor=0b111 << 6)
_DECODER: _Fields = {"board": _BOARD}
_PAIR: _Fields = {"board": _BOARD, "pair": Letters("A", order=(2,))}
# DDD: bits 1 and 2 are the pair, bit 0 is the output of that pair.
_DDD: _Fields = {"pair": Letters("D", order=(0,), low=1), "output": Letters("D", order=(0,), width=1)}
_OUTPUT: _Fields = {"board": _BOARD, **_DDD}
_EXTENDED: _Fields = {"number": Letters("A", order=(1, 0, 2), xor=0b111 << 8)}

_BASIC, _SIGNAL = (AccessoryAddress,), (ExtendedAccessoryAddress,)
_ALL_BASIC, _ALL_SIGNALS = (AccessoryBroadcast,), (ExtendedAccessoryBroadcast,)


def _cv_access(head: str, kinds: tuple[type[Address]], address: _Fields, whom: str) -> tuple[Entry, ...]:
    """CV rows after the address bytes ``head``."""
    # If the head contains DDD, the D of the data is the second run of that letter.
    data = {"value": Letters("D", order=(head.count("DDD"),))}
    rows: tuple[tuple[str, type[Instruction], _Fields, str], ...] = (
        ("111001VV VVVVVVVV DDDDDDDD", CvVerifyByte, {**_BYTE, **data}, "Verify Byte"),
        ("111011VV VVVVVVVV DDDDDDDD", CvWriteByte, {**_BYTE, **data}, "Write Byte"),
        ("111010VV VVVVVVVV 111CDBBB", CvBitManipulation, {**_BIT, **data}, "Bit Manipulation"),
        ("111000VV VVVVVVVV DDDDDDDD", Reserved, {}, "Reserved"),
    )
    return tuple(
        Entry(
            f"{head} {rest}", kinds, builds, _D, fields, address=address, title=f"Accessory CV Access, {whom}, {what}",
            special_of=(builds,) if kinds in (_ALL_BASIC, _ALL_SIGNALS) else (),
        )
        for rest, builds, fields, what in rows
    )  # fmt: skip


ACCESSORY = (
    Entry("10AAAAAA 1AAACDDD", _BASIC, BasicAccessory, _D, {"activate": "C"}, address=_OUTPUT),
    Entry(
        "10111111 1000CDDD", _ALL_BASIC, BasicAccessory, _D, {"activate": "C"}, address=_DDD,
        special_of=(BasicAccessory,), title="Basic Accessory Decoder Broadcast",
    ),  # fmt: skip
    Entry("10AAAAAA 0AAA0AA1 XXXXXXXX", _SIGNAL, ExtendedAccessory, _ASPECT, {"aspect": "X"}, address=_EXTENDED),
    Entry(
        "10111111 00000111 XXXXXXXX", _ALL_SIGNALS, ExtendedAccessory, _ASPECT, {"aspect": "X"},
        special_of=(ExtendedAccessory,), title="Extended Accessory Decoder Broadcast",
    ),  # fmt: skip
    Entry("10AAAAAA 0AAA1AA0", _BASIC, AccessoryNop, _RCN_213, address=_PAIR, title="Accessory NOP, Basic"),
    Entry("10AAAAAA 0AAA1AA1", _SIGNAL, AccessoryNop, _RCN_213, address=_EXTENDED, title="Accessory NOP, Extended"),
    *_cv_access("10AAAAAA 1AAA0000", _BASIC, _DECODER, "Basic Decoder"),
    *_cv_access("10AAAAAA 1AAA1DDD", _BASIC, _OUTPUT, "Basic Output"),
    *_cv_access("10111111 10000000", _ALL_BASIC, {}, "All Basic Decoders"),
    *_cv_access("10111111 10001DDD", _ALL_BASIC, _DDD, "All Basic Outputs"),
    *_cv_access("10AAAAAA 0AAA0AA1", _SIGNAL, _EXTENDED, "Extended"),
    *_cv_access("10111111 00000111", _ALL_SIGNALS, {}, "All Extended"),
    Entry("10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD", _BASIC, LegacyCvAccess, "S-9.2.1 appendix A", _BYTE, address=_DECODER),
)

# Service mode (S-9.2.3 E). The patterns are whole packets.

_NONE = (NoAddress,)
_REGISTER = (RegisterAccess,)
_DIRECT_CV = Letters("A", add=1)
_DIRECT: _Fields = {"cv": _DIRECT_CV, "value": "D"}
_DIRECT_BIT: _Fields = {"cv": _DIRECT_CV, "writes": "K", "value": "D", "position": "B"}
_PAGED: _Fields = {"writes": "C", "register": Letters("R", add=1), "value": "D"}

SERVICE = (
    Entry("011101AA AAAAAAAA DDDDDDDD", _NONE, DirectVerifyByte, _E, _DIRECT),
    Entry("011111AA AAAAAAAA DDDDDDDD", _NONE, DirectWriteByte, _E, _DIRECT),
    Entry("011110AA AAAAAAAA 111KDBBB", _NONE, DirectBitManipulation, _E, _DIRECT_BIT),
    Entry("0111CRRR DDDDDDDD", _NONE, RegisterAccess, _E, _PAGED),
    # The same packets as register 1 in the other modes. It has its own row so that it can be found in the listing.
    Entry(
        "0111C000 0DDDDDDD", _NONE, RegisterAccess, _E, {"writes": "C", "value": "D"}, constants={"register": 1},
        special_of=_REGISTER, title="Address-Only Mode",
    ),  # fmt: skip
    Entry("01111101 00000001", _NONE, PagePreset, _E, special_of=_REGISTER),
    Entry("01111111 00001000", _NONE, FactoryReset, _E, special_of=_REGISTER),
)
