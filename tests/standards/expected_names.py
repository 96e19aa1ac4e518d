"""Names, bit patterns and fields of every instruction, typed by hand from the digest of the standards.

Made apart: by someone who had the facts of the standards and had seen neither the code of halfbit nor its tests. It is
not brought in line with the code; where they differ, the standards' text decides, and the test says how.

To be compared with a decoder's own registry. Each row: title in the digest's words, bit pattern (a space between bytes,
address bytes included only if the digest shows them as part of the pattern; "D.." is a data byte), the fields (letter
and meaning), the document and section, and "read" or "memory". "memory" rows are from later documents, recalled.
"""

from __future__ import annotations

Row = tuple[str, str, dict[str, str], str, str]

R, M = "read", "memory"
C = "S-9.2.1 C"
LATER = "RCN-211 to RCN-214 and later S-9.2.1"

# Decoder flags CCCC of 0000011D CCCC0SSS (S-9.2.1 C).
FLAGS: dict[str, str] = {
    "0000": "disable 111 instructions",
    "0100": "disable acknowledgement request",
    "0101": "activate bi-directional communication",
    "1000": "set bi-directional communication",
    "1001": "set 111 instruction",
    "1111": "accept 111 instructions",
}

ADDRESSES: list[Row] = [
    ("broadcast to multi-function decoders", "00000000", {}, "S-9.2.1 A", R),
    ("multi-function decoder, 7-bit (primary) address", "0AAAAAAA", {"A": "1 to 127"}, "S-9.2.1 A, S-9.2.2 CV 1", R),
    ("accessory decoder, 9-bit (basic) or 11-bit (extended) address", "10AAAAAA", {"A": "low six bits"},
     "S-9.2.1 A, D", R),
    ("multi-function decoder, 14-bit (extended) address", "11AAAAAA AAAAAAAA",
     {"A": "0 to 10239, first byte 192 to 231"}, "S-9.2.1 A, S-9.2.2 CV 17, 18", R),
    ("reserved", "232 to 254", {}, "S-9.2.1 A", R),
    ("advanced extended packets", "253 and 254", {"CRC-8": "over the bytes before the error byte"},
     "S-9.2.1.1 / RCN-218", M),
    ("idle", "11111111", {}, "S-9.2.1 A", R),
]

WHOLE_PACKETS: list[Row] = [
    ("reset", "00000000 00000000 00000000", {}, "S-9.2 B", R),
    ("idle", "11111111 00000000 11111111", {}, "S-9.2 B", R),
    ("broadcast stop", "00000000 01DC000S EEEEEEEE",
     {"D": "direction", "C": "1: direction may be ignored for functions", "S": "0 stop, 1 stop delivering energy"},
     "S-9.2 B", R),
]

