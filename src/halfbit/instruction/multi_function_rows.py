"""Rows of the registry: instructions to multi-function decoders (S-9.2 B, S-9.2.1 C), reserved addresses and idle."""

from __future__ import annotations

from .address import Broadcast, IdleAddress, LongAddress, ReservedAddress, ShortAddress
from .clock import ModelDate, ModelTime, SystemTime
from .control import (
    AddressQuery, ConsistControl, DecoderAcknowledgementRequest, DecoderLock, DigitalDecoderReset, FactoryTest,
    HardReset, Idle, SetDecoderFlags, SetExtendedAddressing,
)  # fmt: skip
from .cv import CvBitManipulation, CvShortForm, CvShortFormPair, CvVerifyByte, CvWriteByte, ExtendedCvAccess
from .entry import Entry, Tail
from .function import (
    AnalogFunction, BinaryStateLong, BinaryStateShort, FunctionExpansion, FunctionGroupOne, FunctionGroupTwo,
)  # fmt: skip
from .pattern import Letters
from .special import AdvancedExtended, Reserved
from .speed import BroadcastStop, RestrictedSpeedStep, SpeedAndDirection, SpeedControl128, SpeedDirectionFunctions

__all__ = ["MULTI_FUNCTION"]

_ANY = (Broadcast, ShortAddress, LongAddress)
_OWN = (ShortAddress, LongAddress)
_ALL = (Broadcast,)
_KEPT = (ReservedAddress,)
_CV = Letters("V", add=1)  # CVs are counted from 1, sent from 0
_REST = Tail("data", 0)
_LONG_FORM = (CvVerifyByte, CvWriteByte, CvBitManipulation)

# Sources.
_B, _C = "S-9.2 B", "S-9.2.1 C"
_RCN_211, _RCN_212, _RCN_214 = (f"{name}, from memory" for name in ("RCN-211", "RCN-212", "RCN-214"))
_ADVANCED = "S-9.2.1 A; S-9.2.1.1, RCN-218, from memory"


def _functions(pattern: str, first: int, source: str) -> Entry:
    title = f"F{first} to F{first + 7}"
    return Entry(pattern, _ANY, FunctionExpansion, source, {"states": "D"}, constants={"first": first}, title=title)


def _group_two(pattern: str, first: int) -> Entry:
    title = f"Function Group Two, F{first} to F{first + 3}"
    return Entry(pattern, _ANY, FunctionGroupTwo, _C, {"states": "D"}, constants={"first": first}, title=title)


def _short_form(pattern: str, cv: int) -> Entry:
    title = f"CV Access, Short Form, CV {cv}"
    return Entry(pattern, _ANY, CvShortForm, _C, {"value": "D"}, constants={"cv": cv}, title=title)


def _short_form_pair(pattern: str, cv: int) -> Entry:
    title, fields = f"CV Access, Short Form, CV {cv} and {cv + 1}", {"value": "V", "next_value": "D"}
    return Entry(pattern, _ANY, CvShortFormPair, _RCN_214, fields, constants={"cv": cv}, title=title)


def _reserved(pattern: str, *other_than: str) -> Entry:
    return Entry(pattern, _ANY, Reserved, _C, tail=_REST, other_than=other_than)


def _extended(pattern: str, operation: int, title: str) -> Entry:
    return Entry(
        f"{pattern}SS VVVVVVVV VVVVVVVV VVVVVVVV", _ANY, ExtendedCvAccess, _RCN_214, {"sequence": "S", "cv": _CV},
        constants={"operation": operation}, tail=Tail("data", 0, 4), alone=True, beside=_LONG_FORM, title=title,
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
    Entry("00111111 DSSSSSSS", _ANY, SpeedControl128, _C, {"forward": "D", "code": "S"}),
    Entry(
        "00111110 EUFSSSSS", _ANY, RestrictedSpeedStep, f"{_C}; special operating modes: {_RCN_212}",
        {"enabled": Letters("E", xor=1), "bit6": "U", "bit5": "F", "code": "S"},
    ),  # fmt: skip
    Entry("00111101 VVVVVVVV DDDDDDDD", _ANY, AnalogFunction, _C, {"output": "V", "value": "D"}),
    Entry(
        "00111100 DSSSSSSS", _ANY, SpeedDirectionFunctions, _RCN_212, {"forward": "D", "code": "S"},
        tail=Tail("states", 1, 4),
    ),  # fmt: skip
    _reserved("001CCCCC", "00111111", "00111110", "00111101"),
    # Classes 010 and 011.
    Entry("01DCSSSS", _ANY, SpeedAndDirection, f"{_B}; {_C}", {"forward": "D", "code": "CS"}),
    Entry(
        "01DC000S", _ALL, BroadcastStop, _B, {"forward": "D", "direction_ignored": "C", "emergency": "S"},
        special_of=(SpeedAndDirection,), alone=True,
    ),  # fmt: skip
    # Classes 100 and 101.
    Entry("100LDDDD", _ANY, FunctionGroupOne, _C, {"bit4": "L", "states": "D"}),
    _group_two("1011DDDD", 5),
    _group_two("1010DDDD", 9),
    # Class 110.
    Entry("11000000 DLLLLLLL HHHHHHHH", _ANY, BinaryStateLong, _C, {"state": "D", "number": "HL"}),
    Entry(
        "11000001 00MMMMMM WWWHHHHH U0BBBBBB", _ALL, ModelTime, _RCN_211,
        {"minute": "M", "weekday": "W", "hour": "H", "update": "U", "factor": "B"},
    ),  # fmt: skip
    Entry("11000001 010TTTTT MMMMYYYY YYYYYYYY", _ALL, ModelDate, _RCN_211, {"day": "T", "month": "M", "year": "Y"}),
    Entry("11000010 MMMMMMMM MMMMMMMM", _ANY, SystemTime, _RCN_211, {"milliseconds": "M"}),
    _functions("11011000 DDDDDDDD", 29, _RCN_212),
    _functions("11011001 DDDDDDDD", 37, _RCN_212),
    _functions("11011010 DDDDDDDD", 45, _RCN_212),
    _functions("11011011 DDDDDDDD", 53, _RCN_212),
    _functions("11011100 DDDDDDDD", 61, _RCN_212),
    Entry("11011101 DLLLLLLL", _ANY, BinaryStateShort, _C, {"state": "D", "number": "L"}),
    _functions("11011110 DDDDDDDD", 13, _C),
    _functions("11011111 DDDDDDDD", 21, _C),
    _reserved("110CCCCC", "11000000", "11011101", "1101111C"),
    # Class 111.
    Entry("111001VV VVVVVVVV DDDDDDDD", _ANY, CvVerifyByte, _C, {"cv": _CV, "value": "D"}),
    Entry("111011VV VVVVVVVV DDDDDDDD", _ANY, CvWriteByte, _C, {"cv": _CV, "value": "D"}),
    Entry(
        "111010VV VVVVVVVV 111CDBBB", _ANY, CvBitManipulation, _C,
        {"cv": _CV, "writes": "C", "value": "D", "position": "B"},
    ),  # fmt: skip
    Entry("111000VV VVVVVVVV DDDDDDDD", _ANY, Reserved, _C, title="CV Access, Long Form, Reserved"),
    _extended("111001", 1, "Extended CV Access, Read"),
    _extended("111010", 2, "Extended CV Access, Write Bits"),
    _extended("111011", 3, "Extended CV Access, Write"),
    _short_form("11110010 DDDDDDDD", 23),
    _short_form("11110011 DDDDDDDD", 24),
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
