"""A second, plain reading of packets to instructions. It judges a decoder that someone else wrote.

Made apart: by someone who had the facts of the standards and had seen neither the code of halfbit nor its tests. It is
not brought in line with the code; where they differ, the standards' text decides, and the test says how.

Written from sections 2 to 5 of the digest of the standards, without sight of the code it judges. Speed does not matter
here. [read] facts need no mark; an instruction that rests on a later document, recalled and not read, has
`from_memory: True`.

Choices (the digest leaves these open; a difference here is judged from the text)

 1. packet_max is 6 unless the caller gives more (S-9.2.1: 3 to 6 bytes). A longer packet is one "unknown".
    A value below 6 raises ValueError. So does an error detection byte that disagrees.
 2. `bytes` begin behind the address. The second byte of an accessory packet holds bits of address and instruction, so
    `bytes` of accessory packets begin with it. `bytes` of service mode packets are all but the error byte.
 3. If the length of reserved bytes is not given, they reach to the end of the packet. It is given for
    0001001R 1AAAAAAA (2 bytes) and 111000VV VVVVVVVV DDDDDDDD (3 bytes): reading goes on behind those.
 4. Reserved instructions count as one of their class too.
 5. Only 00001111 is free of the class rule (neither counted nor refused); 00001110 is not.
 6. A broadcast carries a single instruction (S-9.2.1 B); bytes behind the first are "unknown".
 7. Unless a later addition is complete and in its shape, the 2012 reading "reserved" stands: 11011000 without data, for
    example. If it is complete, it is the only reading given, and reading goes on behind it. "Reserved" alone is not
    put into `also`.
 8. Broadcast stop is only the whole 3-byte packet 00000000 01DC000S. Any other 01DCSSSS to broadcast is an ordinary
    speed instruction.
 9. Factory test takes all bytes to the end of the packet.
10. Decoder flags: bit 3 of the second byte set is "unknown". A CCCC outside the six has `flag: None`.
11. Restricted speed step: bits 0 to 5 as a number, bit 5 apart, and bits 0 to 4 read both ways like 01DCSSSS. Bit 6 is
    `bit_6`. `also` has the later special operating modes with the byte as it is (no bit positions are given).
12. Function group two: bit 0 is the lowest function, like group one. Memory groups F29 up likewise.
13. Binary state long form with 1 to 127 is read and marked `short_form_required`.
14. 11111001 0AAAAAAA is a decoder lock only to broadcast. 11111001 is an address query only to short 1 to 111 and only
    if it is the whole instruction part. A lone 11111001 to broadcast is too short, so "unknown". Else "reserved".
15. Long form of CV access with CC = 10 and data not 111CDBBB is "unknown".
16. Extended CV access [memory]: the whole rest behind the address decides. Exactly 3 bytes: long form. 4 to 8 bytes
    that start with 1110, and GG not 00: the extended reading exists. If the older parse has no "unknown" in it (for
    broadcast see 6), it is given, with the extended reading as `also` of its first instruction; else the extended
    reading alone. Any GG may have 0 to 4 data bytes. `cv_bits` is the 24-bit number as sent and `cv` is 1 more. Not
    read for accessory decoders: the digest lists it under multi-function decoders.
17. 00111100 takes the rest as 1 to 4 function bytes; F0 is bit 0 of the first. More than 4 is "reserved".
18. Model time and date only to broadcast, else "reserved". Other bits in the fixed places: "reserved". U and B are
    given as they are. Numbers out of range (hour 31) are given as sent. System time goes to any address, high byte
    first.
19. Idle is FF 00. FF with other bytes is "unknown": no document part calls it reserved.
20. Accessory: 11-bit addresses are board * 4 + bits 1 and 2 of the second byte. Broadcast only in the two named shapes
    (with CV access behind them too); legacy CV access and NOP have plain numbers. Legacy high bits are complemented.
    Legacy CV access names no operation. C = 0 with DDD not 0 in CV access is "unknown". 0AAA0AA0 is "unknown".
21. An aspect with bits 5 to 7 set is from memory; a complete reading by 2012 (000XXXXX) is not.
22. NOP: AAA AAAAAA AA as an 11-bit address, T as a bit without meaning.
23. Linear number of an accessory output pair: 4 * (board - 1) + pair + 1 and 4 * board + pair + 1, each named; None
    if it would be below 1, and for the broadcast.
24. Advanced extended packets (253, 254): one "reserved" from memory; `crc_agrees` takes the byte before the error byte
    as the CRC-8 of all bytes before it, the address byte included.
25. Service mode: direct mode with CC = 00 is "unknown" (section 5 does not call it reserved), and so is any other
    length of 0111xxxx. A first byte other than 0111xxxx has no reading ([]). The page is not in the packet, so a paged
    reading has the data register only. Register 6 has a page register reading in place of a paged one.
26. A packet of 2 bytes is one "unknown", address ("unknown",), with its first byte. A long address without an
    instruction is one "unknown" with `bytes` "".
27. Multi-function instructions after the first are read the same way as the first, but for 14 and 16. "Unknown" bytes
    reach to the end of the packet.
28. A packet to short 112 to 127 has only its operations mode reading in read(); read_service() has the others.
"""

