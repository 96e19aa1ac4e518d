"""Worked packets: whole packets with the error byte, the fields that must come out, and where they come from.

Made apart: by someone who had the facts of the standards and had seen neither the code of halfbit nor its tests. It is
not brought in line with the code; where they differ, the standards' text decides, and the test says how.

The expected values are typed by hand from the digest, not taken from a decoder. A row names only the fields that the
packet is there for. `also` holds fields of the other reading. "worked value" marks figures the standards give
themselves; "arithmetic" marks packets made from the bit pattern with the bounds of its fields. Rows from later
documents are marked "from memory". Packets longer than 6 bytes need a packet_max of 11.
"""

from __future__ import annotations

Fields = dict[str, object]
BC = ("broadcast",)
S3 = ("short", 3)
C = "S-9.2.1 C, arithmetic"
CD = "S-9.2.1 C, decoder and consist control, arithmetic"
CV = "S-9.2.1 C, CV access, arithmetic"
D = "S-9.2.1 D, arithmetic"
E = "S-9.2.3 E, arithmetic"
M = "RCN-211 to RCN-214 and later S-9.2.1, from memory"

# One packet, one instruction.
WORKED: list[tuple[str, Fields, str]] = [
    # Addresses.
    ("37 74 43", {"kind": "speed_and_direction", "address": ("short", 55), "bytes": "74", "direction": "forward",
               "speed_28": 6, "speed_14": 3, "fl_14": True}, "S-9.2 A/B, worked value 37 74 43"),
    ("00 00 00", {"kind": "digital_decoder_reset", "address": BC, "bytes": "00"}, "S-9.2 B, reset packet"),
    ("FF 00 FF", {"kind": "idle", "address": ("idle",), "bytes": "00"}, "S-9.2 B, idle packet"),
    ("C4 57 80 13", {"kind": "function_group_one", "address": ("long", 1111), "bytes": "80"},
     "S-9.2.2 CV 17 and 18, worked value 1111 = 196 87"),
    ("E7 0F 80 68", {"kind": "function_group_one", "address": ("long", 9999)},
     "S-9.2.2 CV 17 and 18, worked value 9999 = 231 15"),
    ("C0 90 80 D0", {"kind": "function_group_one", "address": ("long", 144)},
     "S-9.2.2 CV 17 and 18, worked value 144 = 192 144"),
    ("C0 00 80 40", {"kind": "function_group_one", "address": ("long", 0)}, "S-9.2.1 A, lower bound"),
    ("E7 FF 80 98", {"kind": "function_group_one", "address": ("long", 10239)}, "S-9.2.1 A, upper bound"),
    ("01 80 81", {"kind": "function_group_one", "address": ("short", 1)}, "S-9.2.1 A, lower bound"),
    ("7F 80 FF", {"kind": "function_group_one", "address": ("short", 127)}, "S-9.2.1 A, upper bound"),
    ("E8 01 E9", {"kind": "reserved", "address": ("reserved", 232), "bytes": "01"}, "S-9.2.1 A, 232 reserved"),
    ("FC 01 02 FF", {"kind": "reserved", "address": ("reserved", 252), "bytes": "0102"}, "S-9.2.1 A, 252 reserved"),
    ("FD 01 02 FE", {"kind": "reserved", "address": ("reserved", 253), "bytes": "0102"},
     "S-9.2.1 A, 253 reserved; S-9.2.1.1 / RCN-218 from memory"),
    ("FE 01 02 03 FE", {"kind": "reserved", "address": ("reserved", 254), "bytes": "010203"},
     "S-9.2.1 A, 254 reserved; S-9.2.1.1 / RCN-218 from memory"),
    # Broadcast stop.
    ("00 40 40", {"kind": "broadcast_stop", "address": BC, "direction": "reverse", "energy_off": False,
               "direction_may_be_ignored_28": False}, "S-9.2 B, broadcast stop, D C S = 0 0 0"),
    ("00 71 71", {"kind": "broadcast_stop", "address": BC, "direction": "forward", "energy_off": True,
               "direction_may_be_ignored_28": True}, "S-9.2 B, broadcast stop, D C S = 1 1 1"),
    # Class 000.
    ("03 00 03", {"kind": "digital_decoder_reset", "address": S3, "bytes": "00"}, CD),
    ("03 01 02", {"kind": "hard_reset", "bytes": "01"}, CD),
    ("03 02 01", {"kind": "factory_test", "f": 0, "bytes": "02"}, CD),
    ("03 03 AA 55 FF", {"kind": "factory_test", "f": 1, "bytes": "03aa55"}, CD),
    ("03 04 07", {"kind": "reserved", "bytes": "04"}, CD),
    ("03 05 06", {"kind": "reserved", "bytes": "05"}, CD),
    ("03 08 0B", {"kind": "reserved", "bytes": "08"}, CD),
    ("03 09 0A", {"kind": "reserved", "bytes": "09"}, CD),
    ("03 0C 0F", {"kind": "reserved", "bytes": "0c"}, CD),
    ("03 0D 0E", {"kind": "reserved", "bytes": "0d"}, CD),
    ("03 06 00 05", {"kind": "set_decoder_flags", "d": 0, "flag": "disable 111 instructions", "sub_address": 0,
                  "all_sub_addresses": True, "bytes": "0600"}, CD),
    ("03 07 47 43", {"kind": "set_decoder_flags", "d": 1, "flag": "disable acknowledgement request", "sub_address": 7,
                  "all_sub_addresses": False}, CD),
    ("03 07 51 55", {"kind": "set_decoder_flags", "flag": "activate bi-directional communication",
                     "sub_address": 1}, CD),
    ("03 07 82 86", {"kind": "set_decoder_flags", "flag": "set bi-directional communication", "sub_address": 2}, CD),
    ("03 07 94 90", {"kind": "set_decoder_flags", "flag": "set 111 instruction", "sub_address": 4}, CD),
    ("03 07 F0 F4", {"kind": "set_decoder_flags", "flag": "accept 111 instructions", "sub_address": 0}, CD),
    ("03 0A 09", {"kind": "set_extended_addressing", "d": 0}, CD),
    ("03 0B 08", {"kind": "set_extended_addressing", "d": 1}, CD),
    ("03 0E 0D", {"kind": "acknowledgement_request", "d": 0}, CD),
    ("03 0F 0C", {"kind": "acknowledgement_request", "d": 1}, CD),
    ("03 12 00 11", {"kind": "set_consist", "consist_address": 0, "reversed": False, "dissolves": True}, CD),
    ("03 12 01 10", {"kind": "set_consist", "consist_address": 1, "reversed": False, "dissolves": False}, CD),
    ("03 13 7F 6F", {"kind": "set_consist", "consist_address": 127, "reversed": True, "bytes": "137f"}, CD),
    ("03 13 00 10", {"kind": "set_consist", "consist_address": 0, "reversed": True, "dissolves": True}, CD),
    ("03 12 80 91", {"kind": "reserved", "bytes": "1280"}, CD),
    ("03 13 FF EF", {"kind": "reserved", "bytes": "13ff"}, CD),
    ("03 10 13", {"kind": "reserved", "bytes": "10"}, CD),
    ("03 14 01 16", {"kind": "reserved", "bytes": "1401"}, CD),
    ("03 1F 1C", {"kind": "reserved", "bytes": "1f"}, CD),
    ("03 12 11", {"kind": "unknown", "bytes": "12"}, "S-9.2.1 C, second byte missing"),
    # Class 001.
    ("03 3F 00 3C", {"kind": "speed_128", "direction": "reverse", "speed_128": "stop"}, C),
    ("03 3F 80 BC", {"kind": "speed_128", "direction": "forward", "speed_128": "stop"}, C),
    ("03 3F 01 3D", {"kind": "speed_128", "direction": "reverse", "speed_128": "emergency_stop"}, C),
    ("03 3F 82 BE", {"kind": "speed_128", "direction": "forward", "speed_128": 1}, C),
    ("03 3F FF C3", {"kind": "speed_128", "direction": "forward", "speed_128": 126, "bytes": "3fff"}, C),
    ("03 3F 7F 43", {"kind": "speed_128", "direction": "reverse", "speed_128": 126}, C),
    ("03 3F 3C", {"kind": "unknown", "bytes": "3f"}, "S-9.2.1 C, data byte missing"),
    ("03 3E 00 3D", {"kind": "restricted_speed_step", "enabled": True, "bit_6": 0, "speed_bits": 0}, C),
    ("03 3E BF 82", {"kind": "restricted_speed_step", "enabled": False, "bit_6": 0, "speed_bits": 63,
                  "also": {"kind": "special_operating_modes", "from_memory": True, "data": 0xBF}}, C),
    ("03 3E 54 69", {"kind": "restricted_speed_step", "enabled": True, "bit_6": 1, "speed_bits": 20, "speed_28": 6}, C),
    ("03 3D 01 00 3F", {"kind": "analog_function", "output": 1, "volume": True, "value": 0}, C),
    ("03 3D FF 80 41", {"kind": "analog_function", "output": 255, "volume": False, "value": 128}, C),
    ("03 3D 00 FF C1", {"kind": "analog_function", "output": 0, "volume": False, "value": 255, "bytes": "3d00ff"}, C),
    ("03 20 23", {"kind": "reserved", "bytes": "20"}, C),
    ("03 3B 01 39", {"kind": "reserved", "bytes": "3b01"}, C),
    # Speed and direction: worked values of S-9.2 B in both directions.
    ("03 62 61", {"kind": "speed_and_direction", "direction": "forward", "speed_28": 1, "speed_14": 1, "fl_14": False},
     "S-9.2 B, 00010 is step 1 of 28"),
    ("03 52 51", {"kind": "speed_and_direction", "direction": "reverse", "speed_28": 2, "speed_14": 1, "fl_14": True},
     "S-9.2 B, 10010 is step 2 of 28"),
    ("03 43 40", {"kind": "speed_and_direction", "direction": "reverse", "speed_28": 3, "speed_14": 2},
     "S-9.2 B, 00011 is step 3 of 28"),
    ("03 7F 7C", {"kind": "speed_and_direction", "direction": "forward", "speed_28": 28, "speed_14": 14, "fl_14": True},
     "S-9.2 B, 11111 is step 28"),
    ("03 6F 6C", {"kind": "speed_and_direction", "direction": "forward", "speed_28": 27, "speed_14": 14,
                  "fl_14": False}, "S-9.2 B, 01111, arithmetic"),
    ("03 40 43", {"kind": "speed_and_direction", "direction": "reverse", "speed_28": "stop", "speed_14": "stop",
               "fl_14": False, "direction_may_be_ignored_28": False}, "S-9.2 B, 00000"),
    ("03 70 73", {"kind": "speed_and_direction", "direction": "forward", "speed_28": "stop", "speed_14": "stop",
               "fl_14": True, "direction_may_be_ignored_28": True}, "S-9.2 B, 10000"),
    ("03 41 42", {"kind": "speed_and_direction", "direction": "reverse", "speed_28": "emergency_stop",
               "speed_14": "emergency_stop", "direction_may_be_ignored_28": False}, "S-9.2 B, 00001"),
    ("03 71 72", {"kind": "speed_and_direction", "direction": "forward", "speed_28": "emergency_stop",
               "speed_14": "emergency_stop", "direction_may_be_ignored_28": True}, "S-9.2 B, 10001"),
    # Function groups.
    ("03 80 83", {"kind": "function_group_one", "fl": False,
               "functions": {1: False, 2: False, 3: False, 4: False}}, C),
    ("03 90 93", {"kind": "function_group_one", "fl": True, "functions": {1: False, 2: False, 3: False, 4: False}}, C),
    ("03 81 82", {"kind": "function_group_one", "fl": False, "functions": {1: True, 2: False, 3: False, 4: False}}, C),
    ("03 88 8B", {"kind": "function_group_one", "fl": False, "functions": {1: False, 2: False, 3: False, 4: True}}, C),
    ("03 B1 B2", {"kind": "function_group_two", "functions": {5: True, 6: False, 7: False, 8: False}}, C),
    ("03 B8 BB", {"kind": "function_group_two", "functions": {5: False, 6: False, 7: False, 8: True}}, C),
    ("03 A1 A2", {"kind": "function_group_two", "functions": {9: True, 10: False, 11: False, 12: False}}, C),
    ("03 A8 AB", {"kind": "function_group_two", "functions": {9: False, 10: False, 11: False, 12: True}}, C),
    # Class 110.
    ("03 C0 00 00 C3", {"kind": "binary_state", "form": "long", "number": 0, "all": True, "state": False}, C),
    ("03 C0 80 01 42", {"kind": "binary_state", "form": "long", "number": 128, "all": False, "state": True,
                     "short_form_required": False}, C),
    ("03 C0 FF FF C3", {"kind": "binary_state", "form": "long", "number": 32767, "state": True, "bytes": "c0ffff"}, C),
    ("03 C0 01 00 C2", {"kind": "binary_state", "form": "long", "number": 1, "short_form_required": True}, C),
    ("03 C0 7F 00 BC", {"kind": "binary_state", "form": "long", "number": 127, "short_form_required": True}, C),
    ("03 DD 00 DE", {"kind": "binary_state", "form": "short", "number": 0, "all": True, "state": False}, C),
    ("03 DD 81 5F", {"kind": "binary_state", "form": "short", "number": 1, "all": False, "state": True}, C),
    ("03 DD FF 21", {"kind": "binary_state", "form": "short", "number": 127, "state": True, "bytes": "ddff"}, C),
    ("03 DE 01 DC", {"kind": "function_group_f13_up", "functions": {
        13: True, 14: False, 15: False, 16: False, 17: False, 18: False, 19: False, 20: False}}, C),
    ("03 DF 80 5C", {"kind": "function_group_f13_up", "functions": {
        21: False, 22: False, 23: False, 24: False, 25: False, 26: False, 27: False, 28: True}}, C),
    ("03 C3 C0", {"kind": "reserved", "bytes": "c3"}, C),
    ("03 D7 01 D5", {"kind": "reserved", "bytes": "d701"}, C),
    ("03 C0 01 C2", {"kind": "unknown", "bytes": "c001"}, "S-9.2.1 C, third byte missing"),
    # Class 111.
    ("03 F2 00 F1", {"kind": "cv_access", "form": "short", "cv": 23, "operation": "write_byte", "value": 0}, CV),
    ("03 F3 FF 0F", {"kind": "cv_access", "form": "short", "cv": 24, "operation": "write_byte", "value": 255}, CV),
    ("00 F9 00 F9", {"kind": "decoder_lock", "address": BC, "lock_address": 0}, "S-9.2.3 appendix B, arithmetic"),
    ("00 F9 7F 86", {"kind": "decoder_lock", "address": BC, "lock_address": 127}, "S-9.2.3 appendix B, arithmetic"),
    ("01 F9 F8", {"kind": "address_query", "address": ("short", 1), "bytes": "f9"}, "S-9.2.3 appendix A, lower bound"),
    ("6F F9 96", {"kind": "address_query", "address": ("short", 111)}, "S-9.2.3 appendix A, upper bound"),
    ("70 F9 89", {"kind": "reserved", "address": ("short", 112), "bytes": "f9"},
     "S-9.2.3 appendix A, beyond the bound"),
    ("03 F0 01 F2", {"kind": "reserved", "bytes": "f001"}, CV),
    ("03 FF FC", {"kind": "reserved", "bytes": "ff"}, CV),
    ("03 E4 00 00 E7", {"kind": "cv_access", "form": "long", "cv": 1, "operation": "verify_byte", "value": 0}, CV),
    ("03 E7 FF FF E4", {"kind": "cv_access", "form": "long", "cv": 1024, "operation": "verify_byte", "value": 255}, CV),
    ("03 EC 1C 06 F5", {"kind": "cv_access", "form": "long", "cv": 29, "operation": "write_byte", "value": 6}, CV),
    ("03 EF FF FF EC", {"kind": "cv_access", "cv": 1024, "operation": "write_byte", "value": 255,
                        "bytes": "efffff"}, CV),
    ("03 ED 00 80 6E", {"kind": "cv_access", "cv": 257, "operation": "write_byte", "value": 128}, CV),
    ("03 E8 1C E5 12", {"kind": "cv_access", "cv": 29, "operation": "verify_bit", "bit_value": 0, "bit": 5}, CV),
    ("03 E8 1C F8 0F", {"kind": "cv_access", "cv": 29, "operation": "write_bit", "bit_value": 1, "bit": 0}, CV),
    ("03 EB FF FF E8", {"kind": "cv_access", "cv": 1024, "operation": "write_bit", "bit_value": 1, "bit": 7}, CV),
    ("03 E8 1C 1F E8", {"kind": "unknown", "bytes": "e81c1f"}, "S-9.2.1 C, data is not 111CDBBB"),
    ("03 E0 00 00 E3", {"kind": "reserved", "bytes": "e00000"}, "S-9.2.1 C, CC = 00"),
    ("03 EC 00 EF", {"kind": "unknown", "bytes": "ec00"}, "S-9.2.1 C, data byte missing"),
    # Accessory decoders.
    ("81 F8 79", {"kind": "basic_accessory", "address": ("accessory", 1), "board": 1, "pair": 0, "output": 0,
               "activate": True, "linear_from_board_1": 1, "linear_from_board_0": 5, "bytes": "f8"},
     "S-9.2.1 D; S-9.2.2 CV 1 = 1, CV 9 = 0; linear number by RCN-213 from memory"),
    ("80 F0 70", {"kind": "basic_accessory", "address": ("accessory", 0), "board": 0, "pair": 0, "output": 0,
               "activate": False, "linear_from_board_1": None, "linear_from_board_0": 1}, D),
    ("BF 9F 20", {"kind": "basic_accessory", "address": ("accessory", 447), "board": 447, "pair": 3, "output": 1,
               "activate": True}, D),
    ("BE 8F 31", {"kind": "basic_accessory", "address": ("accessory", 510), "board": 510, "pair": 3, "output": 1,
               "activate": True, "linear_from_board_1": 2040, "linear_from_board_0": 2044}, D),
    ("80 E4 64", {"kind": "basic_accessory", "address": ("accessory", 64), "pair": 2, "output": 0,
                  "activate": False}, D),
    ("80 B3 33", {"kind": "basic_accessory", "address": ("accessory", 256), "pair": 1, "output": 1,
                  "activate": False}, D),
    ("BF 80 3F", {"kind": "basic_accessory", "address": ("accessory_broadcast",), "pair": 0, "output": 0,
               "activate": False}, "S-9.2.1 D, basic broadcast"),
    ("BF 8F 30", {"kind": "basic_accessory", "address": ("accessory_broadcast",), "pair": 3, "output": 1,
               "activate": True}, "S-9.2.1 D, basic broadcast"),
    ("80 71 00 F1", {"kind": "extended_accessory", "address": ("extended_accessory", 0), "aspect": 0,
                  "absolute_stop": True, "bytes": "7100"}, D),
    ("81 77 1F E9", {"kind": "extended_accessory", "address": ("extended_accessory", 7), "aspect": 31,
                  "absolute_stop": False}, D),
    ("BF 05 01 BB", {"kind": "extended_accessory", "address": ("extended_accessory", 2046), "aspect": 1}, D),
    ("BF 07 00 B8", {"kind": "extended_accessory", "address": ("accessory_broadcast",), "aspect": 0,
                  "absolute_stop": True}, "S-9.2.1 D, extended broadcast"),
    ("BF 07 1F A7", {"kind": "extended_accessory", "address": ("accessory_broadcast",), "aspect": 31},
     "S-9.2.1 D, extended broadcast"),
    ("81 F0 E4 00 00 95", {"kind": "accessory_cv_access", "address": ("accessory", 1), "target": ("decoder",), "cv": 1,
                        "operation": "verify_byte", "value": 0, "bytes": "f0e40000"}, D),
    ("81 F8 EF FF FF 96", {"kind": "accessory_cv_access", "target": ("output", 0), "cv": 1024,
                        "operation": "write_byte", "value": 255}, D),
    ("81 FF E9 00 EA 7D", {"kind": "accessory_cv_access", "target": ("output", 7), "cv": 257,
                        "operation": "verify_bit", "bit_value": 1, "bit": 2}, D),
    ("81 F0 E0 00 00 91", {"kind": "reserved", "address": ("accessory", 1), "bytes": "f0e00000"}, "S-9.2.1 D, CC = 00"),
    ("81 73 EC 1C 80 82", {"kind": "extended_accessory_cv_access", "address": ("extended_accessory", 5), "cv": 29,
                        "operation": "write_byte", "value": 128, "bytes": "73ec1c80"}, D),
    ("81 71 EB FF F7 13", {"kind": "extended_accessory_cv_access", "address": ("extended_accessory", 4), "cv": 1024,
                        "operation": "write_bit", "bit_value": 0, "bit": 7}, D),
    ("81 7C 00 00 FD", {"kind": "accessory_cv_access_legacy", "address": ("accessory", 1), "cv": 1, "value": 0,
                     "bytes": "7c0000"}, "S-9.2.1 appendix A, arithmetic"),
    ("81 7F FF FF FE", {"kind": "accessory_cv_access_legacy", "address": ("accessory", 1), "cv": 1024, "value": 255},
     "S-9.2.1 appendix A, arithmetic"),
    # Later additions, from memory.
    ("03 D8 01 DA", {"kind": "function_group_f29_up", "from_memory": True, "functions": {
        29: True, 30: False, 31: False, 32: False, 33: False, 34: False, 35: False, 36: False}}, M),
    ("03 D9 80 5A", {"kind": "function_group_f29_up", "from_memory": True, "functions": {
        37: False, 38: False, 39: False, 40: False, 41: False, 42: False, 43: False, 44: True}}, M),
    ("03 DA 02 DB", {"kind": "function_group_f29_up", "from_memory": True, "functions": {
        45: False, 46: True, 47: False, 48: False, 49: False, 50: False, 51: False, 52: False}}, M),
    ("03 DB 40 98", {"kind": "function_group_f29_up", "from_memory": True, "functions": {
        53: False, 54: False, 55: False, 56: False, 57: False, 58: False, 59: True, 60: False}}, M),
    ("03 DC 81 5E", {"kind": "function_group_f29_up", "from_memory": True, "functions": {
        61: True, 62: False, 63: False, 64: False, 65: False, 66: False, 67: False, 68: True}}, M),
    ("00 C1 3B D7 BF 92", {"kind": "model_time", "address": BC, "from_memory": True, "minute": 59, "weekday": 6,
                        "hour": 23, "u": 1, "b": 63}, M),
    ("00 C1 00 00 00 C1", {"kind": "model_time", "from_memory": True, "minute": 0, "weekday": 0, "hour": 0, "u": 0,
                        "b": 0}, M),
    ("00 C1 5F C7 D0 89", {"kind": "model_date", "address": BC, "from_memory": True, "day": 31, "month": 12,
                        "year": 2000}, M),
    ("00 C1 41 10 00 90", {"kind": "model_date", "from_memory": True, "day": 1, "month": 1, "year": 0}, M),
    ("00 C2 00 00 C2", {"kind": "system_time", "from_memory": True, "milliseconds": 0}, M),
    ("00 C2 FF FE C3", {"kind": "system_time", "from_memory": True, "milliseconds": 65534}, M),
    ("03 3C 82 01 BC", {"kind": "speed_direction_functions", "from_memory": True, "direction": "forward",
                        "speed_128": 1,
                     "functions": {0: True, 1: False, 2: False, 3: False, 4: False, 5: False, 6: False, 7: False}}, M),
    ("03 3C 7F 00 00 00 80 C0", {"kind": "speed_direction_functions", "from_memory": True, "direction": "reverse",
                              "speed_128": 126, "functions": {
                                  **{number: False for number in range(31)}, 31: True}}, M),
    ("03 F4 C4 57 64", {"kind": "cv_pair_write", "from_memory": True, "cvs": {17: 196, 18: 87}}, M),
    ("03 F5 10 FF 19", {"kind": "cv_pair_write", "from_memory": True, "cvs": {31: 16, 32: 255}}, M),
    ("03 E4 00 00 E0 07", {"kind": "extended_cv_access", "from_memory": True, "operation": "read", "sequence": 0,
                           "cv_bits": 0xE0, "data": ""}, M),
    ("03 EF FF FF FF 01 02 03 04 17", {"kind": "extended_cv_access", "from_memory": True, "operation": "write",
                                    "sequence": 3, "cv_bits": 16777215, "data": "01020304"}, M),
    ("03 E9 00 01 00 FD 16", {"kind": "extended_cv_access", "from_memory": True, "operation": "write_bit",
                           "sequence": 1, "cv_bits": 256, "data": "fd"}, M),
    ("81 78 F9", {"kind": "accessory_nop", "address": ("extended_accessory", 4), "from_memory": True, "t": 0}, M),
    ("BE 0F B1", {"kind": "accessory_nop", "address": ("extended_accessory", 2043), "from_memory": True, "t": 1}, M),
    ("80 71 FF 0E", {"kind": "extended_accessory", "from_memory": True, "aspect": 255, "absolute_stop": False}, M),
    ("80 71 20 D1", {"kind": "extended_accessory", "from_memory": True, "aspect": 32}, M),
]

