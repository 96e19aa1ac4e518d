"""Names, patterns, sources, flags, registers and classes against a list typed from the standards apart from the registry.

``ROWS`` says which rows of the registry stand for each row of that list, and what they are called.
"""

from __future__ import annotations

from collections import Counter

import pytest

from halfbit.instruction import STANDARD, DecoderKind, Entry, NoAddress, RegisterAccess, SetDecoderFlags, ShortAddress
from tests.standards.expected_names import CLASSES, EXPECTED, FLAGS, REGISTERS, Row

#: Title and pattern of the list; then pattern and name of each row of the registry.
ROWS: dict[tuple[str, str], list[tuple[str, str]]] = {
    ("reserved", "232 to 254"): [
        ("11101AAA", "Reserved addresses 232 to 239"),
        ("11110AAA", "Reserved addresses 240 to 247"),
        ("111110AA", "Reserved addresses 248 to 251"),
        ("11111100", "Reserved address 252"),
    ],
    ("advanced extended packets", "253 and 254"): [
        ("11111101", "Advanced Extended Packet, 253"),
        ("11111110", "Advanced Extended Packet, 254"),
    ],
    ("reset", "00000000 00000000 00000000"): [("00000000", "Digital Decoder Reset Packet")],
    ("idle", "11111111 00000000 11111111"): [("11111111 00000000", "Idle")],
    ("broadcast stop", "00000000 01DC000S EEEEEEEE"): [("01DC000S", "Broadcast Stop")],
    ("digital decoder reset", "00000000"): [("00000000", "Digital Decoder Reset")],
    ("hard reset", "00000001"): [("00000001", "Hard Reset")],
    ("factory test", "0000001F D.."): [("0000001F", "Factory Test")],
    ("set decoder flags", "0000011D CCCC0SSS"): [("0000011D CCCC0SSS", "Set Decoder Flags")],
    ("set extended addressing", "0000101D"): [("0000101D", "Set Extended Addressing")],
    ("decoder acknowledgement request", "0000111D"): [
        ("00001110", "Decoder Acknowledgement Request"),
        ("00001111", "Decoder Acknowledgement Request"),
    ],
    ("reserved", "0000010D"): [("0000010D", "Reserved")],
    ("reserved", "0000100D"): [("0000100D", "Reserved")],
    ("reserved", "0000110D"): [("0000110D", "Reserved")],
    ("set consist address, normal direction", "00010010 0AAAAAAA"): [("0001001R 0AAAAAAA", "Consist Control")],
    ("set consist address, direction reversed", "00010011 0AAAAAAA"): [("0001001R 0AAAAAAA", "Consist Control")],
    ("reserved", "0001001R 1AAAAAAA"): [("0001001R 1AAAAAAA", "Consist Control, Reserved")],
    ("reserved", "other 0001CCCC"): [("0001CCCC", "Reserved")],
    ("128 step speed control", "00111111 DSSSSSSS"): [("00111111 DSSSSSSS", "128 Speed Step Control")],
    ("restricted speed step", "00111110 EUSSSSSS"): [
        ("00111110 EUFSSSSS", "Restricted Speed Step or Special Operating Modes")
    ],
    ("special operating modes", "00111110 D.."): [
        ("00111110 EUFSSSSS", "Restricted Speed Step or Special Operating Modes")
    ],
    ("analog function", "00111101 VVVVVVVV DDDDDDDD"): [("00111101 VVVVVVVV DDDDDDDD", "Analog Function Group")],
    ("reserved", "other 001CCCCC"): [("001CCCCC", "Reserved")],
    ("speed and direction, reverse", "010CSSSS"): [("01DCSSSS", "Speed and Direction")],
    ("speed and direction, forward", "011CSSSS"): [("01DCSSSS", "Speed and Direction")],
    ("function group one", "100LDDDD"): [("100LDDDD", "Function Group One")],
    ("function group two, F5 to F8", "1011DDDD"): [("1011DDDD", "Function Group Two, F5 to F8")],
    ("function group two, F9 to F12", "1010DDDD"): [("1010DDDD", "Function Group Two, F9 to F12")],
    ("binary state, long form", "11000000 DLLLLLLL HHHHHHHH"): [
        ("11000000 DLLLLLLL HHHHHHHH", "Binary State Control, Long Form")
    ],
    ("binary state, short form", "11011101 DLLLLLLL"): [("11011101 DLLLLLLL", "Binary State Control, Short Form")],
    ("F13 to F20", "11011110 DDDDDDDD"): [("11011110 DDDDDDDD", "F13 to F20")],
    ("F21 to F28", "11011111 DDDDDDDD"): [("11011111 DDDDDDDD", "F21 to F28")],
    ("reserved", "other 110CCCCC"): [("110CCCCC", "Reserved")],
    ("CV 23 := data byte (short form)", "11110010 D.."): [("11110010 DDDDDDDD", "CV Access, Short Form, CV 23")],
    ("CV 24 := data byte (short form)", "11110011 D.."): [("11110011 DDDDDDDD", "CV Access, Short Form, CV 24")],
    ("decoder lock", "00000000 11111001 0AAAAAAA"): [("11111001 0AAAAAAA", "Decoder Lock")],
    ("address query", "AAAAAAAA 11111001"): [("11111001", "Address Query")],
    ("reserved / not available", "other 1111CCCC"): [
        ("1111CCCC", "Reserved"),
        ("11111001 1AAAAAAA", "Decoder Lock, Reserved"),
    ],
    ("CV access, long form, verify byte", "111001VV VVVVVVVV DDDDDDDD"): [
        ("111001VV VVVVVVVV DDDDDDDD", "CV Access, Long Form, Verify Byte")
    ],
    ("CV access, long form, write byte", "111011VV VVVVVVVV DDDDDDDD"): [
        ("111011VV VVVVVVVV DDDDDDDD", "CV Access, Long Form, Write Byte")
    ],
    ("CV access, long form, bit manipulation", "111010VV VVVVVVVV 111CDBBB"): [
        ("111010VV VVVVVVVV 111CDBBB", "CV Access, Long Form, Bit Manipulation")
    ],
    ("CV access, long form, reserved", "111000VV VVVVVVVV DDDDDDDD"): [
        ("111000VV VVVVVVVV DDDDDDDD", "CV Access, Long Form, Reserved")
    ],
    ("basic accessory packet", "10AAAAAA 1AAACDDD"): [("10AAAAAA 1AAACDDD", "Basic Accessory Decoder Packet")],
    ("extended accessory packet", "10AAAAAA 0AAA0AA1 000XXXXX"): [
        ("10AAAAAA 0AAA0AA1 XXXXXXXX", "Extended Accessory Decoder Packet")
    ],
    ("extended accessory packet, all eight bits", "10AAAAAA 0AAA0AA1 XXXXXXXX"): [
        ("10AAAAAA 0AAA0AA1 XXXXXXXX", "Extended Accessory Decoder Packet")
    ],
    ("accessory broadcast, basic", "10111111 1000CDDD"): [("10111111 1000CDDD", "Basic Accessory Decoder Broadcast")],
    ("accessory broadcast, extended", "10111111 00000111 000XXXXX"): [
        ("10111111 00000111 XXXXXXXX", "Extended Accessory Decoder Broadcast")
    ],
    ("accessory decoder CV access", "10AAAAAA 1AAACDDD 1110CCVV VVVVVVVV DDDDDDDD"): [
        (f"{head} {rest}", f"Accessory CV Access, {whom}, {what}")
        for head, whom in (
            ("10AAAAAA 1AAA0000", "Basic Decoder"),
            ("10AAAAAA 1AAA1DDD", "Basic Output"),
            ("10111111 10000000", "All Basic Decoders"),
            ("10111111 10001DDD", "All Basic Outputs"),
        )
        for rest, what in (
            ("111001VV VVVVVVVV DDDDDDDD", "Verify Byte"),
            ("111011VV VVVVVVVV DDDDDDDD", "Write Byte"),
            ("111010VV VVVVVVVV 111CDBBB", "Bit Manipulation"),
            ("111000VV VVVVVVVV DDDDDDDD", "Reserved"),
        )
    ],
    ("extended accessory decoder CV access", "10AAAAAA 0AAA0AA1 1110CCVV VVVVVVVV DDDDDDDD"): [
        (f"{head} {rest}", f"Accessory CV Access, {whom}, {what}")
        for head, whom in (("10AAAAAA 0AAA0AA1", "Extended"), ("10111111 00000111", "All Extended"))
        for rest, what in (
            ("111001VV VVVVVVVV DDDDDDDD", "Verify Byte"),
            ("111011VV VVVVVVVV DDDDDDDD", "Write Byte"),
            ("111010VV VVVVVVVV 111CDBBB", "Bit Manipulation"),
            ("111000VV VVVVVVVV DDDDDDDD", "Reserved"),
        )
    ],
    ("accessory decoder CV access, legacy", "10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD"): [
        ("10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD", "Accessory CV Access, Legacy")
    ],
    ("direct, verify byte", "011101AA AAAAAAAA DDDDDDDD"): [("011101AA AAAAAAAA DDDDDDDD", "Direct Mode, Verify Byte")],
    ("direct, write byte", "011111AA AAAAAAAA DDDDDDDD"): [("011111AA AAAAAAAA DDDDDDDD", "Direct Mode, Write Byte")],
    ("direct, bit manipulation", "011110AA AAAAAAAA 111KDBBB"): [
        ("011110AA AAAAAAAA 111KDBBB", "Direct Mode, Bit Manipulation")
    ],
    ("register / paged", "0111CRRR DDDDDDDD"): [("0111CRRR DDDDDDDD", "Register or Paged Mode")],
    ("address only", "0111C000 0DDDDDDD"): [("0111C000 0DDDDDDD", "Address-Only Mode")],
    ("page preset", "01111101 00000001"): [("01111101 00000001", "Page Preset")],
    ("factory reset", "01111111 00001000"): [("01111111 00001000", "Factory Reset")],
    ("F29 to F36", "11011000 DDDDDDDD"): [("11011000 DDDDDDDD", "F29 to F36")],
    ("F37 to F44", "11011001 DDDDDDDD"): [("11011001 DDDDDDDD", "F37 to F44")],
    ("F45 to F52", "11011010 DDDDDDDD"): [("11011010 DDDDDDDD", "F45 to F52")],
    ("F53 to F60", "11011011 DDDDDDDD"): [("11011011 DDDDDDDD", "F53 to F60")],
    ("F61 to F68", "11011100 DDDDDDDD"): [("11011100 DDDDDDDD", "F61 to F68")],
    ("model time", "00000000 11000001 00MMMMMM WWWHHHHH U0BBBBBB"): [
        ("11000001 00MMMMMM WWWHHHHH U0BBBBBB", "Model Time")
    ],
    ("date", "00000000 11000001 010TTTTT MMMMYYYY YYYYYYYY"): [("11000001 010TTTTT MMMMYYYY YYYYYYYY", "Model Date")],
    ("system time", "11000010 D.. D.."): [("11000010 MMMMMMMM MMMMMMMM", "System Time")],
    ("speed, direction and functions", "00111100 DSSSSSSS D.."): [
        ("00111100 DSSSSSSS", "Speed, Direction and Functions")
    ],
    ("extended CV access", "1110GGSS VVVVVVVV VVVVVVVV VVVVVVVV D.."): [
        ("111001SS VVVVVVVV VVVVVVVV VVVVVVVV", "Extended CV Access, Read"),
        ("111010SS VVVVVVVV VVVVVVVV VVVVVVVV", "Extended CV Access, Write Bits"),
        ("111011SS VVVVVVVV VVVVVVVV VVVVVVVV", "Extended CV Access, Write"),
    ],
    ("CV 17 and 18", "11110100 D.. D.."): [("11110100 VVVVVVVV DDDDDDDD", "CV Access, Short Form, CV 17 and 18")],
    ("CV 31 and 32", "11110101 D.. D.."): [("11110101 VVVVVVVV DDDDDDDD", "CV Access, Short Form, CV 31 and 32")],
    ("accessory NOP", "10AAAAAA 0AAA1AAT"): [
        ("10AAAAAA 0AAA1AA0", "Accessory NOP, Basic"),
        ("10AAAAAA 0AAA1AA1", "Accessory NOP, Extended"),
    ],
}