from __future__ import annotations

from tests.standards.second_reading_tables import (
    ACCESSORY_REGISTERS, DECODER_FLAGS, LATER_FUNCTIONS, MULTI_FUNCTION_REGISTERS, Address, CannotRead, Reading,
    body_of, crc8, cv_operation, functions_from, make, paged_cv, speed_14, speed_28, speed_128_fields, speed_fields,
    unknown)

__all__ = ["crc8", "paged_cv", "read", "read_service"]

Parsed = tuple[str, int, dict[str, object]]


def read(data: bytes, *, packet_max: int = 6) -> list[Reading]:
    """Instructions of one whole packet, error byte included, in order. Raises ValueError for misuse."""
    if packet_max < 6:
        raise ValueError("packet_max must be 6 or more")
    body = body_of(data)
    first = body[0]
    if len(data) < 3:
        return [unknown(("unknown",), body, "fewer than 3 bytes")]
    rest = body[1:]
    if first <= 127:
        address: Address = ("short", first) if first else ("broadcast",)
    elif first <= 191:
        address = _accessory_address(body)
    elif first <= 231:
        address = ("long", (first & 0x3F) << 8 | body[1])
        rest = body[2:]
    else:
        address = ("idle",) if first == 255 else ("reserved", first)
    if len(data) > packet_max:
        return [unknown(address, rest, "longer than packet_max")]
    if 128 <= first <= 191:
        return [_accessory(body, address)]
    if first == 255:
        if rest == b"\x00":
            return [make("idle", address, rest)]
        return [unknown(address, rest, "idle with other bytes")]
    if first in (253, 254):
        agrees = crc8(body[:-1]) == body[-1]
        return [make("reserved", address, rest, from_memory=True, meaning="advanced_extended", crc_agrees=agrees)]
    if 232 <= first <= 252:
        return [make("reserved", address, rest)]
    if not rest:
        return [unknown(address, rest, "no instruction")]
    return _multi_function(rest, address)


def read_service(data: bytes) -> list[Reading]:
    """All readings of a packet in service mode (S-9.2.3 E). They are alternatives, not a sequence."""
    body = body_of(data)
    if body[0] >> 4 != 0b0111:
        return []
    address: Address = ("service",)
    if len(body) == 3:
        cv = ((body[0] & 3) << 8 | body[1]) + 1
        try:
            fields = cv_operation(body[0] >> 2 & 3, body[2])
        except CannotRead as error:
            return [unknown(address, body, str(error))]
        if fields["operation"] == "reserved":
            return [unknown(address, body, "direct mode with CC = 00")]
        return [make("service_direct", address, body, cv=cv, **fields)]
    if len(body) != 2:
        return [unknown(address, body, "no service mode packet has this length")]
    return _service_register(body, address)


