"""Rows of the registry: packets to accessory decoders (S-9.2.1 D, appendix A).

The address shares its bytes with the instruction, so each pattern is a whole packet. The six low bits of the
address come first. The three high bits follow; they are sent inverted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from .accessory import AccessoryNop, BasicAccessory, ExtendedAccessory
from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, ExtendedAccessoryAddress, ExtendedAccessoryBroadcast,
)  # fmt: skip
from .cv import CvBitManipulation, CvVerifyByte, CvWriteByte, LegacyCvAccess
from .entry import Entry, FieldLetters
from .pattern import Letters
from .special import Reserved

__all__ = ["ACCESSORY"]

# The letter A occurs in up to three runs: first the six low bits, then the three high bits.
# Some patterns have a third run of two bits; they are the lowest bits of all.
_BOARD = Letters("A", order=(1, 0), xor=0b111 << 6)
_DECODER: Mapping[str, FieldLetters] = {"board": _BOARD}
_PAIR: Mapping[str, FieldLetters] = {"board": _BOARD, "pair": Letters("A", order=(2,))}
# DDD: bits 1 and 2 are the pair, bit 0 is the output of that pair.
_DDD: Mapping[str, FieldLetters] = {
    "pair": Letters("D", order=(0,), low=1),
    "output": Letters("D", order=(0,), width=1),
}
_OUTPUT: Mapping[str, FieldLetters] = {"board": _BOARD, **_DDD}
_EXTENDED: Mapping[str, FieldLetters] = {"number": Letters("A", order=(1, 0, 2), xor=0b111 << 8)}
_CV = Letters("V", add=1)  # CVs are counted from 1, sent from 0

_D, _RCN_213 = "S-9.2.1 D", "RCN-213, from memory"
_ASPECT = f"{_D}; aspects from 32 up: {_RCN_213}"
_BASIC, _SIGNAL = (AccessoryAddress,), (ExtendedAccessoryAddress,)
_ALL_BASIC, _ALL_SIGNALS = (AccessoryBroadcast,), (ExtendedAccessoryBroadcast,)


def _cv_access(head: str, kind: type[Address], address: Mapping[str, FieldLetters], whom: str) -> tuple[Entry, ...]:
    """CV rows after the address bytes ``head``: verify byte, write byte, bit manipulation, and the reserved one."""
    # If the head contains DDD, the D of the data is the second run of that letter.
    data = Letters("D", order=(head.count("DDD"),))
    byte: Mapping[str, FieldLetters] = {"cv": _CV, "value": data}
    bit: Mapping[str, FieldLetters] = {"cv": _CV, "writes": "C", "value": data, "position": "B"}
    title = f"Accessory CV Access, {whom}, "
    broadcast = kind in (*_ALL_BASIC, *_ALL_SIGNALS)

    def row(rest: str, builds: Any, fields: Mapping[str, FieldLetters], what: str) -> Entry:
        special = (builds,) if broadcast else ()
        pattern, name = f"{head} {rest}", title + what
        return Entry(pattern, (kind,), builds, _D, fields, address=address, special_of=special, title=name)

    return (
        row("111001VV VVVVVVVV DDDDDDDD", CvVerifyByte, byte, "Verify Byte"),
        row("111011VV VVVVVVVV DDDDDDDD", CvWriteByte, byte, "Write Byte"),
        row("111010VV VVVVVVVV 111CDBBB", CvBitManipulation, bit, "Bit Manipulation"),
        row("111000VV VVVVVVVV DDDDDDDD", Reserved, {}, "Reserved"),
    )


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
    *_cv_access("10AAAAAA 1AAA0000", AccessoryAddress, _DECODER, "Basic Decoder"),
    *_cv_access("10AAAAAA 1AAA1DDD", AccessoryAddress, _OUTPUT, "Basic Output"),
    *_cv_access("10111111 10000000", AccessoryBroadcast, {}, "All Basic Decoders"),
    *_cv_access("10111111 10001DDD", AccessoryBroadcast, _DDD, "All Basic Outputs"),
    *_cv_access("10AAAAAA 0AAA0AA1", ExtendedAccessoryAddress, _EXTENDED, "Extended"),
    *_cv_access("10111111 00000111", ExtendedAccessoryBroadcast, {}, "All Extended"),
    Entry(
        "10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD", _BASIC, LegacyCvAccess, "S-9.2.1 appendix A", {"cv": _CV, "value": "D"},
        address=_DECODER,
    ),  # fmt: skip
)