# One packet, several instructions (S-9.2.1 C).
SEVERAL: list[tuple[str, list[Fields], str]] = [
    ("03 3F 82 90 B1 9F", [
        {"kind": "speed_128", "bytes": "3f82", "speed_128": 1},
        {"kind": "function_group_one", "bytes": "90", "fl": True},
        {"kind": "function_group_two", "bytes": "b1"}], "S-9.2.1 C, more than one instruction"),
    ("C4 57 62 0F FE", [
        {"kind": "speed_and_direction", "address": ("long", 1111), "bytes": "62"},
        {"kind": "acknowledgement_request", "address": ("long", 1111), "d": 1}], "S-9.2.1 C, 00001111 may share"),
    ("03 12 05 0F 1B", [
        {"kind": "set_consist", "consist_address": 5},
        {"kind": "acknowledgement_request", "d": 1}], "S-9.2.1 C, 00001111 excepted from the class rule"),
    ("03 0F 12 05 1B", [
        {"kind": "acknowledgement_request", "d": 1},
        {"kind": "set_consist", "consist_address": 5}], "S-9.2.1 C, 00001111 excepted from the class rule"),
    ("03 00 12 05 14", [
        {"kind": "digital_decoder_reset", "bytes": "00"},
        {"kind": "unknown", "bytes": "1205"}], "S-9.2.1 C, at most one of class 000"),
    ("03 3F 82 3F 83 02", [
        {"kind": "speed_128", "bytes": "3f82"},
        {"kind": "unknown", "bytes": "3f83"}], "S-9.2.1 C, at most one of class 001"),
    ("03 F2 01 F3 01 02", [
        {"kind": "cv_access", "cv": 23, "bytes": "f201"},
        {"kind": "unknown", "bytes": "f301"}], "S-9.2.1 C, at most one of class 111"),
    ("03 0B 3F 82 90 25", [
        {"kind": "set_extended_addressing", "d": 1},
        {"kind": "speed_128", "speed_128": 1},
        {"kind": "function_group_one", "fl": True}], "S-9.2.1 C, one each of classes 000 and 001"),
    ("03 80 81 82 83 03", [
        {"kind": "function_group_one", "bytes": "80"}, {"kind": "function_group_one", "bytes": "81"},
        {"kind": "function_group_one", "bytes": "82"}, {"kind": "function_group_one", "bytes": "83"}],
     "S-9.2.1 C, no limit for class 100"),
    ("03 12 85 90 04", [
        {"kind": "reserved", "bytes": "1285"}, {"kind": "function_group_one", "bytes": "90"}],
     "S-9.2.1 C, reserved bytes of known length"),
    ("03 EC 00 05 90 7A", [
        {"kind": "cv_access", "form": "long", "cv": 1, "value": 5, "bytes": "ec0005",
         "also": {"kind": "extended_cv_access", "from_memory": True, "operation": "write", "sequence": 0,
                  "cv_bits": 0x000590, "data": "", "bytes": "ec000590"}},
        {"kind": "function_group_one", "bytes": "90"}], "S-9.2.1 C, and from memory RCN-214: both readings"),
    ("03 E4 00 00 00 E7", [
        {"kind": "cv_access", "form": "long", "cv": 1, "operation": "verify_byte", "value": 0, "bytes": "e40000",
         "also": {"kind": "extended_cv_access", "from_memory": True, "operation": "read", "sequence": 0, "cv_bits": 0}},
        {"kind": "digital_decoder_reset", "bytes": "00"}], "S-9.2.1 C, and from memory RCN-214: both readings"),
    ("00 80 81 01", [
        {"kind": "function_group_one", "address": BC, "bytes": "80"}, {"kind": "unknown", "bytes": "81"}],
     "S-9.2.1 B, broadcast speaks of a single instruction"),
]