def _service_register(body: bytes, address: Address) -> list[Reading]:
    operation = "write_byte" if body[0] & 8 else "verify_byte"
    number = body[0] & 7
    value = body[1]
    readings = []
    for decoder, column in (("multi_function", MULTI_FUNCTION_REGISTERS), ("accessory", ACCESSORY_REGISTERS)):
        readings.append(make("service_register", address, body, decoder=decoder, register=number + 1,
                             target=column[number], operation=operation, value=value))
    if number < 4:
        readings.append(make("service_paged", address, body, register=number + 1, data_register=number,
                             operation=operation, value=value))
    if number == 5:
        readings.append(make("service_page_register", address, body, operation=operation, page=value))
    if number == 0 and value < 128:
        readings.append(make("service_address_only", address, body, cv=1, operation=operation, value=value))
    if body == b"\x7d\x01":
        readings.append(make("service_page_preset", address, body, page=1))
    if body == b"\x7f\x08":
        readings.append(make("service_factory_reset", address, body))
    return readings


# Multi-function decoders (S-9.2 B, S-9.2.1 C).

def _multi_function(rest: bytes, address: Address) -> list[Reading]:
    older = _sequence(rest, address)
    extended = _extended_cv(rest, address)
    if extended is None:
        return older
    if any(one["kind"] == "unknown" for one in older):
        return [extended]
    older[0]["also"] = extended
    return older


def _sequence(rest: bytes, address: Address) -> list[Reading]:
    readings: list[Reading] = []
    seen: set[int] = set()
    start = 0
    while start < len(rest):
        left = rest[start:]
        group = left[0] >> 5
        counted = group in (0, 1, 7) and left[0] != 0x0F
        try:
            if readings and address == ("broadcast",):
                raise CannotRead("a broadcast carries a single instruction")
            if counted and group in seen:
                raise CannotRead("second instruction of its class")
            kind, length, fields = _instruction(left, address, start == 0)
        except CannotRead as error:
            readings.append(unknown(address, left, str(error)))
            return readings
        readings.append(make(kind, address, left[:length], **fields))
        if counted:
            seen.add(group)
        start += length
    return readings


def _at(left: bytes, place: int) -> int:
    if place >= len(left):
        raise CannotRead("too short")
    return left[place]


def _instruction(left: bytes, address: Address, is_first: bool) -> Parsed:
    group = left[0] >> 5
    if group == 0:
        return _class_000(left)
    if group == 1:
        return _class_001(left, address)
    if group in (2, 3):
        kind = "speed_and_direction"
        fields = speed_fields(left[0])
        if address == ("broadcast",) and len(left) == 1 and left[0] & 0x0E == 0:
            kind = "broadcast_stop"
            fields["energy_off"] = bool(left[0] & 1)
        return kind, 1, fields
    if group == 4:
        return "function_group_one", 1, {"functions": functions_from(1, left[0], 4), "fl": bool(left[0] & 16),
                                         "fl_only_if": "CV 29 bit 1 is 1"}
    if group == 5:
        return "function_group_two", 1, {"functions": functions_from(5 if left[0] & 16 else 9, left[0], 4)}
    if group == 6:
        return _class_110(left, address)
    return _class_111(left, address, is_first)


def _class_000(left: bytes) -> Parsed:
    byte = left[0]
    d = byte & 1
    if byte == 0:
        return "digital_decoder_reset", 1, {}
    if byte == 1:
        return "hard_reset", 1, {}
    if byte in (0x02, 0x03):
        return "factory_test", len(left), {"f": d, "data": left[1:].hex()}
    if byte in (0x06, 0x07):
        second = _at(left, 1)
        if second & 8:
            raise CannotRead("decoder flags with bit 3 set")
        return "set_decoder_flags", 2, {"d": d, "flag_code": second >> 4, "flag": DECODER_FLAGS.get(second >> 4),
                                        "sub_address": second & 7, "all_sub_addresses": second & 7 == 0}
    if byte in (0x0A, 0x0B):
        return "set_extended_addressing", 1, {"d": d}
    if byte in (0x0E, 0x0F):
        return "acknowledgement_request", 1, {"d": d}
    if byte in (0x12, 0x13):
        second = _at(left, 1)
        if second & 128:
            return "reserved", 2, {}
        return "set_consist", 2, {"consist_address": second, "reversed": bool(d), "dissolves": second == 0}
    return "reserved", len(left), {}


