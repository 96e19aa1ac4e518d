"""Addresses: their ranges, bytes, text and JSON."""

from __future__ import annotations

import json
import random
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
    LinearConvention,
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
            AccessoryBroadcast(),
            "accessory broadcast",
            {"kind": "accessory broadcast", "pair": None, "output": None},
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
def test_text_json_and_bytes(address: Address, text: str, values: dict[str, Any], data: str | None) -> None:
    assert str(address) == text
    assert json.loads(json.dumps(address.as_dict())) == values
    assert list(address.as_dict()) == list(values)
    assert Address.from_dict(values) == address
    assert Address.parse(text) == type(address).parse(f" {text} ") == address
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


@pytest.mark.parametrize("arguments", [(4, 0), (0, 2), (None, 0), (3,)])
def test_broadcast_outputs_that_cannot_be(arguments: tuple[Any, ...]) -> None:
    with pytest.raises(HalfbitError, match=r"AccessoryBroadcast(\.(pair|output)|: pair \w+ and output \w+: give both)"):
        AccessoryBroadcast(*arguments)


def test_kinds_differ() -> None:
    different: set[Address] = {ShortAddress(3), LongAddress(3), ShortAddress(3)}
    assert len(different) == 2


SORTED = [
    Broadcast(),
    ShortAddress(3),
    ShortAddress(20),
    LongAddress(3),
    AccessoryAddress(9),
    AccessoryAddress(9, 0),
    AccessoryAddress(9, 0, 1),
    AccessoryAddress(10),
    AccessoryBroadcast(),
    AccessoryBroadcast(2, 1),
    ExtendedAccessoryAddress(1),
    ExtendedAccessoryBroadcast(),
    ReservedAddress(253),
    IdleAddress(),
    UnresolvedAddress(3),
    NoAddress(),
]


def test_addresses_sort_by_kind_then_number() -> None:
    for seed in range(5):
        mixed = random.Random(seed).sample(SORTED, len(SORTED))
        assert sorted(mixed) == SORTED
        assert max(mixed) == NoAddress()
    assert ShortAddress(3) <= ShortAddress(3)
    assert ShortAddress(4) > ShortAddress(3)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "3",
        "short",
        "short 0",
        "short 128",
        "short -3",
        "short 3 4",
        "accessory 9 output 1",
        "long 10240",
        "short \u0663",
        None,
        3,
        b"short 3",
    ],
)
def test_text_that_is_no_address(text: Any) -> None:
    with pytest.raises(HalfbitError):
        Address.parse(text)


def test_parsing_keeps_to_the_class() -> None:
    with pytest.raises(HalfbitError, match="'short 3' is no long: give it as it prints"):
        LongAddress.parse("short 3")


@pytest.mark.parametrize(
    "value",
    [
        None,
        3,
        {},
        {"kind": "short"},
        {"kind": "short", "number": "3"},
        {"kind": "short", "number": 3, "more": 1},
        {"kind": "address"},
    ],
)
def test_mappings_that_are_no_address(value: Any) -> None:
    with pytest.raises(HalfbitError):
        Address.from_dict(value)


@pytest.mark.parametrize(
    ("number", "convention", "board", "pair"),
    [
        # RCN-213, from memory: 1 is pair 0 of board 1. S-9.2.2, CV 1 and CV 9: number - 1 holds the bits.
        (1, LinearConvention.FROM_BOARD_1, 1, 0),
        (2044, LinearConvention.FROM_BOARD_1, 511, 3),
        (1, LinearConvention.FROM_BOARD_0, 0, 0),
        (5, LinearConvention.FROM_BOARD_0, 1, 0),
        (2048, LinearConvention.FROM_BOARD_0, 511, 3),
    ],
)
def test_addresses_from_linear_numbers(number: int, convention: LinearConvention, board: int, pair: int) -> None:
    address = AccessoryAddress.from_linear(number, convention, 1)
    assert address == AccessoryAddress(board, pair, 1)
    assert address.linear(convention) == number
    extended = ExtendedAccessoryAddress.from_linear(number, convention)
    assert extended == ExtendedAccessoryAddress(board * 4 + pair)
    assert extended.linear(convention) == number


def test_linear_numbers_that_cannot_be() -> None:
    for number, convention, high in (
        (2045, LinearConvention.FROM_BOARD_1, 2044),
        (0, LinearConvention.FROM_BOARD_0, 2048),
    ):
        with pytest.raises(HalfbitError, match=f"{number} is not an integer from 1 to {high}"):
            AccessoryAddress.from_linear(number, convention)
    wrong: Any = "from board 1"
    for call in (lambda: AccessoryAddress.from_linear(1, wrong), lambda: AccessoryAddress(1, 0).linear(wrong)):
        with pytest.raises(HalfbitError, match="is no LinearConvention: give FROM_BOARD_1 or FROM_BOARD_0"):
            call()
    with pytest.raises(HalfbitError, match="raw: 2048 is not an integer from 0 to 2047"):
        LinearConvention.FROM_BOARD_0.number(2048)