MULTI_FUNCTION: list[Row] = [
    ("digital decoder reset", "00000000", {}, C, R),
    ("hard reset", "00000001", {}, C, R),
    ("factory test", "0000001F D..", {"F": "", "D..": "more bytes"}, C, R),
    ("set decoder flags", "0000011D CCCC0SSS", {"D": "", "C": "flag", "S": "sub-address, 000 = all"}, C, R),
    ("set extended addressing", "0000101D", {"D": "CV 29 bit 5 := D"}, C, R),
    ("decoder acknowledgement request", "0000111D", {"D": ""}, C, R),
    ("reserved", "0000010D", {}, C, R),
    ("reserved", "0000100D", {}, C, R),
    ("reserved", "0000110D", {}, C, R),
    ("set consist address, normal direction", "00010010 0AAAAAAA", {"A": "consist address, 0 dissolves it"}, C, R),
    ("set consist address, direction reversed", "00010011 0AAAAAAA", {"A": "consist address, 0 dissolves it"}, C, R),
    ("reserved", "0001001R 1AAAAAAA", {}, C, R),
    ("reserved", "other 0001CCCC", {}, C, R),
    ("128 step speed control", "00111111 DSSSSSSS",
     {"D": "1 = forward", "S": "0 stop, 1 emergency stop, 2 to 127 = steps 1 to 126"}, C, R),
    ("restricted speed step", "00111110 EUSSSSSS",
     {"E": "0 enables, 1 disables", "U": "(nothing is said)", "S": "speed step defined in S-9.2"}, C, R),
    ("analog function", "00111101 VVVVVVVV DDDDDDDD", {"V": "output, 1 = volume", "D": "value"}, C, R),
    ("reserved", "other 001CCCCC", {}, C, R),
    ("speed and direction, reverse", "010CSSSS",
     {"C": "lowest step bit with 28 steps, FL with 14", "S": "0000 stop, 0001 emergency stop, else step"}, C, R),
    ("speed and direction, forward", "011CSSSS",
     {"C": "lowest step bit with 28 steps, FL with 14", "S": "0000 stop, 0001 emergency stop, else step"}, C, R),
    ("function group one", "100LDDDD", {"L": "FL, only if CV 29 bit 1 is 1", "D": "F1 to F4, bit 0 = F1"}, C, R),
    ("function group two, F5 to F8", "1011DDDD", {"D": "F5 to F8"}, C, R),
    ("function group two, F9 to F12", "1010DDDD", {"D": "F9 to F12"}, C, R),
    ("binary state, long form", "11000000 DLLLLLLL HHHHHHHH",
     {"D": "state", "L": "low part of the address", "H": "high part; HL 1 to 32767, 0 = all"}, C, R),
    ("binary state, short form", "11011101 DLLLLLLL", {"D": "state", "L": "1 to 127, 0 = all"}, C, R),
    ("F13 to F20", "11011110 DDDDDDDD", {"D": "bit 0 = F13"}, C, R),
    ("F21 to F28", "11011111 DDDDDDDD", {"D": "bit 0 = F21"}, C, R),
    ("reserved", "other 110CCCCC", {}, C, R),
    ("CV 23 := data byte (short form)", "11110010 D..", {"D..": "value"}, C, R),
    ("CV 24 := data byte (short form)", "11110011 D..", {"D..": "value"}, C, R),
    ("decoder lock", "00000000 11111001 0AAAAAAA", {"A": "address"}, "S-9.2.3 appendix B", R),
    ("address query", "AAAAAAAA 11111001", {"A": "address, 1 to 111"}, "S-9.2.3 appendix A", R),
    ("reserved / not available", "other 1111CCCC", {}, C, R),
    ("CV access, long form, verify byte", "111001VV VVVVVVVV DDDDDDDD", {"V": "CV number - 1", "D": "value"}, C, R),
    ("CV access, long form, write byte", "111011VV VVVVVVVV DDDDDDDD", {"V": "CV number - 1", "D": "value"}, C, R),
    ("CV access, long form, bit manipulation", "111010VV VVVVVVVV 111CDBBB",
     {"V": "CV number - 1", "C": "1 write, 0 verify", "D": "value of the bit", "B": "position of the bit"}, C, R),
    ("CV access, long form, reserved", "111000VV VVVVVVVV DDDDDDDD", {}, C, R),
]

ACCESSORY: list[Row] = [
    ("basic accessory packet", "10AAAAAA 1AAACDDD",
     {"A": "9 bits, the three high ones complemented", "C": "activate/deactivate",
      "D": "bits 1 and 2 the pair (0 to 3), bit 0 which output of the pair"}, "S-9.2.1 D", R),
    ("extended accessory packet", "10AAAAAA 0AAA0AA1 000XXXXX",
     {"A": "11 bits: the 9-bit address, below it bits 1 and 2 of the second byte",
      "X": "aspect; all zeros is absolute stop"}, "S-9.2.1 D", R),
    ("accessory broadcast, basic", "10111111 1000CDDD", {"C": "activate/deactivate", "D": "output"}, "S-9.2.1 D", R),
    ("accessory broadcast, extended", "10111111 00000111 000XXXXX", {"X": "aspect"}, "S-9.2.1 D", R),
    ("accessory decoder CV access", "10AAAAAA 1AAACDDD 1110CCVV VVVVVVVV DDDDDDDD",
     {"A": "9 bits", "CDDD": "0000 the whole decoder, else C = 1 and DDD the output", "CC": "as in the long form",
      "V": "CV number - 1", "D": "value"}, "S-9.2.1 D", R),
    ("extended accessory decoder CV access", "10AAAAAA 0AAA0AA1 1110CCVV VVVVVVVV DDDDDDDD",
     {"A": "11 bits", "CC": "as in the long form", "V": "CV number - 1", "D": "value"}, "S-9.2.1 D", R),
    ("accessory decoder CV access, legacy", "10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD",
     {"A": "9 bits", "V": "CV number - 1", "D": "value"}, "S-9.2.1 appendix A", R),
]

