"""Addresses: their ranges, bytes, text and JSON."""

from __future__ import annotations

import json
from typing import Any

import attrs
import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import (
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    Broadcast,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    IdleAddress,
    LongAddress,
    NoAddress,
    ReservedAddress,
    ShortAddress,
    UnresolvedAddress,
)


@pytest.mark.parametrize(
    ("address", "text", "values", "data"),
    [
        (Broadcast(), "broadcast", {"kind": "broadcast"}, "00"),
        (ShortAddress(3), "short 3", {"kind": "short", "number": 3}, "03"),
        (LongAddress(3), "long 3", {"kind": "long", "number": 3}, "C0 03"),
        (ReservedAddress(253), "reserved 253", {"kind": "reserved", "first": 253}, "FD"),
        (IdleAddress(), "idle", {"kind": "idle"}, "FF"),
        (UnresolvedAddress(112), "unresolved 112", {"kind": "unresolved", "first": 112}, "70"),
        (NoAddress(), "no address", {"kind": "none"}, ""),
        (
            AccessoryAddress(9),
            "accessory 9",
            {"kind": "accessory", "board": 9, "pair": None, "output": None},
            None,
        ),
        (
            AccessoryAddress(9, 2),
            "accessory 9 pair 2",
            {"kind": "accessory", "board": 9, "pair": 2, "output": None},
            None,
        ),
        (
            AccessoryAddress(9, 2, 1),
            "accessory 9 pair 2 output 1",
            {"kind": "accessory", "board": 9, "pair": 2, "output": 1},
            None,
        ),
        (
            AccessoryBroadcast(2, 1),
            "accessory broadcast pair 2 output 1",
            {"kind": "accessory broadcast", "pair": 2, "output": 1},
            None,
        ),
        (
            ExtendedAccessoryAddress(37),
            "extended accessory 37",
            {"kind": "extended accessory", "number": 37},
            None,
        ),
        (
            ExtendedAccessoryBroadcast(),
            "extended accessory broadcast",
            {"kind": "extended accessory broadcast"},
            None,
        ),
    ],
    ids=str,
)
def test_text_json_and_bytes(
    address: Address, text: str, values: dict[str, Any], data: str | None
) -> None:
    assert str(address) == text
    assert json.loads(json.dumps(address.as_dict())) == values
    assert list(address.as_dict()) == list(values)
    if data is None:
        # Its bits lie among the instruction's.
        with pytest.raises(HalfbitError, match="no bytes of its own"):
            address.to_bytes()
    else:
        assert address.to_bytes() == bytes.fromhex(data)


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        (ShortAddress, 1, 127),  # S-9.2.1 A
        (LongAddress, 0, 10239),  # S-9.2.1 A: first byte 192 to 231
        (AccessoryAddress, 0, 511),  # S-9.2.1 D: nine bits
        (ExtendedAccessoryAddress, 0, 2047),  # eleven bits
        (ReservedAddress, 232, 254),  # S-9.2.1 A
        (UnresolvedAddress, 0, 255),
    ],
)
def test_ranges(kind: Any, low: int, high: int) -> None:
    kind(low)
    kind(high)
    for wrong in (low - 1, high + 1, True, None, 3.0, "3"):
        name = attrs.fields(kind)[0].name
        with pytest.raises(HalfbitError, match=f"{kind.__name__}.{name}: .* not an integer from {low} to {high}"):
            kind(wrong)


@pytest.mark.parametrize("arguments", [(9, 4), (9, -1), (9, 0, 2), (9, None, 1)])
def test_pairs_and_outputs_that_cannot_be(arguments: tuple[Any, ...]) -> None:
    with pytest.raises(HalfbitError, match=r"AccessoryAddress\.(pair|output)"):
        AccessoryAddress(*arguments)


@pytest.mark.parametrize("arguments", [(4, 0), (0, 2), (None, 0)])
def test_broadcast_outputs_that_cannot_be(arguments: tuple[Any, ...]) -> None:
    with pytest.raises(HalfbitError, match=r"AccessoryBroadcast\.(pair|output)"):
        AccessoryBroadcast(*arguments)


def test_kinds_differ() -> None:
    different: set[Address] = {ShortAddress(3), LongAddress(3), ShortAddress(3)}
    assert len(different) == 2
