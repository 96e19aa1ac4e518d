"""Rows of the registry: service mode (S-9.2.3 E). The patterns are whole packets."""

from __future__ import annotations

from .address import NoAddress
from .entry import Entry
from .pattern import Letters
from .service import (
    DirectBitManipulation,
    DirectVerifyByte,
    DirectWriteByte,
    FactoryReset,
    PagePreset,
    RegisterAccess,
)
from .special import Reserved

__all__ = ["SERVICE"]

_CV = Letters("A", add=1)  # CVs are counted from 1, sent from 0
_SOURCE = "S-9.2.3 E"

SERVICE = (
    Entry(
        pattern="011101AA AAAAAAAA DDDDDDDD",
        addresses=(NoAddress,),
        builds=DirectVerifyByte,
        fields={"cv": _CV, "value": "D"},
        source=_SOURCE,
    ),
    Entry(
        pattern="011111AA AAAAAAAA DDDDDDDD",
        addresses=(NoAddress,),
        builds=DirectWriteByte,
        fields={"cv": _CV, "value": "D"},
        source=_SOURCE,
    ),
    Entry(
        pattern="011110AA AAAAAAAA 111KDBBB",
        addresses=(NoAddress,),
        builds=DirectBitManipulation,
        fields={"cv": _CV, "write": "K", "value": "D", "position": "B"},
        source=_SOURCE,
    ),
    Entry(
        pattern="011100AA AAAAAAAA DDDDDDDD",
        addresses=(NoAddress,),
        builds=Reserved,
        title="Direct Mode, Reserved",
        source=_SOURCE,
    ),
    Entry(
        pattern="0111CRRR DDDDDDDD",
        addresses=(NoAddress,),
        builds=RegisterAccess,
        fields={"write": "C", "register": Letters("R", add=1), "value": "D"},
        source=_SOURCE,
    ),
    # The same packets as register 1 in the other modes; a row of its own for those who look for it.
    Entry(
        pattern="0111C000 0DDDDDDD",
        addresses=(NoAddress,),
        builds=RegisterAccess,
        fields={"write": "C", "value": "D"},
        constants={"register": 1},
        special_of=(RegisterAccess,),
        title="Address-Only Mode",
        source=_SOURCE,
    ),
    Entry(
        pattern="01111101 00000001",
        addresses=(NoAddress,),
        builds=PagePreset,
        special_of=(RegisterAccess,),
        source=_SOURCE,
    ),
    Entry(
        pattern="01111111 00001000",
        addresses=(NoAddress,),
        builds=FactoryReset,
        special_of=(RegisterAccess,),
        source=_SOURCE,
    ),
)
