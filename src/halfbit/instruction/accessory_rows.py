"""Rows of the registry: packets to accessory decoders (S-9.2.1 D, appendix A).

The address shares its bytes with the instruction, so the patterns are whole packets. Its six low
bits come first, the three high bits after them and inverted.
"""

from __future__ import annotations

from collections.abc import Mapping

from .accessory import AccessoryNop, BasicAccessory, ExtendedAccessory
from .address import (
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
)
from .cv import CvBitManipulation, CvVerifyByte, CvWriteByte, LegacyCvAccess
from .entry import Entry, FieldLetters
from .pattern import Letters
from .special import Reserved

__all__ = ["ACCESSORY"]

# The letter A stands three times: six low bits, three high bits, and in some patterns two that
# are below all others.
_BOARD = Letters("A", order=(1, 0), xor=0b111 << 6)
_DECODER: Mapping[str, FieldLetters] = {"board": _BOARD}
_PAIR: Mapping[str, FieldLetters] = {"board": _BOARD, "pair": Letters("A", order=(2,))}
# DDD: bits 1 and 2 are the pair, bit 0 which output of it.
_DDD: Mapping[str, FieldLetters] = {
    "pair": Letters("D", order=(0,), low=1),
    "output": Letters("D", order=(0,), width=1),
}
_OUTPUT: Mapping[str, FieldLetters] = {"board": _BOARD, **_DDD}
_EXTENDED: Mapping[str, FieldLetters] = {"number": Letters("A", order=(1, 0, 2), xor=0b111 << 8)}
_CV = Letters("V", add=1)  # CVs are counted from 1, sent from 0


def _cv_access(
    head: str, kind: type[Address], address: Mapping[str, FieldLetters], whom: str
) -> tuple[Entry, ...]:
    """Verify byte, write byte and bit manipulation behind the address bytes ``head``."""
    # Where DDD stands in the head, the D of the data is the letter's second run.
    data = Letters("D", order=(head.count("DDD"),))
    return (
        Entry(
            pattern=f"{head} 111001VV VVVVVVVV DDDDDDDD",
            addresses=(kind,),
            address=address,
            builds=CvVerifyByte,
            fields={"cv": _CV, "value": data},
            title=f"Accessory CV Access, {whom}, Verify Byte",
            source="S-9.2.1 D",
        ),
        Entry(
            pattern=f"{head} 111011VV VVVVVVVV DDDDDDDD",
            addresses=(kind,),
            address=address,
            builds=CvWriteByte,
            fields={"cv": _CV, "value": data},
            title=f"Accessory CV Access, {whom}, Write Byte",
            source="S-9.2.1 D",
        ),
        Entry(
            pattern=f"{head} 111010VV VVVVVVVV 111CDBBB",
            addresses=(kind,),
            address=address,
            builds=CvBitManipulation,
            fields={"cv": _CV, "write": "C", "value": data, "position": "B"},
            title=f"Accessory CV Access, {whom}, Bit Manipulation",
            source="S-9.2.1 D",
        ),
    )


def _reserved(head: str, whom: str) -> Entry:
    """CC = 00 of CV access behind the address bytes ``head``."""
    return Entry(
        pattern=f"{head} 111000VV VVVVVVVV DDDDDDDD",
        addresses=(AccessoryAddress,),
        builds=Reserved,
        title=f"Accessory CV Access, {whom}, Reserved",
        source="S-9.2.1 D",
    )


ACCESSORY = (
    Entry(
        pattern="10AAAAAA 1AAACDDD",
        addresses=(AccessoryAddress,),
        address=_OUTPUT,
        builds=BasicAccessory,
        fields={"activate": "C"},
        source="S-9.2.1 D",
    ),
    Entry(
        pattern="10111111 1000CDDD",
        addresses=(AccessoryBroadcast,),
        address=_DDD,
        builds=BasicAccessory,
        fields={"activate": "C"},
        special_of=(BasicAccessory,),
        title="Basic Accessory Decoder Broadcast",
        source="S-9.2.1 D",
    ),
    Entry(
        pattern="10AAAAAA 0AAA0AA1 XXXXXXXX",
        addresses=(ExtendedAccessoryAddress,),
        address=_EXTENDED,
        builds=ExtendedAccessory,
        fields={"aspect": "X"},
        source="S-9.2.1 D; aspects from 32 up: RCN-213, from memory",
    ),
    Entry(
        pattern="10111111 00000111 XXXXXXXX",
        addresses=(ExtendedAccessoryBroadcast,),
        builds=ExtendedAccessory,
        fields={"aspect": "X"},
        special_of=(ExtendedAccessory,),
        title="Extended Accessory Decoder Broadcast",
        source="S-9.2.1 D; aspects from 32 up: RCN-213, from memory",
    ),
    Entry(
        pattern="10AAAAAA 0AAA1AA0",
        addresses=(AccessoryAddress,),
        address=_PAIR,
        builds=AccessoryNop,
        title="Accessory NOP, Basic",
        source="RCN-213, from memory",
    ),
    Entry(
        pattern="10AAAAAA 0AAA1AA1",
        addresses=(ExtendedAccessoryAddress,),
        address=_EXTENDED,
        builds=AccessoryNop,
        title="Accessory NOP, Extended",
        source="RCN-213, from memory",
    ),
    *_cv_access("10AAAAAA 1AAA0000", AccessoryAddress, _DECODER, "Basic Decoder"),
    *_cv_access("10AAAAAA 1AAA1DDD", AccessoryAddress, _OUTPUT, "Basic Output"),
    _reserved("10AAAAAA 1AAACDDD", "Basic"),
    *_cv_access("10AAAAAA 0AAA0AA1", ExtendedAccessoryAddress, _EXTENDED, "Extended"),
    _reserved("10AAAAAA 0AAA0AA1", "Extended"),
    Entry(
        pattern="10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD",
        addresses=(AccessoryAddress,),
        address=_DECODER,
        builds=LegacyCvAccess,
        fields={"cv": _CV, "value": "D"},
        source="S-9.2.1 appendix A",
    ),
)
