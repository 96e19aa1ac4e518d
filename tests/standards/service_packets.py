"""Packets of service mode, worked out by hand from the patterns of S-9.2.3 E, apart from the registry.

The rows have the form of those in ``instruction_packets.py``.
"""

from __future__ import annotations

from tests.standards.instruction_packets import ALL, Worked

__all__ = ["SERVICE"]


SERVICE: list[Worked] = [
    # S-9.2.3 E, direct mode: 0111CCAA AAAAAAAA DDDDDDDD
    Worked("74 00 00", "DirectVerifyByte", "none", ALL, {"cv": 1, "value": 0}),
    Worked("77 FF FF", "DirectVerifyByte", "none", ALL, {"cv": 1024, "value": 255}),
    Worked("74 1C 06", "DirectVerifyByte", "none", ALL, {"cv": 29, "value": 6}),
    Worked("75 00 01", "DirectVerifyByte", "none", ALL, {"cv": 257, "value": 1}),
    Worked("7C 00 00", "DirectWriteByte", "none", ALL, {"cv": 1, "value": 0}),
    Worked("7F FF FF", "DirectWriteByte", "none", ALL, {"cv": 1024, "value": 255}),
    Worked("7C 1C 06", "DirectWriteByte", "none", ALL, {"cv": 29, "value": 6}),
    Worked("7E 00 01", "DirectWriteByte", "none", ALL, {"cv": 513, "value": 1}),
    # 0111CCAA AAAAAAAA 111KDBBB
    Worked("78 00 E0", "DirectBitManipulation", "none", ALL, {"cv": 1, "writes": False, "value": False, "position": 0}),
    Worked("7B FF FF", "DirectBitManipulation", "none", ALL, {"cv": 1024, "writes": True, "value": True, "position": 7}),
    Worked("78 1C F5", "DirectBitManipulation", "none", ALL, {"cv": 29, "writes": True, "value": False, "position": 5}),
    Worked("79 00 E9", "DirectBitManipulation", "none", ALL, {"cv": 257, "writes": False, "value": True, "position": 1}),
    # 0111CRRR DDDDDDDD
    Worked("70 00", "RegisterAccess", "none", ALL, {"writes": False, "register": 1, "value": 0}),
    Worked("77 FF", "RegisterAccess", "none", ALL, {"writes": False, "register": 8, "value": 255}),
    Worked("7F FF", "RegisterAccess", "none", ALL, {"writes": True, "register": 8, "value": 255}),
    Worked("7D 11", "RegisterAccess", "none", ALL, {"writes": True, "register": 6, "value": 17}),
    Worked("7C 06", "RegisterAccess", "none", ALL, {"writes": True, "register": 5, "value": 6}),
    Worked("75 01", "RegisterAccess", "none", ALL, {"writes": False, "register": 6, "value": 1}),
    # Address only: 0111C000 0DDDDDDD
    Worked("78 00", "RegisterAccess", "none", ALL, {"writes": True, "register": 1, "value": 0}),
    Worked("78 7F", "RegisterAccess", "none", ALL, {"writes": True, "register": 1, "value": 127}),
    Worked("70 03", "RegisterAccess", "none", ALL, {"writes": False, "register": 1, "value": 3}),
    Worked("78 37", "RegisterAccess", "none", ALL, {"writes": True, "register": 1, "value": 55}),
    # Page preset and factory reset are one packet each (S-9.2.3 E: 7D 01 7C, 7F 08 77).
    Worked("7D 01", "PagePreset", "none", ALL, {}),
    Worked("7F 08", "FactoryReset", "none", ALL, {}),
    # CC = 00, of which S-9.2.3 E says nothing, and a bit manipulation that is not 111KDBBB.
    Worked("70 00 05", "Unknown", "none", ALL, {"data": b"\x70\0\5"}),
    Worked("73 FF FF", "Unknown", "none", ALL, {"data": b"\x73\xff\xff"}),
    Worked("78 00 C5", "Unknown", "none", ALL, {"data": b"\x78\0\xc5"}),
]