def _class_001(left: bytes, address: Address) -> Parsed:
    byte = left[0]
    if byte == 0x3F:
        return "speed_128", 2, speed_128_fields(_at(left, 1))
    if byte == 0x3E:
        second = _at(left, 1)
        later = make("special_operating_modes", address, left[:2], from_memory=True, data=second)
        return "restricted_speed_step", 2, {
            "enabled": second & 128 == 0, "bit_6": second >> 6 & 1, "speed_bits": second & 63,
            "bit_5": second >> 5 & 1, "speed_14": speed_14(second), "speed_28": speed_28(second), "also": later}
    if byte == 0x3D:
        return "analog_function", 3, {"output": _at(left, 1), "volume": left[1] == 1, "value": _at(left, 2)}
    if byte == 0x3C and 3 <= len(left) <= 6:
        functions: dict[int, bool] = {}
        for place, bits in enumerate(left[2:]):
            functions.update(functions_from(8 * place, bits, 8))
        return "speed_direction_functions", len(left), {
            "from_memory": True, **speed_128_fields(left[1]), "functions": functions}
    return "reserved", len(left), {}


def _class_110(left: bytes, address: Address) -> Parsed:
    byte = left[0]
    if byte == 0xC0:
        number = _at(left, 2) << 7 | left[1] & 127
        return "binary_state", 3, {"form": "long", "number": number, "all": number == 0,
                                   "state": bool(left[1] & 128), "short_form_required": 1 <= number <= 127}
    if byte == 0xDD:
        second = _at(left, 1)
        return "binary_state", 2, {"form": "short", "number": second & 127, "all": second & 127 == 0,
                                   "state": bool(second & 128)}
    if byte in (0xDE, 0xDF):
        return "function_group_f13_up", 2, {"functions": functions_from(13 if byte == 0xDE else 21, _at(left, 1), 8)}
    if byte in LATER_FUNCTIONS and len(left) >= 2:
        return "function_group_f29_up", 2, {
            "from_memory": True, "functions": functions_from(LATER_FUNCTIONS[byte], left[1], 8)}
    if byte == 0xC1 and address == ("broadcast",) and len(left) >= 4:
        one, two, three = left[1:4]
        if one >> 6 == 0 and three & 64 == 0:
            return "model_time", 4, {"from_memory": True, "minute": one & 63, "weekday": two >> 5, "hour": two & 31,
                                     "u": three >> 7, "b": three & 63}
        if one >> 5 == 0b010:
            return "model_date", 4, {"from_memory": True, "day": one & 31, "month": two >> 4,
                                     "year": (two & 15) << 8 | three}
    if byte == 0xC2 and len(left) >= 3:
        return "system_time", 3, {"from_memory": True, "milliseconds": left[1] << 8 | left[2]}
    return "reserved", len(left), {}


def _class_111(left: bytes, address: Address, is_first: bool) -> Parsed:
    byte = left[0]
    if byte >> 4 == 0b1110:
        second, third = _at(left, 1), _at(left, 2)
        cv = ((byte & 3) << 8 | second) + 1
        code = byte >> 2 & 3
        if code == 0:
            return "reserved", 3, {}
        return "cv_access", 3, {"form": "long", "cv": cv, **cv_operation(code, third)}
    if byte in (0xF2, 0xF3):
        return "cv_access", 2, {"form": "short", "cv": 23 if byte == 0xF2 else 24, "operation": "write_byte",
                                "value": _at(left, 1)}
    if byte == 0xF9 and address == ("broadcast",) and _at(left, 1) < 128:
        return "decoder_lock", 2, {"lock_address": left[1]}
    if byte == 0xF9 and len(left) == 1 and is_first and address in [("short", number) for number in range(1, 112)]:
        return "address_query", 1, {}
    if byte in (0xF4, 0xF5) and len(left) >= 3:
        low = 17 if byte == 0xF4 else 31
        return "cv_pair_write", 3, {"from_memory": True, "cvs": {low: left[1], low + 1: left[2]}}
    return "reserved", len(left), {}


