"""Rows of the registry: instructions to multi-function decoders (S-9.2 B, S-9.2.1 C), and idle."""

from __future__ import annotations

from .address import Broadcast, IdleAddress, LongAddress, ReservedAddress, ShortAddress
from .clock import ModelDate, ModelTime, SystemTime
from .control import (
    AddressQuery,
    ConsistControl,
    DecoderAcknowledgementRequest,
    DecoderLock,
    DigitalDecoderReset,
    FactoryTest,
    HardReset,
    Idle,
    SetDecoderFlags,
    SetExtendedAddressing,
)
from .cv import CvBitManipulation, CvShortForm, CvShortFormPair, CvVerifyByte, CvWriteByte
from .entry import Entry, Tail
from .function import (
    AnalogFunction,
    BinaryStateLong,
    BinaryStateShort,
    FunctionExpansion,
    FunctionGroupOne,
    FunctionGroupTwo,
)
from .pattern import Letters
from .special import Reserved
from .speed import (
    BroadcastStop,
    RestrictedSpeedStep,
    SpeedAndDirection,
    SpeedControl128,
    SpeedDirectionFunctions,
)

__all__ = ["MULTI_FUNCTION"]

_ANY = (Broadcast, ShortAddress, LongAddress)
_OWN = (ShortAddress, LongAddress)
_CV = Letters("V", add=1)  # CVs are counted from 1, sent from 0
_REST = Tail("data", 0)


def _functions(pattern: str, first: int, source: str) -> Entry:
    return Entry(
        pattern=pattern,
        addresses=_ANY,
        builds=FunctionExpansion,
        fields={"states": "D"},
        constants={"first": first},
        title=f"F{first} to F{first + 7}",
        source=source,
    )


def _reserved(pattern: str, source: str) -> Entry:
    return Entry(pattern=pattern, addresses=_ANY, builds=Reserved, tail=_REST, source=source)


_DECODER_CONTROL = (
    Entry(
        pattern="00000000",
        addresses=(Broadcast,),
        builds=DigitalDecoderReset,
        title="Digital Decoder Reset Packet",
        once=True,
        source="S-9.2 B; S-9.2.1 C",
    ),
    Entry(
        pattern="00000000",
        addresses=_OWN,
        builds=DigitalDecoderReset,
        once=True,
        source="S-9.2.1 C",
    ),
    Entry(pattern="00000001", addresses=_ANY, builds=HardReset, once=True, source="S-9.2.1 C"),
    Entry(
        pattern="0000001F",
        addresses=_ANY,
        builds=FactoryTest,
        fields={"f": "F"},
        tail=_REST,
        once=True,
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="0000011D CCCC0SSS",
        addresses=_ANY,
        builds=SetDecoderFlags,
        fields={"value": "D", "code": "C", "sub_address": "S"},
        once=True,
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="0000101D",
        addresses=_ANY,
        builds=SetExtendedAddressing,
        fields={"enabled": "D"},
        once=True,
        source="S-9.2.1 C",
    ),
    # Two rows, because only 00001111 may share a packet with other decoder control.
    Entry(
        pattern="00001110",
        addresses=_ANY,
        builds=DecoderAcknowledgementRequest,
        constants={"value": 0},
        once=True,
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="00001111",
        addresses=_ANY,
        builds=DecoderAcknowledgementRequest,
        constants={"value": 1},
        source="S-9.2.1 C",
    ),
    _reserved("0000010D", "S-9.2.1 C"),
    _reserved("0000100D", "S-9.2.1 C"),
    _reserved("0000110D", "S-9.2.1 C"),
)

_CONSIST_CONTROL = (
    Entry(
        pattern="0001001R 0AAAAAAA",
        addresses=_ANY,
        builds=ConsistControl,
        fields={"reversed": "R", "number": "A"},
        source="S-9.2.1 C",
    ),
    _reserved("0001CCCC", "S-9.2.1 C"),
)

