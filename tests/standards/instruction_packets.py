"""Packets of operations mode, worked out by hand from the patterns of the standards, apart from the registry.

Each row: the bytes without the error detection byte (hexadecimal), the class, the address as in its
``as_dict`` without the kind, and the fields. Sections carry their source. Boundary values first.
"""

from __future__ import annotations

from typing import Any, NamedTuple

__all__ = ["ALL", "OPERATIONS", "Worked"]


class Worked(NamedTuple):
    """One packet and what it says."""

    body: str
    builds: str
    kind: str
    address: dict[str, int | None]
    fields: dict[str, Any]


def _number(value: int) -> dict[str, int | None]:
    return {"number": value}


def _board(board: int, pair: int | None = None, output: int | None = None) -> dict[str, int | None]:
    return {"board": board, "pair": pair, "output": output}


# Addresses used below. S-9.2.1 A, C; long ones: CV 17 and CV 18 arithmetic of S-9.2.2, e.g.
# 1111 = 4 * 256 + 87: 192 + 4 = 196 (C4), 87 (57); 9999 = 39 * 256 + 15: 231 (E7), 15 (0F);
# 144: 192 (C0), 144 (90); 10239 = 39 * 256 + 255: E7 FF.
S3, S55, S127 = _number(3), _number(55), _number(127)
L0, L144, L1111, L9999, L10239 = _number(0), _number(144), _number(1111), _number(9999), _number(10239)
ALL: dict[str, int | None] = {}
_ALL_BASIC: dict[str, int | None] = {"pair": None, "output": None}


def _simple(builds: str, code: str, **fields: Any) -> list[Worked]:
    """The same instruction bytes behind each kind of address, at the addresses' bounds."""
    return [
        Worked(f"01 {code}", builds, "short", _number(1), fields),
        Worked(f"7F {code}", builds, "short", S127, fields),
        Worked(f"C0 00 {code}", builds, "long", L0, fields),
        Worked(f"E7 FF {code}", builds, "long", L10239, fields),
    ]


