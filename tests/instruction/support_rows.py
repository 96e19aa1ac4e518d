"""Instructions of any row of a registry, with random or with distinct values."""

from __future__ import annotations

from typing import Any

import attrs
from hypothesis import strategies as st

from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    BasicAccessory,
    Broadcast,
    CvAccess,
    Entry,
    ExtendedAccessory,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    IdleAddress,
    Instruction,
    LegacyCvAccess,
    LongAddress,
    NoAddress,
    RegisterAccess,
    ShortAddress,
    SpeedAndDirection,
)

ROWS = [entry for entry in STANDARD.entries() if not entry.reserved]

CASES = [(entry, kind) for entry in ROWS for kind in entry.addresses]


def case_id(case: tuple[Entry, type[Address]]) -> str:
    """A test's name for a row and a kind of address."""
    entry, kind = case
    return f"{entry.pattern.replace(' ', '-')}-{kind.kind.replace(' ', '-')}"


def addresses(entry: Entry, kind: type[Address]) -> st.SearchStrategy[Address]:
    """Any address of a kind that the row can hold."""
    if kind is ShortAddress:
        low, high = entry.numbers or (1, 127)
        return st.builds(ShortAddress, st.integers(low, high))
    if kind is LongAddress:
        return st.builds(LongAddress, st.integers(0, 10239))
    if kind is AccessoryAddress:
        pair = st.integers(0, 3) if "pair" in entry.address else st.none()
        output = st.integers(0, 1) if "output" in entry.address else st.none()
        return st.builds(AccessoryAddress, st.integers(0, 511), pair, output)
    if kind is AccessoryBroadcast:
        return (
            st.builds(AccessoryBroadcast, st.integers(0, 3), st.integers(0, 1))
            if entry.address
            else st.just(AccessoryBroadcast())
        )
    if kind is ExtendedAccessoryAddress:
        return st.builds(ExtendedAccessoryAddress, st.integers(0, 2047))
    assert kind in (Broadcast, ExtendedAccessoryBroadcast, IdleAddress, NoAddress)
    return st.builds(kind)


def own_fields(builds: type[Instruction]) -> list[attrs.Attribute[Any]]:
    """The fields of a class beside those of every instruction."""
    return [f for f in attrs.fields(builds) if f.name not in ("address", "raw", "packet", "packet_context")]


def values(entry: Entry) -> st.SearchStrategy[dict[str, Any]]:
    """Any values of the class's fields that belong to the row."""
    row: dict[str, st.SearchStrategy[Any]] = {}
    for field in own_fields(entry.builds):
        if "octets" in field.metadata:
            low, high = field.metadata["octets"]
            row[field.name] = st.binary(min_size=low, max_size=8 if high is None else high)
        elif field.name in entry.constants:
            constant = entry.constants[field.name]
            row[field.name] = st.just(constant == 1 if field.metadata["bool"] else constant)
        elif field.metadata["bool"]:
            row[field.name] = st.booleans()
        else:
            low, high = field.metadata["range"]
            if (entry.title, field.name) == ("Address-Only Mode", "value"):
                high = 127  # 0111C000 0DDDDDDD; the class is that of all registers
            row[field.name] = st.integers(low, high)
    return st.fixed_dictionaries(row)


def is_special(instruction: Instruction) -> bool:
    """Whether the standards give these bytes a name of their own, so that this is not it."""
    address = instruction.address
    if isinstance(instruction, SpeedAndDirection) and isinstance(address, Broadcast):
        return instruction.code & 0b01110 == 0  # broadcast stop, S-9.2 B
    if isinstance(instruction, BasicAccessory) and isinstance(address, AccessoryAddress):
        return address.board == 511  # basic accessory broadcast, S-9.2.1 D
    if isinstance(instruction, ExtendedAccessory) and isinstance(address, ExtendedAccessoryAddress):
        return address.number == 2047  # extended accessory broadcast, S-9.2.1 D
    if isinstance(instruction, RegisterAccess) and instruction.writes:
        # page preset and factory reset, S-9.2.3 E
        return (instruction.register, instruction.value) in ((6, 1), (8, 8))
    if isinstance(instruction, CvAccess) and not isinstance(instruction, LegacyCvAccess):
        # CV access behind the address bytes of the accessory broadcasts, S-9.2.1 D
        return getattr(address, "board", None) == 511 or address == ExtendedAccessoryAddress(2047)
    return False