# Service mode (S-9.2.3 E): all readings of one packet, in any order.
SERVICE: list[tuple[str, list[Fields], str]] = [
    ("74 00 00 74", [{"kind": "service_direct", "cv": 1, "operation": "verify_byte", "value": 0}], E),
    ("77 FF FF 77", [{"kind": "service_direct", "cv": 1024, "operation": "verify_byte", "value": 255}], E),
    ("7C 00 03 7F", [{"kind": "service_direct", "cv": 1, "operation": "write_byte", "value": 3}], E),
    ("7F FF FF 7F", [{"kind": "service_direct", "cv": 1024, "operation": "write_byte", "value": 255}], E),
    ("78 1C E0 84", [{"kind": "service_direct", "cv": 29, "operation": "verify_bit", "bit_value": 0, "bit": 0}], E),
    ("7B FF FF 7B", [{"kind": "service_direct", "cv": 1024, "operation": "write_bit", "bit_value": 1, "bit": 7}], E),
    ("78 1C 1F 7B", [{"kind": "unknown", "bytes": "781c1f"}], "S-9.2.3 E, data is not 111KDBBB"),
    ("70 00 70", [
        {"kind": "service_register", "decoder": "multi_function", "register": 1, "target": ("cv", 1),
         "operation": "verify_byte", "value": 0},
        {"kind": "service_register", "decoder": "accessory", "register": 1, "target": ("cv", 513)},
        {"kind": "service_paged", "register": 1, "data_register": 0, "operation": "verify_byte"},
        {"kind": "service_address_only", "cv": 1, "operation": "verify_byte", "value": 0}], E),
    ("78 7F 07", [
        {"kind": "service_register", "decoder": "multi_function", "register": 1, "target": ("cv", 1),
         "operation": "write_byte", "value": 127},
        {"kind": "service_register", "decoder": "accessory", "register": 1, "target": ("cv", 513)},
        {"kind": "service_paged", "register": 1, "data_register": 0, "operation": "write_byte"},
        {"kind": "service_address_only", "cv": 1, "operation": "write_byte", "value": 127}], E),
    ("78 80 F8", [
        {"kind": "service_register", "decoder": "multi_function", "target": ("cv", 1), "value": 128},
        {"kind": "service_register", "decoder": "accessory", "target": ("cv", 513), "value": 128},
        {"kind": "service_paged", "register": 1, "value": 128}], "S-9.2.3 E, not address only: bit 7 is 1"),
    ("79 05 7C", [
        {"kind": "service_register", "decoder": "multi_function", "register": 2, "target": ("cv", 2)},
        {"kind": "service_register", "decoder": "accessory", "register": 2, "target": None},
        {"kind": "service_paged", "register": 2, "data_register": 1}], E),
    ("72 05 77", [
        {"kind": "service_register", "decoder": "multi_function", "register": 3, "target": ("cv", 3)},
        {"kind": "service_register", "decoder": "accessory", "register": 3, "target": None},
        {"kind": "service_paged", "register": 3, "data_register": 2}], E),
    ("7B FF 84", [
        {"kind": "service_register", "decoder": "multi_function", "register": 4, "target": ("cv", 4), "value": 255},
        {"kind": "service_register", "decoder": "accessory", "register": 4, "target": None},
        {"kind": "service_paged", "register": 4, "data_register": 3}], E),
    ("7C 06 7A", [
        {"kind": "service_register", "decoder": "multi_function", "register": 5, "target": ("cv", 29)},
        {"kind": "service_register", "decoder": "accessory", "register": 5, "target": None}], E),
    ("7D 11 6C", [
        {"kind": "service_register", "decoder": "multi_function", "register": 6, "target": ("page_register",)},
        {"kind": "service_register", "decoder": "accessory", "register": 6, "target": None},
        {"kind": "service_page_register", "operation": "write_byte", "page": 17}], E),
    ("76 00 76", [
        {"kind": "service_register", "decoder": "multi_function", "register": 7, "target": ("cv", 7)},
        {"kind": "service_register", "decoder": "accessory", "register": 7, "target": ("cv", 7)}], E),
    ("77 FF 88", [
        {"kind": "service_register", "decoder": "multi_function", "register": 8, "target": ("cv", 8)},
        {"kind": "service_register", "decoder": "accessory", "register": 8, "target": ("cv", 520)}], E),
    ("7D 01 7C", [
        {"kind": "service_register", "decoder": "multi_function", "register": 6, "target": ("page_register",)},
        {"kind": "service_register", "decoder": "accessory", "register": 6, "target": None},
        {"kind": "service_page_register", "page": 1},
        {"kind": "service_page_preset", "page": 1}], "S-9.2.3 E, page preset, worked value 7D 01 7C"),
    ("7F 08 77", [
        {"kind": "service_register", "decoder": "multi_function", "register": 8, "target": ("cv", 8), "value": 8},
        {"kind": "service_register", "decoder": "accessory", "register": 8, "target": ("cv", 520)},
        {"kind": "service_factory_reset"}], "S-9.2.3 E, factory reset, worked value 7F 08 77"),
    ("37 74 43", [], "S-9.2.3 E, first byte is not 0111xxxx"),
]

# (page, register, CV) in paged mode.
PAGES: list[tuple[int, int, int, str]] = [
    (17, 1, 65, "S-9.2.3 E, worked value: CV 65 is page 17, register 1"),
    (1, 1, 1, "S-9.2.3 E, after page preset, arithmetic"),
    (1, 4, 4, "S-9.2.3 E, after page preset, arithmetic"),
    (255, 4, 1020, E),
]
