"""Tables and single fields for the second reading, typed from the digest.

Made apart: by someone who had the facts of the standards and had seen neither the code of halfbit nor its tests. It is
not brought in line with the code; where they differ, the standards' text decides, and the test says how.
"""

from __future__ import annotations

# S-9.2.1 C, decoder control: CCCC of 0000011D CCCC0SSS.
DECODER_FLAGS: dict[int, str] = {
    0b0000: "disable 111 instructions",
    0b0100: "disable acknowledgement request",
    0b0101: "activate bi-directional communication",
    0b1000: "set bi-directional communication",
    0b1001: "set 111 instruction",
    0b1111: "accept 111 instructions",
}

# From memory (RCN-212, later S-9.2.1): first function of each byte.
LATER_FUNCTIONS: dict[int, int] = {0xD8: 29, 0xD9: 37, 0xDA: 45, 0xDB: 53, 0xDC: 61}

# S-9.2.3 E, table of registers without paging; RRR is the place in the row. None: undefined.
MULTI_FUNCTION_REGISTERS: tuple[object, ...] = (
    ("cv", 1), ("cv", 2), ("cv", 3), ("cv", 4), ("cv", 29), ("page_register",), ("cv", 7), ("cv", 8))
ACCESSORY_REGISTERS: tuple[object, ...] = (
    ("cv", 513), None, None, None, None, None, ("cv", 7), ("cv", 520))

Reading = dict[str, object]
Address = tuple[object, ...]


class CannotRead(Exception):
    """The bytes from here to the end of the packet cannot be parsed."""


def make(kind: str, address: Address, raw: bytes, **fields: object) -> Reading:
    return {"kind": kind, "address": address, "bytes": raw.hex(), **fields}


def unknown(address: Address, raw: bytes, reason: str) -> Reading:
    return make("unknown", address, raw, reason=reason)


def body_of(data: bytes) -> bytes:
    """The bytes before the error detection byte (S-9.2 A). Raises ValueError if it disagrees."""
    if len(data) < 2:
        raise ValueError("give an address byte and an error detection byte at least")
    check = 0
    for byte in data:
        check ^= byte
    if check:
        raise ValueError("the error detection byte disagrees; give only sound packets")
    return data[:-1]


def crc8(data: bytes) -> int:
    """CRC-8 of advanced extended packets: x^8 + x^5 + x^4 + 1, init 0, reflected, no final inversion.

    From memory. Fairly certain of the polynomial, init 0 and the bit order; less of which bytes it covers and of
    whether every such packet has it. Never fail a packet because of it.
    """
    value = 0
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0x8C if value & 1 else 0)
    return value


def paged_cv(page: int, register: int) -> int:
    """CV of register 1 to 4 in paged mode (S-9.2.3 E)."""
    return (page - 1) * 4 + register


def speed_14(bits: int) -> object:
    """SSSS with 14 steps (S-9.2 B, CV 29 bit 1 = 0)."""
    return {0: "stop", 1: "emergency_stop"}.get(bits & 15, (bits & 15) - 1)


def speed_28(bits: int) -> object:
    """C SSSS with 28 steps; C is the lowest step bit (S-9.2 B, CV 29 bit 1 = 1)."""
    return {0: "stop", 1: "emergency_stop"}.get(bits & 15, 2 * (bits & 15) - 3 + (bits >> 4 & 1))


def speed_fields(byte: int) -> dict[str, object]:
    """All readings of 01DCSSSS."""
    c = bool(byte & 16)
    return {"direction": "forward" if byte & 32 else "reverse", "c": c, "speed_14": speed_14(byte), "fl_14": c,
            "speed_28": speed_28(byte), "direction_may_be_ignored_28": c and byte & 15 < 2}


def speed_128_fields(byte: int) -> dict[str, object]:
    """DSSSSSSS with 128 steps."""
    steps = byte & 127
    return {"direction": "forward" if byte & 128 else "reverse",
            "speed_128": {0: "stop", 1: "emergency_stop"}.get(steps, steps - 1)}


def functions_from(first: int, bits: int, count: int) -> dict[int, bool]:
    """Function number to state; bit 0 is the lowest function."""
    return {first + place: bool(bits >> place & 1) for place in range(count)}


def cv_operation(code: int, value: int) -> dict[str, object]:
    """CC and the data byte of a CV access."""
    if code == 2:
        if value >> 5 != 7:
            raise CannotRead("bit manipulation data is not 111CDBBB")
        return {"operation": "write_bit" if value & 16 else "verify_bit",
                "bit_value": value >> 3 & 1, "bit": value & 7}
    return {"operation": {0: "reserved", 1: "verify_byte", 3: "write_byte"}[code], "value": value}