_ADVANCED_OPERATIONS = (
    Entry(
        pattern="00111111 DSSSSSSS",
        addresses=_ANY,
        builds=SpeedControl128,
        fields={"forward": "D", "code": "S"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="00111110 E0SSSSSS",
        addresses=_ANY,
        builds=RestrictedSpeedStep,
        fields={"enabled": Letters("E", xor=1), "step": "S"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="00111101 VVVVVVVV DDDDDDDD",
        addresses=_ANY,
        builds=AnalogFunction,
        fields={"output": "V", "value": "D"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="00111100 DSSSSSSS",
        addresses=_ANY,
        builds=SpeedDirectionFunctions,
        fields={"forward": "D", "code": "S"},
        tail=Tail("states", 1, 4),
        source="RCN-212, from memory",
    ),
    _reserved("001CCCCC", "S-9.2.1 C"),
)

_SPEED_AND_DIRECTION = (
    Entry(
        pattern="01DCSSSS",
        addresses=_ANY,
        builds=SpeedAndDirection,
        fields={"forward": "D", "code": "CS"},
        source="S-9.2 B; S-9.2.1 C",
    ),
    Entry(
        pattern="01DC000S",
        addresses=(Broadcast,),
        builds=BroadcastStop,
        fields={"forward": "D", "direction_ignored": "C", "emergency": "S"},
        special_of=(SpeedAndDirection,),
        source="S-9.2 B",
    ),
)

_FUNCTIONS = (
    Entry(
        pattern="100LDDDD",
        addresses=_ANY,
        builds=FunctionGroupOne,
        fields={"bit4": "L", "states": "D"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="1011DDDD",
        addresses=_ANY,
        builds=FunctionGroupTwo,
        fields={"states": "D"},
        constants={"first": 5},
        title="Function Group Two, F5 to F8",
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="1010DDDD",
        addresses=_ANY,
        builds=FunctionGroupTwo,
        fields={"states": "D"},
        constants={"first": 9},
        title="Function Group Two, F9 to F12",
        source="S-9.2.1 C",
    ),
)

_FEATURE_EXPANSION = (
    Entry(
        pattern="11000000 DLLLLLLL HHHHHHHH",
        addresses=_ANY,
        builds=BinaryStateLong,
        fields={"state": "D", "number": "HL"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="11000001 00MMMMMM WWWHHHHH U0BBBBBB",
        addresses=(Broadcast,),
        builds=ModelTime,
        fields={"minute": "M", "weekday": "W", "hour": "H", "update": "U", "factor": "B"},
        source="RCN-211, from memory",
    ),
    Entry(
        pattern="11000001 010TTTTT MMMMYYYY YYYYYYYY",
        addresses=(Broadcast,),
        builds=ModelDate,
        fields={"day": "T", "month": "M", "year": "Y"},
        source="RCN-211, from memory",
    ),
    Entry(
        pattern="11000010 MMMMMMMM MMMMMMMM",
        addresses=(Broadcast,),
        builds=SystemTime,
        fields={"milliseconds": "M"},
        source="RCN-211, from memory",
    ),
    _functions("11011000 DDDDDDDD", 29, "RCN-212, from memory"),
    _functions("11011001 DDDDDDDD", 37, "RCN-212, from memory"),
    _functions("11011010 DDDDDDDD", 45, "RCN-212, from memory"),
    _functions("11011011 DDDDDDDD", 53, "RCN-212, from memory"),
    _functions("11011100 DDDDDDDD", 61, "RCN-212, from memory"),
    Entry(
        pattern="11011101 DLLLLLLL",
        addresses=_ANY,
        builds=BinaryStateShort,
        fields={"state": "D", "number": "L"},
        source="S-9.2.1 C",
    ),
    _functions("11011110 DDDDDDDD", 13, "S-9.2.1 C"),
    _functions("11011111 DDDDDDDD", 21, "S-9.2.1 C"),
    _reserved("110CCCCC", "S-9.2.1 C"),
)

_CV_ACCESS = (
    Entry(
        pattern="111001VV VVVVVVVV DDDDDDDD",
        addresses=_ANY,
        builds=CvVerifyByte,
        fields={"cv": _CV, "value": "D"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="111011VV VVVVVVVV DDDDDDDD",
        addresses=_ANY,
        builds=CvWriteByte,
        fields={"cv": _CV, "value": "D"},
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="111010VV VVVVVVVV 111CDBBB",
        addresses=_ANY,
        builds=CvBitManipulation,
        fields={"cv": _CV, "write": "C", "value": "D", "position": "B"},
        source="S-9.2.1 C",
    ),
    _reserved("111000VV", "S-9.2.1 C"),
    Entry(
        pattern="11110010 DDDDDDDD",
        addresses=_ANY,
        builds=CvShortForm,
        fields={"value": "D"},
        constants={"cv": 23},
        title="CV Access, Short Form, CV 23",
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="11110011 DDDDDDDD",
        addresses=_ANY,
        builds=CvShortForm,
        fields={"value": "D"},
        constants={"cv": 24},
        title="CV Access, Short Form, CV 24",
        source="S-9.2.1 C",
    ),
    Entry(
        pattern="11110100 VVVVVVVV DDDDDDDD",
        addresses=_ANY,
        builds=CvShortFormPair,
        fields={"value": "V", "next_value": "D"},
        constants={"cv": 17},
        title="CV Access, Short Form, CV 17 and 18",
        source="RCN-214, from memory",
    ),
    Entry(
        pattern="11110101 VVVVVVVV DDDDDDDD",
        addresses=_ANY,
        builds=CvShortFormPair,
        fields={"value": "V", "next_value": "D"},
        constants={"cv": 31},
        title="CV Access, Short Form, CV 31 and 32",
        source="RCN-214, from memory",
    ),
    Entry(
        pattern="11111001 0AAAAAAA",
        addresses=(Broadcast,),
        builds=DecoderLock,
        fields={"number": "A"},
        source="S-9.2.3 appendix B",
    ),
    Entry(
        pattern="11111001",
        addresses=(ShortAddress,),
        builds=AddressQuery,
        numbers=(1, 111),
        source="S-9.2.3 appendix A",
    ),
    _reserved("1111CCCC", "S-9.2.1 C"),
)

_OTHER_ADDRESSES = (
    Entry(pattern="11111111 00000000", addresses=(IdleAddress,), builds=Idle, source="S-9.2 B"),
    Entry(
        pattern="11101AAA",
        addresses=(ReservedAddress,),
        builds=Reserved,
        tail=_REST,
        title="Reserved addresses 232 to 239",
        source="S-9.2.1 A",
    ),
    Entry(
        pattern="1111AAAA",
        addresses=(ReservedAddress,),
        builds=Reserved,
        tail=_REST,
        title="Reserved addresses 240 to 254",
        source="S-9.2.1 A; 253 and 254: S-9.2.1.1, RCN-218, from memory",
    ),
)

MULTI_FUNCTION = (
    *_DECODER_CONTROL,
    *_CONSIST_CONTROL,
    *_ADVANCED_OPERATIONS,
    *_SPEED_AND_DIRECTION,
    *_FUNCTIONS,
    *_FEATURE_EXPANSION,
    *_CV_ACCESS,
    *_OTHER_ADDRESSES,
)