#: Rows of the list that speak of addresses alone, which are no rows of the registry but classes.
ADDRESSES_ALONE = {
    "broadcast to multi-function decoders",
    "multi-function decoder, 7-bit (primary) address",
    "accessory decoder, 9-bit (basic) or 11-bit (extended) address",
    "multi-function decoder, 14-bit (extended) address",
}

#: Documents of the rows from memory. The list has one source for them all.
FROM_MEMORY = {
    "advanced extended packets": "S-9.2.1.1, RCN-218",
    "model time": "RCN-211",
    "date": "RCN-211",
    "system time": "RCN-211",
    "speed, direction and functions": "RCN-212",
    "special operating modes": "RCN-212",
    "extended CV access": "RCN-214",
    "CV 17 and 18": "RCN-214",
    "CV 31 and 32": "RCN-214",
    "accessory NOP": "RCN-213",
    "extended accessory packet, all eight bits": "RCN-213",
    **{f"F{first} to F{first + 7}": "RCN-212" for first in (29, 37, 45, 53, 61)},
}

#: Rows that two parts speak of, where the list has one of them.
TWO_SOURCES = {"Digital Decoder Reset Packet": "S-9.2 B; S-9.2.1 C", "Speed and Direction": "S-9.2 B; S-9.2.1 C"}