def _extended_cv(rest: bytes, address: Address) -> Reading | None:
    """Extended CV access [memory]: see choice 16."""
    code = rest[0] >> 2 & 3
    if rest[0] >> 4 != 0b1110 or code == 0 or not 4 <= len(rest) <= 8:
        return None
    bits = int.from_bytes(rest[1:4], "big")
    return make("extended_cv_access", address, rest, from_memory=True, cv=bits + 1, cv_bits=bits,
                operation={1: "read", 2: "write_bit", 3: "write"}[code], sequence=rest[0] & 3, data=rest[4:].hex())


# Accessory decoders (S-9.2.1 D).

def _accessory_address(body: bytes) -> Address:
    first, second = body[0], body[1]
    board = (first & 63) | (~second >> 4 & 7) << 6
    if second & 128:
        return ("accessory_broadcast",) if board == 511 else ("accessory", board)
    if second & 0x0C == 0x0C and len(body) == 4:
        return ("accessory", board)
    number = board * 4 + (second >> 1 & 3)
    if number == 2047 and second & 0x09 == 1:
        return ("accessory_broadcast",)
    return ("extended_accessory", number)


def _accessory(body: bytes, address: Address) -> Reading:
    second, rest, raw = body[1], body[2:], body[1:]
    try:
        if second & 128:
            return _basic_accessory(body, address)
        if second & 0x09 == 1 and len(rest) == 1:
            fields: dict[str, object] = {"aspect": rest[0], "absolute_stop": rest[0] == 0}
            if rest[0] > 31:
                fields["from_memory"] = True
            return make("extended_accessory", address, raw, **fields)
        if second & 0x09 == 1 and len(rest) == 3 and rest[0] >> 4 == 0b1110:
            return _accessory_cv("extended_accessory_cv_access", raw, address, {})
        if second & 0x0C == 0x0C and len(rest) == 2:
            return make("accessory_cv_access_legacy", address, raw, cv=((second & 3) << 8 | rest[0]) + 1,
                        value=rest[1])
        if second & 8 and not rest:
            return make("accessory_nop", address, raw, from_memory=True, t=second & 1)
        raise CannotRead("no accessory packet has this shape")
    except CannotRead as error:
        return unknown(address, raw, str(error))


def _basic_accessory(body: bytes, address: Address) -> Reading:
    second, rest, raw = body[1], body[2:], body[1:]
    if not rest:
        board = (body[0] & 63) | (~second >> 4 & 7) << 6
        pair = second >> 1 & 3
        linear = 4 * board + pair + 1 if board < 511 else None
        return make("basic_accessory", address, raw, board=board, pair=pair, output=second & 1,
                    activate=bool(second & 8), linear_from_board_0=linear,
                    linear_from_board_1=linear - 4 if linear is not None and linear > 4 else None)
    if len(rest) == 3 and rest[0] >> 4 == 0b1110:
        if second & 8:
            return _accessory_cv("accessory_cv_access", raw, address, {"target": ("output", second & 7)})
        if second & 7 == 0:
            return _accessory_cv("accessory_cv_access", raw, address, {"target": ("decoder",)})
        raise CannotRead("CV access with C = 0 and DDD not 0")
    raise CannotRead("no accessory packet has this shape")


def _accessory_cv(kind: str, raw: bytes, address: Address, fields: dict[str, object]) -> Reading:
    code = raw[1] >> 2 & 3
    if code == 0:
        return make("reserved", address, raw)
    cv = ((raw[1] & 3) << 8 | raw[2]) + 1
    return make(kind, address, raw, **fields, cv=cv, **cv_operation(code, raw[3]))
