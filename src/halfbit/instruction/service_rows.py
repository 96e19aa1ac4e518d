"""Rows of the registry: service mode (S-9.2.3 E). The patterns are whole packets."""

from __future__ import annotations

from .address import NoAddress
from .entry import Entry
from .pattern import Letters
from .service import (
    DirectBitManipulation, DirectVerifyByte, DirectWriteByte, FactoryReset, PagePreset, RegisterAccess,
)  # fmt: skip

__all__ = ["SERVICE"]

_NONE, _E = (NoAddress,), "S-9.2.3 E"
_CV = Letters("A", add=1)  # CVs are counted from 1, sent from 0
_REGISTER = (RegisterAccess,)

SERVICE = (
    Entry("011101AA AAAAAAAA DDDDDDDD", _NONE, DirectVerifyByte, _E, {"cv": _CV, "value": "D"}),
    Entry("011111AA AAAAAAAA DDDDDDDD", _NONE, DirectWriteByte, _E, {"cv": _CV, "value": "D"}),
    Entry(
        "011110AA AAAAAAAA 111KDBBB", _NONE, DirectBitManipulation, _E,
        {"cv": _CV, "writes": "K", "value": "D", "position": "B"},
    ),  # fmt: skip
    Entry(
        "0111CRRR DDDDDDDD", _NONE, RegisterAccess, _E,
        {"writes": "C", "register": Letters("R", add=1), "value": "D"},
    ),  # fmt: skip
    # The same packets as register 1 in the other modes. It has its own row so that it can be found in the listing.
    Entry(
        "0111C000 0DDDDDDD", _NONE, RegisterAccess, _E, {"writes": "C", "value": "D"}, constants={"register": 1},
        special_of=_REGISTER, title="Address-Only Mode",
    ),  # fmt: skip
    Entry("01111101 00000001", _NONE, PagePreset, _E, special_of=_REGISTER),
    Entry("01111111 00001000", _NONE, FactoryReset, _E, special_of=_REGISTER),
)