LISTED = [row for row in EXPECTED if row[0] not in ADDRESSES_ALONE and row[1] != "11111111"]


def _entries(pattern: str, name: str) -> list[Entry]:
    return [entry for entry in STANDARD.entries() if (entry.pattern, entry.name) == (pattern, name)]


@pytest.mark.parametrize("row", LISTED, ids=[f"{row[0]} {row[1]}" for row in LISTED])
def test_each_row_of_the_list_is_in_the_registry(row: Row) -> None:
    title, pattern, _, source, grade = row
    for text, name in ROWS[title, pattern]:
        found = _entries(text, name)
        assert found, name
        for entry in found:
            _check_source(entry, title, source, grade)


def _check_source(entry: Entry, title: str, source: str, grade: str) -> None:
    parts = entry.source.split("; ")
    if grade == "read":
        # What later documents add to a row that was read stands behind it.
        read = "; ".join(part for part in parts if "from memory" not in part)
        assert read == TWO_SOURCES.get(entry.name, source)
    else:
        assert any(part.endswith(f"{FROM_MEMORY[title]}, from memory") for part in parts)


def test_each_row_of_the_registry_is_in_the_list() -> None:
    assert set(ROWS) == {(row[0], row[1]) for row in LISTED}
    named = Counter(pair for rows in ROWS.values() for pair in rows)
    for entry in STANDARD.entries():
        assert named[entry.pattern, entry.name], entry


@pytest.mark.parametrize("code", range(16))
def test_flag_names(code: int) -> None:
    """S-9.2.1 C, decoder control."""
    assert SetDecoderFlags(ShortAddress(3), False, code, 0).flag_name == FLAGS.get(f"{code:04b}")


@pytest.mark.parametrize("register", REGISTERS)
def test_registers(register: int) -> None:
    """S-9.2.3 E, the table of registers: both columns."""
    access = RegisterAccess(NoAddress(), False, register, 0)
    targets = {one.decoder: f"CV {one.cv}" for one in access.targets}
    vehicle, accessory = REGISTERS[register]
    assert targets.get(DecoderKind.MULTI_FUNCTION, "page register") == vehicle
    assert targets.get(DecoderKind.ACCESSORY, "undefined") == accessory


def test_classes() -> None:
    """S-9.2.1 C: at most one of each of these classes in a packet, 00001111 excepted."""
    for entry in STANDARD.entries():
        if entry.places[0].follows_address:
            own = entry.pattern[:3] if entry.pattern[:3] in CLASSES and entry.pattern != "00001111" else None
            assert entry.packet_class == (None if own is None else int(own, 2)), entry