OPERATIONS: list[Worked] = [
    # S-9.2.1 C, decoder control; S-9.2 B for the reset packet.
    Worked("00 00", "DigitalDecoderReset", "broadcast", ALL, {}),
    *_simple("DigitalDecoderReset", "00"),
    Worked("00 01", "HardReset", "broadcast", ALL, {}),
    *_simple("HardReset", "01"),
    # 0000001F
    Worked("00 02", "FactoryTest", "broadcast", ALL, {"f": False, "data": b""}),
    Worked("03 03", "FactoryTest", "short", S3, {"f": True, "data": b""}),
    Worked("C0 90 02 FF", "FactoryTest", "long", L144, {"f": False, "data": b"\xff"}),
    Worked("E7 0F 03 00 7F", "FactoryTest", "long", L9999, {"f": True, "data": b"\x00\x7f"}),
    # 0000011D CCCC0SSS
    Worked("00 06 00", "SetDecoderFlags", "broadcast", ALL, {"value": False, "code": 0, "sub_address": 0}),
    Worked("03 07 F7", "SetDecoderFlags", "short", S3, {"value": True, "code": 15, "sub_address": 7}),
    Worked("03 07 51", "SetDecoderFlags", "short", S3, {"value": True, "code": 5, "sub_address": 1}),
    Worked("C4 57 06 94", "SetDecoderFlags", "long", L1111, {"value": False, "code": 9, "sub_address": 4}),
    Worked("C4 57 06 82", "SetDecoderFlags", "long", L1111, {"value": False, "code": 8, "sub_address": 2}),
    # 0000101D
    Worked("00 0A", "SetExtendedAddressing", "broadcast", ALL, {"enabled": False}),
    Worked("03 0B", "SetExtendedAddressing", "short", S3, {"enabled": True}),
    Worked("C0 00 0A", "SetExtendedAddressing", "long", L0, {"enabled": False}),
    Worked("E7 FF 0B", "SetExtendedAddressing", "long", L10239, {"enabled": True}),
    # 0000111D
    *_simple("DecoderAcknowledgementRequest", "0E", value=False),
    *_simple("DecoderAcknowledgementRequest", "0F", value=True),
    # 00010010 0AAAAAAA, 00010011 0AAAAAAA
    Worked("03 12 00", "ConsistControl", "short", S3, {"reversed": False, "number": 0}),
    Worked("03 13 7F", "ConsistControl", "short", S3, {"reversed": True, "number": 127}),
    Worked("C4 57 12 40", "ConsistControl", "long", L1111, {"reversed": False, "number": 64}),
    Worked("C4 57 13 01", "ConsistControl", "long", L1111, {"reversed": True, "number": 1}),
    # 00111111 DSSSSSSS
    Worked("03 3F 00", "SpeedControl128", "short", S3, {"forward": False, "code": 0}),
    Worked("03 3F 81", "SpeedControl128", "short", S3, {"forward": True, "code": 1}),
    Worked("C4 57 3F 7F", "SpeedControl128", "long", L1111, {"forward": False, "code": 127}),
    Worked("00 3F C0", "SpeedControl128", "broadcast", ALL, {"forward": True, "code": 64}),
    # 00111110 EUSSSSSS; a zero enables; SSSSSS is as S-9.2 writes it: a direction's bit, C, SSSS
    Worked("03 3E 00", "RestrictedSpeedStep", "short", S3, {"enabled": True, "bit6": False, "bit5": False, "code": 0}),
    Worked("03 3E BF", "RestrictedSpeedStep", "short", S3, {"enabled": False, "bit6": False, "bit5": True, "code": 31}),
    Worked("C4 57 3E 20", "RestrictedSpeedStep", "long", L1111, {"enabled": True, "bit6": False, "bit5": True, "code": 0}),
    Worked("00 3E 81", "RestrictedSpeedStep", "broadcast", ALL, {"enabled": False, "bit6": False, "bit5": False, "code": 1}),
    Worked("03 3E 54", "RestrictedSpeedStep", "short", S3, {"enabled": True, "bit6": True, "bit5": False, "code": 20}),
    # 00111101 VVVVVVVV DDDDDDDD
    Worked("03 3D 00 FF", "AnalogFunction", "short", S3, {"output": 0, "value": 255}),
    Worked("03 3D 01 80", "AnalogFunction", "short", S3, {"output": 1, "value": 128}),
    Worked("C4 57 3D FF 00", "AnalogFunction", "long", L1111, {"output": 255, "value": 0}),
    Worked("00 3D 7F 01", "AnalogFunction", "broadcast", ALL, {"output": 127, "value": 1}),
    # 00111100 DSSSSSSS and one to four function bytes: RCN-212, from memory
    Worked("03 3C 00 00", "SpeedDirectionFunctions", "short", S3, {"forward": False, "code": 0, "states": b"\0"}),
    Worked("03 3C FF 01 80", "SpeedDirectionFunctions", "short", S3, {"forward": True, "code": 127, "states": b"\1\x80"}),
    Worked("C4 57 3C 81 FF 00 7F", "SpeedDirectionFunctions", "long", L1111, {"forward": True, "code": 1, "states": b"\xff\0\x7f"}),
    Worked("00 3C 40 01 02 04 08", "SpeedDirectionFunctions", "broadcast", ALL, {"forward": False, "code": 64, "states": b"\1\2\4\x08"}),
    # S-9.2 B: 01DCSSSS. Its worked value: address 55, forward, step 6 of 28 is 37 74 43.
    Worked("37 74", "SpeedAndDirection", "short", S55, {"forward": True, "code": 0b10100}),
    Worked("03 40", "SpeedAndDirection", "short", S3, {"forward": False, "code": 0}),
    Worked("03 5F", "SpeedAndDirection", "short", S3, {"forward": False, "code": 31}),
    Worked("C4 57 70", "SpeedAndDirection", "long", L1111, {"forward": True, "code": 16}),
    Worked("00 62", "SpeedAndDirection", "broadcast", ALL, {"forward": True, "code": 2}),
    # S-9.2 B: 00000000 01DC000S
    Worked("00 40", "BroadcastStop", "broadcast", ALL, {"forward": False, "direction_ignored": False, "emergency": False}),
    Worked("00 61", "BroadcastStop", "broadcast", ALL, {"forward": True, "direction_ignored": False, "emergency": True}),
    Worked("00 50", "BroadcastStop", "broadcast", ALL, {"forward": False, "direction_ignored": True, "emergency": False}),
    Worked("00 71", "BroadcastStop", "broadcast", ALL, {"forward": True, "direction_ignored": True, "emergency": True}),
    # S-9.2.1 C: 100LDDDD
    Worked("03 80", "FunctionGroupOne", "short", S3, {"bit4": False, "states": 0}),
    Worked("03 9F", "FunctionGroupOne", "short", S3, {"bit4": True, "states": 15}),
    Worked("C4 57 90", "FunctionGroupOne", "long", L1111, {"bit4": True, "states": 0}),
    Worked("00 88", "FunctionGroupOne", "broadcast", ALL, {"bit4": False, "states": 8}),
    # 1011DDDD: F5 to F8; 1010DDDD: F9 to F12
    Worked("03 B0", "FunctionGroupTwo", "short", S3, {"first": 5, "states": 0}),
    Worked("C4 57 BF", "FunctionGroupTwo", "long", L1111, {"first": 5, "states": 15}),
    Worked("03 B1", "FunctionGroupTwo", "short", S3, {"first": 5, "states": 1}),
    Worked("00 B8", "FunctionGroupTwo", "broadcast", ALL, {"first": 5, "states": 8}),
    Worked("03 A0", "FunctionGroupTwo", "short", S3, {"first": 9, "states": 0}),
    Worked("C4 57 AF", "FunctionGroupTwo", "long", L1111, {"first": 9, "states": 15}),
    Worked("03 A1", "FunctionGroupTwo", "short", S3, {"first": 9, "states": 1}),
    Worked("00 A8", "FunctionGroupTwo", "broadcast", ALL, {"first": 9, "states": 8}),
    # 11000000 DLLLLLLL HHHHHHHH
    Worked("03 C0 00 00", "BinaryStateLong", "short", S3, {"state": False, "number": 0}),
    Worked("03 C0 FF FF", "BinaryStateLong", "short", S3, {"state": True, "number": 32767}),
    Worked("C4 57 C0 80 01", "BinaryStateLong", "long", L1111, {"state": True, "number": 128}),
    Worked("00 C0 7F 00", "BinaryStateLong", "broadcast", ALL, {"state": False, "number": 127}),
    Worked("03 C0 81 02", "BinaryStateLong", "short", S3, {"state": True, "number": 257}),
    # 11011101 DLLLLLLL
    Worked("03 DD 00", "BinaryStateShort", "short", S3, {"state": False, "number": 0}),
    Worked("03 DD FF", "BinaryStateShort", "short", S3, {"state": True, "number": 127}),
    Worked("C4 57 DD 81", "BinaryStateShort", "long", L1111, {"state": True, "number": 1}),
    Worked("00 DD 40", "BinaryStateShort", "broadcast", ALL, {"state": False, "number": 64}),
    # 11011110 F13 to F20, 11011111 F21 to F28; the others RCN-212, from memory
    *(
        Worked(f"{head} {code} {states:02X}", "FunctionExpansion", kind, address, {"first": first, "states": states})
        for code, first in (
            ("DE", 13),
            ("DF", 21),
            ("D8", 29),
            ("D9", 37),
            ("DA", 45),
            ("DB", 53),
            ("DC", 61),
        )
        for head, kind, address, states in (
            ("03", "short", S3, 0),
            ("7F", "short", S127, 255),
            ("C4 57", "long", L1111, 1),
            ("00", "broadcast", ALL, 128),
        )
    ),
    # RCN-211, from memory: 11000001 00MMMMMM WWWHHHHH U0BBBBBB
    Worked("00 C1 00 00 00", "ModelTime", "broadcast", ALL, {"minute": 0, "weekday": 0, "hour": 0, "update": False, "factor": 0}),
    Worked("00 C1 3B D7 BF", "ModelTime", "broadcast", ALL, {"minute": 59, "weekday": 6, "hour": 23, "update": True, "factor": 63}),
    Worked("00 C1 1E 2C 04", "ModelTime", "broadcast", ALL, {"minute": 30, "weekday": 1, "hour": 12, "update": False, "factor": 4}),
    Worked("00 C1 3F FF 81", "ModelTime", "broadcast", ALL, {"minute": 63, "weekday": 7, "hour": 31, "update": True, "factor": 1}),
    # RCN-211, from memory: 11000001 010TTTTT MMMMYYYY YYYYYYYY
    Worked("00 C1 40 00 00", "ModelDate", "broadcast", ALL, {"day": 0, "month": 0, "year": 0}),
    Worked("00 C1 5F FF FF", "ModelDate", "broadcast", ALL, {"day": 31, "month": 15, "year": 4095}),
    Worked("00 C1 5F C7 83", "ModelDate", "broadcast", ALL, {"day": 31, "month": 12, "year": 1923}),
    Worked("00 C1 41 17 6C", "ModelDate", "broadcast", ALL, {"day": 1, "month": 1, "year": 1900}),
    # RCN-211, from memory: 11000010 and two bytes
    Worked("00 C2 00 00", "SystemTime", "broadcast", ALL, {"milliseconds": 0}),
    Worked("00 C2 FF FF", "SystemTime", "broadcast", ALL, {"milliseconds": 65535}),
    Worked("00 C2 01 00", "SystemTime", "broadcast", ALL, {"milliseconds": 256}),
    Worked("00 C2 00 FF", "SystemTime", "broadcast", ALL, {"milliseconds": 255}),
    # S-9.2.1 C: 1110CCVV VVVVVVVV DDDDDDDD, CV number = V + 1
    Worked("03 E4 00 00", "CvVerifyByte", "short", S3, {"cv": 1, "value": 0}),
    Worked("03 E7 FF FF", "CvVerifyByte", "short", S3, {"cv": 1024, "value": 255}),
    Worked("C4 57 E4 1C 06", "CvVerifyByte", "long", L1111, {"cv": 29, "value": 6}),
    Worked("00 E5 00 01", "CvVerifyByte", "broadcast", ALL, {"cv": 257, "value": 1}),
    Worked("03 EC 00 00", "CvWriteByte", "short", S3, {"cv": 1, "value": 0}),
    Worked("03 EF FF FF", "CvWriteByte", "short", S3, {"cv": 1024, "value": 255}),
    Worked("C4 57 EC 1C 06", "CvWriteByte", "long", L1111, {"cv": 29, "value": 6}),
    Worked("00 EE 00 01", "CvWriteByte", "broadcast", ALL, {"cv": 513, "value": 1}),
    Worked("03 E8 00 E0", "CvBitManipulation", "short", S3, {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("03 EB FF FF", "CvBitManipulation", "short", S3, {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("C4 57 E8 1C F5", "CvBitManipulation", "long", L1111, {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("00 E9 00 E9", "CvBitManipulation", "broadcast", ALL, {"cv": 257, "writes": False, "value": True, "position": 1}),
    # RCN-214, from memory: 1110GGSS, 24 bits of CV number, 0 to 4 bytes. What else these bytes could be leaves some over.
    Worked("03 E4 00 00 E0", "ExtendedCvAccess", "short", S3, {"operation": 1, "sequence": 0, "cv": 225, "data": b""}),
    Worked("03 E7 00 00 06 08", "ExtendedCvAccess", "short", S3, {"operation": 1, "sequence": 3, "cv": 7, "data": b"\x08"}),
    Worked("00 E6 00 01 00", "ExtendedCvAccess", "broadcast", ALL, {"operation": 1, "sequence": 2, "cv": 257, "data": b""}),
    Worked("C4 57 E5 00 00 3F", "ExtendedCvAccess", "long", L1111, {"operation": 1, "sequence": 1, "cv": 64, "data": b""}),
    Worked("03 E8 00 00 00", "ExtendedCvAccess", "short", S3, {"operation": 2, "sequence": 0, "cv": 1, "data": b""}),
    Worked("03 E9 00 01 00 FD", "ExtendedCvAccess", "short", S3, {"operation": 2, "sequence": 1, "cv": 257, "data": b"\xfd"}),
    Worked("C4 57 EA 12 34 56 01", "ExtendedCvAccess", "long", L1111, {"operation": 2, "sequence": 2, "cv": 0x123457, "data": b"\1"}),
    Worked("00 EB 00 00 1C F5", "ExtendedCvAccess", "broadcast", ALL, {"operation": 2, "sequence": 3, "cv": 29, "data": b"\xf5"}),
    Worked("03 EC 00 00 E4 06", "ExtendedCvAccess", "short", S3, {"operation": 3, "sequence": 0, "cv": 229, "data": b"\6"}),
    Worked("03 ED 00 00 06 09", "ExtendedCvAccess", "short", S3, {"operation": 3, "sequence": 1, "cv": 7, "data": b"\x09"}),
    Worked("C4 57 EE 10 00 00 3F", "ExtendedCvAccess", "long", L1111, {"operation": 3, "sequence": 2, "cv": 0x100001, "data": b"\x3f"}),
    Worked("00 EF 00 00 1C 01 02 03 04", "ExtendedCvAccess", "broadcast", ALL, {"operation": 3, "sequence": 3, "cv": 29, "data": b"\1\2\3\4"}),
    # 11110010: CV 23; 11110011: CV 24
    Worked("03 F2 00", "CvShortForm", "short", S3, {"cv": 23, "value": 0}),
    Worked("7F F2 FF", "CvShortForm", "short", S127, {"cv": 23, "value": 255}),
    Worked("C4 57 F2 80", "CvShortForm", "long", L1111, {"cv": 23, "value": 128}),
    Worked("00 F2 01", "CvShortForm", "broadcast", ALL, {"cv": 23, "value": 1}),
    Worked("03 F3 00", "CvShortForm", "short", S3, {"cv": 24, "value": 0}),
    Worked("7F F3 FF", "CvShortForm", "short", S127, {"cv": 24, "value": 255}),
    Worked("C4 57 F3 80", "CvShortForm", "long", L1111, {"cv": 24, "value": 128}),
    Worked("00 F3 01", "CvShortForm", "broadcast", ALL, {"cv": 24, "value": 1}),
    # RCN-214, from memory: 11110100: CV 17 and 18; 11110101: CV 31 and 32
    Worked("03 F4 C4 57", "CvShortFormPair", "short", S3, {"cv": 17, "value": 196, "next_value": 87}),
    Worked("03 F4 E7 0F", "CvShortFormPair", "short", S3, {"cv": 17, "value": 231, "next_value": 15}),
    Worked("C4 57 F4 00 FF", "CvShortFormPair", "long", L1111, {"cv": 17, "value": 0, "next_value": 255}),
    Worked("00 F4 FF 00", "CvShortFormPair", "broadcast", ALL, {"cv": 17, "value": 255, "next_value": 0}),
    Worked("03 F5 10 00", "CvShortFormPair", "short", S3, {"cv": 31, "value": 16, "next_value": 0}),
    Worked("03 F5 00 FF", "CvShortFormPair", "short", S3, {"cv": 31, "value": 0, "next_value": 255}),
    Worked("C4 57 F5 FF 01", "CvShortFormPair", "long", L1111, {"cv": 31, "value": 255, "next_value": 1}),
    Worked("00 F5 01 80", "CvShortFormPair", "broadcast", ALL, {"cv": 31, "value": 1, "next_value": 128}),
    # S-9.2.3 appendix B
    Worked("00 F9 00", "DecoderLock", "broadcast", ALL, {"number": 0}),
    Worked("00 F9 7F", "DecoderLock", "broadcast", ALL, {"number": 127}),
    Worked("00 F9 01", "DecoderLock", "broadcast", ALL, {"number": 1}),
    Worked("00 F9 40", "DecoderLock", "broadcast", ALL, {"number": 64}),
    # S-9.2.3 appendix A: addresses 1 to 111
    Worked("01 F9", "AddressQuery", "short", _number(1), {}),
    Worked("6F F9", "AddressQuery", "short", _number(111), {}),
    Worked("03 F9", "AddressQuery", "short", S3, {}),
    Worked("37 F9", "AddressQuery", "short", S55, {}),
    # S-9.2 B: there is one idle packet
    Worked("FF 00", "Idle", "idle", ALL, {}),
    # S-9.2.1 D: 10AAAAAA 1AAACDDD, the three high bits inverted
    Worked("80 F0", "BasicAccessory", "accessory", _board(0, 0, 0), {"activate": False}),
    Worked("81 F8", "BasicAccessory", "accessory", _board(1, 0, 0), {"activate": True}),
    Worked("BF F9", "BasicAccessory", "accessory", _board(63, 0, 1), {"activate": True}),
    Worked("80 E2", "BasicAccessory", "accessory", _board(64, 1, 0), {"activate": False}),
    Worked("BE 8F", "BasicAccessory", "accessory", _board(510, 3, 1), {"activate": True}),
    Worked("A5 94", "BasicAccessory", "accessory", _board(0b110_100101, 2, 0), {"activate": False}),
    # 10111111 1000CDDD
    Worked("BF 80", "BasicAccessory", "accessory broadcast", {"pair": 0, "output": 0}, {"activate": False}),
    Worked("BF 8F", "BasicAccessory", "accessory broadcast", {"pair": 3, "output": 1}, {"activate": True}),
    Worked("BF 8A", "BasicAccessory", "accessory broadcast", {"pair": 1, "output": 0}, {"activate": True}),
    Worked("BF 85", "BasicAccessory", "accessory broadcast", {"pair": 2, "output": 1}, {"activate": False}),
    # 10AAAAAA 0AAA0AA1 000XXXXX; aspects from 32 up: RCN-213, from memory
    Worked("80 71 00", "ExtendedAccessory", "extended accessory", _number(0), {"aspect": 0}),
    Worked("81 71 1F", "ExtendedAccessory", "extended accessory", _number(4), {"aspect": 31}),
    Worked("BF 05 01", "ExtendedAccessory", "extended accessory", _number(2046), {"aspect": 1}),
    Worked("80 63 10", "ExtendedAccessory", "extended accessory", _number(257), {"aspect": 16}),
    Worked("A5 15 FF", "ExtendedAccessory", "extended accessory", _number(0b110_100101_10), {"aspect": 255}),
    # 10111111 00000111 000XXXXX
    Worked("BF 07 00", "ExtendedAccessory", "extended accessory broadcast", ALL, {"aspect": 0}),
    Worked("BF 07 1F", "ExtendedAccessory", "extended accessory broadcast", ALL, {"aspect": 31}),
    Worked("BF 07 01", "ExtendedAccessory", "extended accessory broadcast", ALL, {"aspect": 1}),
    Worked("BF 07 FF", "ExtendedAccessory", "extended accessory broadcast", ALL, {"aspect": 255}),
    # RCN-213, from memory: 10AAAAAA 0AAA1AAT
    Worked("80 78", "AccessoryNop", "accessory", _board(0, 0), {}),
    Worked("81 7A", "AccessoryNop", "accessory", _board(1, 1), {}),
    Worked("BF 0E", "AccessoryNop", "accessory", _board(511, 3), {}),
    Worked("A5 1C", "AccessoryNop", "accessory", _board(0b110_100101, 2), {}),
    Worked("80 79", "AccessoryNop", "extended accessory", _number(0), {}),
    Worked("81 7B", "AccessoryNop", "extended accessory", _number(5), {}),
    Worked("BF 0F", "AccessoryNop", "extended accessory", _number(2047), {}),
    Worked("A5 1D", "AccessoryNop", "extended accessory", _number(0b110_100101_10), {}),
    # S-9.2.1 D: 10AAAAAA 1AAACDDD 1110CCVV VVVVVVVV DDDDDDDD, CDDD = 0000: the whole decoder
    Worked("80 F0 E4 00 00", "CvVerifyByte", "accessory", _board(0), {"cv": 1, "value": 0}),
    Worked("BE 80 E7 FF FF", "CvVerifyByte", "accessory", _board(510), {"cv": 1024, "value": 255}),
    Worked("81 F0 E4 1C 06", "CvVerifyByte", "accessory", _board(1), {"cv": 29, "value": 6}),
    Worked("80 E0 E5 00 01", "CvVerifyByte", "accessory", _board(64), {"cv": 257, "value": 1}),
    Worked("80 F0 EC 00 00", "CvWriteByte", "accessory", _board(0), {"cv": 1, "value": 0}),
    Worked("BE 80 EF FF FF", "CvWriteByte", "accessory", _board(510), {"cv": 1024, "value": 255}),
    Worked("81 F0 EC 1C 06", "CvWriteByte", "accessory", _board(1), {"cv": 29, "value": 6}),
    Worked("80 E0 EE 00 01", "CvWriteByte", "accessory", _board(64), {"cv": 513, "value": 1}),
    Worked("80 F0 E8 00 E0", "CvBitManipulation", "accessory", _board(0), {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("BE 80 EB FF FF", "CvBitManipulation", "accessory", _board(510), {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("81 F0 E8 1C F5", "CvBitManipulation", "accessory", _board(1), {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("80 E0 E9 00 E9", "CvBitManipulation", "accessory", _board(64), {"cv": 257, "writes": False, "value": True, "position": 1}),
    # C = 1: the output DDD
    Worked("80 F8 E4 00 00", "CvVerifyByte", "accessory", _board(0, 0, 0), {"cv": 1, "value": 0}),
    Worked("BE 8F E7 FF FF", "CvVerifyByte", "accessory", _board(510, 3, 1), {"cv": 1024, "value": 255}),
    Worked("81 FA E4 1C 06", "CvVerifyByte", "accessory", _board(1, 1, 0), {"cv": 29, "value": 6}),
    Worked("80 E9 E5 00 01", "CvVerifyByte", "accessory", _board(64, 0, 1), {"cv": 257, "value": 1}),
    Worked("80 F8 EC 00 00", "CvWriteByte", "accessory", _board(0, 0, 0), {"cv": 1, "value": 0}),
    Worked("BE 8F EF FF FF", "CvWriteByte", "accessory", _board(510, 3, 1), {"cv": 1024, "value": 255}),
    Worked("81 FC EC 1C 06", "CvWriteByte", "accessory", _board(1, 2, 0), {"cv": 29, "value": 6}),
    Worked("80 E9 EE 00 01", "CvWriteByte", "accessory", _board(64, 0, 1), {"cv": 513, "value": 1}),
    Worked("80 F8 E8 00 E0", "CvBitManipulation", "accessory", _board(0, 0, 0), {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("BE 8F EB FF FF", "CvBitManipulation", "accessory", _board(510, 3, 1), {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("81 FC E8 1C F5", "CvBitManipulation", "accessory", _board(1, 2, 0), {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("80 E9 E9 00 E9", "CvBitManipulation", "accessory", _board(64, 0, 1), {"cv": 257, "writes": False, "value": True, "position": 1}),
    # 10AAAAAA 0AAA0AA1 1110CCVV VVVVVVVV DDDDDDDD
    Worked("80 71 E4 00 00", "CvVerifyByte", "extended accessory", _number(0), {"cv": 1, "value": 0}),
    Worked("BF 05 E7 FF FF", "CvVerifyByte", "extended accessory", _number(2046), {"cv": 1024, "value": 255}),
    Worked("81 73 E4 1C 06", "CvVerifyByte", "extended accessory", _number(5), {"cv": 29, "value": 6}),
    Worked("80 65 E5 00 01", "CvVerifyByte", "extended accessory", _number(258), {"cv": 257, "value": 1}),
    Worked("80 71 EC 00 00", "CvWriteByte", "extended accessory", _number(0), {"cv": 1, "value": 0}),
    Worked("BF 05 EF FF FF", "CvWriteByte", "extended accessory", _number(2046), {"cv": 1024, "value": 255}),
    Worked("81 73 EC 1C 06", "CvWriteByte", "extended accessory", _number(5), {"cv": 29, "value": 6}),
    Worked("80 65 EE 00 01", "CvWriteByte", "extended accessory", _number(258), {"cv": 513, "value": 1}),
    Worked("80 71 E8 00 E0", "CvBitManipulation", "extended accessory", _number(0), {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("BF 05 EB FF FF", "CvBitManipulation", "extended accessory", _number(2046), {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("81 73 E8 1C F5", "CvBitManipulation", "extended accessory", _number(5), {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("80 65 E9 00 E9", "CvBitManipulation", "extended accessory", _number(258), {"cv": 257, "writes": False, "value": True, "position": 1}),
    # The same behind the address bytes of the accessory broadcasts (S-9.2.1 D)
    Worked("BF 80 E4 00 00", "CvVerifyByte", "accessory broadcast", _ALL_BASIC, {"cv": 1, "value": 0}),
    Worked("BF 80 E7 FF FF", "CvVerifyByte", "accessory broadcast", _ALL_BASIC, {"cv": 1024, "value": 255}),
    Worked("BF 80 E4 1C 06", "CvVerifyByte", "accessory broadcast", _ALL_BASIC, {"cv": 29, "value": 6}),
    Worked("BF 80 E5 00 01", "CvVerifyByte", "accessory broadcast", _ALL_BASIC, {"cv": 257, "value": 1}),
    Worked("BF 80 EC 00 00", "CvWriteByte", "accessory broadcast", _ALL_BASIC, {"cv": 1, "value": 0}),
    Worked("BF 80 EF FF FF", "CvWriteByte", "accessory broadcast", _ALL_BASIC, {"cv": 1024, "value": 255}),
    Worked("BF 80 EC 1C 06", "CvWriteByte", "accessory broadcast", _ALL_BASIC, {"cv": 29, "value": 6}),
    Worked("BF 80 EE 00 01", "CvWriteByte", "accessory broadcast", _ALL_BASIC, {"cv": 513, "value": 1}),
    Worked("BF 80 E8 00 E0", "CvBitManipulation", "accessory broadcast", _ALL_BASIC, {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("BF 80 EB FF FF", "CvBitManipulation", "accessory broadcast", _ALL_BASIC, {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("BF 80 E8 1C F5", "CvBitManipulation", "accessory broadcast", _ALL_BASIC, {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("BF 80 E9 00 E9", "CvBitManipulation", "accessory broadcast", _ALL_BASIC, {"cv": 257, "writes": False, "value": True, "position": 1}),
    Worked("BF 88 E4 00 00", "CvVerifyByte", "accessory broadcast", {"pair": 0, "output": 0}, {"cv": 1, "value": 0}),
    Worked("BF 89 E7 FF FF", "CvVerifyByte", "accessory broadcast", {"pair": 0, "output": 1}, {"cv": 1024, "value": 255}),
    Worked("BF 8C E4 1C 06", "CvVerifyByte", "accessory broadcast", {"pair": 2, "output": 0}, {"cv": 29, "value": 6}),
    Worked("BF 8F E5 00 01", "CvVerifyByte", "accessory broadcast", {"pair": 3, "output": 1}, {"cv": 257, "value": 1}),
    Worked("BF 88 EC 00 00", "CvWriteByte", "accessory broadcast", {"pair": 0, "output": 0}, {"cv": 1, "value": 0}),
    Worked("BF 89 EF FF FF", "CvWriteByte", "accessory broadcast", {"pair": 0, "output": 1}, {"cv": 1024, "value": 255}),
    Worked("BF 8C EC 1C 06", "CvWriteByte", "accessory broadcast", {"pair": 2, "output": 0}, {"cv": 29, "value": 6}),
    Worked("BF 8F EE 00 01", "CvWriteByte", "accessory broadcast", {"pair": 3, "output": 1}, {"cv": 513, "value": 1}),
    Worked("BF 88 E8 00 E0", "CvBitManipulation", "accessory broadcast", {"pair": 0, "output": 0}, {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("BF 89 EB FF FF", "CvBitManipulation", "accessory broadcast", {"pair": 0, "output": 1}, {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("BF 8C E8 1C F5", "CvBitManipulation", "accessory broadcast", {"pair": 2, "output": 0}, {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("BF 8F E9 00 E9", "CvBitManipulation", "accessory broadcast", {"pair": 3, "output": 1}, {"cv": 257, "writes": False, "value": True, "position": 1}),
    Worked("BF 07 E4 00 00", "CvVerifyByte", "extended accessory broadcast", ALL, {"cv": 1, "value": 0}),
    Worked("BF 07 E7 FF FF", "CvVerifyByte", "extended accessory broadcast", ALL, {"cv": 1024, "value": 255}),
    Worked("BF 07 E4 1C 06", "CvVerifyByte", "extended accessory broadcast", ALL, {"cv": 29, "value": 6}),
    Worked("BF 07 E5 00 01", "CvVerifyByte", "extended accessory broadcast", ALL, {"cv": 257, "value": 1}),
    Worked("BF 07 EC 00 00", "CvWriteByte", "extended accessory broadcast", ALL, {"cv": 1, "value": 0}),
    Worked("BF 07 EF FF FF", "CvWriteByte", "extended accessory broadcast", ALL, {"cv": 1024, "value": 255}),
    Worked("BF 07 EC 1C 06", "CvWriteByte", "extended accessory broadcast", ALL, {"cv": 29, "value": 6}),
    Worked("BF 07 EE 00 01", "CvWriteByte", "extended accessory broadcast", ALL, {"cv": 513, "value": 1}),
    Worked("BF 07 E8 00 E0", "CvBitManipulation", "extended accessory broadcast", ALL, {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("BF 07 EB FF FF", "CvBitManipulation", "extended accessory broadcast", ALL, {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("BF 07 E8 1C F5", "CvBitManipulation", "extended accessory broadcast", ALL, {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("BF 07 E9 00 E9", "CvBitManipulation", "extended accessory broadcast", ALL, {"cv": 257, "writes": False, "value": True, "position": 1}),
    # S-9.2.1 appendix A: 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD
    Worked("80 7C 00 00", "LegacyCvAccess", "accessory", _board(0), {"cv": 1, "value": 0}),
    Worked("BF 0F FF FF", "LegacyCvAccess", "accessory", _board(511), {"cv": 1024, "value": 255}),
    Worked("81 7C 1C 06", "LegacyCvAccess", "accessory", _board(1), {"cv": 29, "value": 6}),
    Worked("80 6D 00 01", "LegacyCvAccess", "accessory", _board(64), {"cv": 257, "value": 1}),
    # Reserved bytes (S-9.2.1 C) and addresses (S-9.2.1 A); they keep what follows.
    *(
        Worked(f"03 {code} 55", "Reserved", "short", S3, {"data": bytes.fromhex(f"{code} 55")})
        for code in ("04 05 08 09 0C 0D 10 11 14 1F 20 3B C1 C2 C3 D7 F0 F1 F6 F8 FA FF").split()
    ),
    Worked("03 12 85", "Reserved", "short", S3, {"data": b"\x12\x85"}),  # bit 7 of the second byte
    Worked("00 13 FF", "Reserved", "broadcast", ALL, {"data": b"\x13\xff"}),
    Worked("03 E0 00 05", "Reserved", "short", S3, {"data": b"\xe0\0\5"}),  # CC = 00
    Worked("00 C1 80 00 00", "Reserved", "broadcast", ALL, {"data": b"\xc1\x80\0\0"}),  # neither time nor date
    Worked("00 F9 80", "Reserved", "broadcast", ALL, {"data": b"\xf9\x80"}),  # bit 7 of the decoder lock
    Worked("03 D8", "Reserved", "short", S3, {"data": b"\xd8"}),  # a later instruction that is not whole
    Worked("70 F9", "Reserved", "short", _number(112), {"data": b"\xf9"}),  # no address query above 111
    Worked("C4 57 F9", "Reserved", "long", L1111, {"data": b"\xf9"}),  # nor to a long address
    Worked("E8 00", "Reserved", "reserved", {"first": 232}, {"data": b"\0"}),
    Worked("EF 12 34", "Reserved", "reserved", {"first": 239}, {"data": b"\x12\x34"}),
    Worked("F0 00", "Reserved", "reserved", {"first": 240}, {"data": b"\0"}),
    Worked("FC 00", "Reserved", "reserved", {"first": 252}, {"data": b"\0"}),
    # S-9.2.1.1, RCN-218, from memory
    Worked("FD 01 02", "AdvancedExtended", "reserved", {"first": 253}, {"data": b"\1\2"}),
    Worked("FE 01 02 03", "AdvancedExtended", "reserved", {"first": 254}, {"data": b"\1\2\3"}),
    Worked("81 F0 E0 00 05", "Reserved", "accessory", _board(1), {"data": b"\xf0\xe0\0\5"}),
    Worked("81 F9 E0 00 05", "Reserved", "accessory", _board(1, 0, 1), {"data": b"\xf9\xe0\0\5"}),
    Worked("BF 80 E0 00 05", "Reserved", "accessory broadcast", _ALL_BASIC, {"data": b"\x80\xe0\0\5"}),
    Worked("BF 07 E0 00 05", "Reserved", "extended accessory broadcast", ALL, {"data": b"\x07\xe0\0\5"}),
    Worked("81 71 E3 00 05", "Reserved", "extended accessory", _number(4), {"data": b"\x71\xe3\0\5"}),
    # Bytes of no form in the standards.
    Worked("03 07 08", "Unknown", "short", S3, {"data": b"\x07\x08"}),  # CCCC1SSS
    Worked("03 12", "Unknown", "short", S3, {"data": b"\x12"}),  # cut short
    Worked("03 E0 00", "Unknown", "short", S3, {"data": b"\xe0\0"}),  # cut short
    Worked("00 F9", "Unknown", "broadcast", ALL, {"data": b"\xf9"}),  # cut short
    Worked("03 3F", "Unknown", "short", S3, {"data": b"\x3f"}),  # cut short
    Worked("03 E8 1C D5", "Unknown", "short", S3, {"data": b"\xe8\x1c\xd5"}),  # not 111CDBBB
    Worked("81 F3 EC 00 05", "Unknown", "unresolved", {"first": 0x81}, {"data": b"\xf3\xec\0\5"}),  # C = 0, DDD not 000
    Worked("81 70", "Unknown", "unresolved", {"first": 0x81}, {"data": b"\x70"}),
    Worked("FF 01", "Unknown", "idle", ALL, {"data": b"\1"}),
]