SERVICE_MODE: list[Row] = [
    ("direct, verify byte", "011101AA AAAAAAAA DDDDDDDD", {"A": "CV - 1", "D": "value"}, "S-9.2.3 E", R),
    ("direct, write byte", "011111AA AAAAAAAA DDDDDDDD", {"A": "CV - 1", "D": "value"}, "S-9.2.3 E", R),
    ("direct, bit manipulation", "011110AA AAAAAAAA 111KDBBB",
     {"A": "CV - 1", "K": "1 = write", "D": "value of the bit", "B": "position of the bit"}, "S-9.2.3 E", R),
    ("register / paged", "0111CRRR DDDDDDDD", {"C": "1 write, 0 verify", "R": "register - 1", "D": "value"},
     "S-9.2.3 E", R),
    ("address only", "0111C000 0DDDDDDD", {"C": "1 write, 0 verify", "D": "CV 1"}, "S-9.2.3 E", R),
    ("page preset", "01111101 00000001", {}, "S-9.2.3 E", R),
    ("factory reset", "01111111 00001000", {}, "S-9.2.3 E", R),
]

LATER_ADDITIONS: list[Row] = [
    ("F29 to F36", "11011000 DDDDDDDD", {"D": "F29 to F36"}, LATER, M),
    ("F37 to F44", "11011001 DDDDDDDD", {"D": "F37 to F44"}, LATER, M),
    ("F45 to F52", "11011010 DDDDDDDD", {"D": "F45 to F52"}, LATER, M),
    ("F53 to F60", "11011011 DDDDDDDD", {"D": "F53 to F60"}, LATER, M),
    ("F61 to F68", "11011100 DDDDDDDD", {"D": "F61 to F68"}, LATER, M),
    ("model time", "00000000 11000001 00MMMMMM WWWHHHHH U0BBBBBB",
     {"M": "minute", "W": "weekday", "H": "hour", "U": "", "B": ""}, LATER, M),
    ("date", "00000000 11000001 010TTTTT MMMMYYYY YYYYYYYY", {"T": "day", "M": "month", "Y": "year"}, LATER, M),
    ("system time", "11000010 D.. D..", {"D..": "two bytes, ms"}, LATER, M),
    ("speed, direction and functions", "00111100 DSSSSSSS D..",
     {"D": "direction", "S": "speed, 128 steps", "D..": "1 to 4 function bytes from F0 up"}, LATER, M),
    ("extended CV access", "1110GGSS VVVVVVVV VVVVVVVV VVVVVVVV D..",
     {"G": "01 read, 10 bit write, 11 write", "S": "sequence number", "V": "24-bit CV number",
      "D..": "0 to 4 data bytes"}, LATER, M),
    ("special operating modes", "00111110 D..", {"D..": "position in a consist, shunting, direction bits"}, LATER, M),
    ("CV 17 and 18", "11110100 D.. D..", {"D..": "CV 17, CV 18"}, LATER, M),
    ("CV 31 and 32", "11110101 D.. D..", {"D..": "CV 31, CV 32"}, LATER, M),
    ("accessory NOP", "10AAAAAA 0AAA1AAT", {"A": "address", "T": ""}, LATER, M),
    ("extended accessory packet, all eight bits", "10AAAAAA 0AAA0AA1 XXXXXXXX", {"X": "aspect"}, LATER, M),
]

EXPECTED: list[Row] = ADDRESSES + WHOLE_PACKETS + MULTI_FUNCTION + ACCESSORY + SERVICE_MODE + LATER_ADDITIONS

# At most one instruction of each of these classes in one packet (S-9.2.1 C); 00001111 is excepted from 000.
CLASSES: dict[str, str] = {
    "000": "decoder and consist control",
    "001": "advanced operations",
    "111": "CV access",
}

# Register: multi-function decoders, accessory decoders (S-9.2.3 E, table of registers without paging).
REGISTERS: dict[int, tuple[str, str]] = {
    1: ("CV 1", "CV 513"),
    2: ("CV 2", "undefined"),
    3: ("CV 3", "undefined"),
    4: ("CV 4", "undefined"),
    5: ("CV 29", "undefined"),
    6: ("page register", "undefined"),
    7: ("CV 7", "CV 7"),
    8: ("CV 8", "CV 520"),
}
