"""Every packet of two and three bytes, and every two first bytes of longer ones.

The counts are worked out from the patterns of S-9.2, S-9.2.1 and S-9.2.3 by hand, with the arithmetic
beside them, and not from the registry.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

import pytest

from halfbit.instruction import STANDARD, Instruction
from halfbit.simulate.signal import with_error_byte

PAIRS = [bytes((first, second)) for first in range(256) for second in range(256)]


def _read(bodies: Iterable[bytes]) -> Iterator[tuple[Instruction, ...]]:
    """Read each packet, and check that it comes back to the same bytes."""
    for body in bodies:
        data = with_error_byte(body)
        read = STANDARD.decode(data)
        assert len(read) >= 1
        assert STANDARD.encode_packet(read) == data, body.hex()
        yield read


def _first(bodies: Iterable[bytes]) -> Counter[str]:
    """How often each class is the first in a packet."""
    return Counter(type(read[0]).__name__ for read in _read(bodies))


def test_packets_of_two_bytes() -> None:
    counts = _first(bytes((first,)) for first in range(256))
    # Addresses 232 to 254 are reserved: 23. All others have no room for an instruction.
    assert counts == {"Reserved": 23, "Unknown": 256 - 23}


def test_packets_of_three_bytes_to_multi_function_decoders() -> None:
    bodies = [pair for pair in PAIRS if pair[0] < 128]
    assert _first(bodies) == {
        # 128 addresses: broadcast and 1 to 127.
        "DigitalDecoderReset": 128,  # 00000000
        "HardReset": 128,  # 00000001
        "FactoryTest": 2 * 128,  # 0000001F
        "SetExtendedAddressing": 2 * 128,  # 0000101D
        "DecoderAcknowledgementRequest": 2 * 128,  # 0000111D
        # 01DCSSSS: 64 to each, but 01DC000S (8) to broadcast is the stop.
        "SpeedAndDirection": 64 * 128 - 8,
        "BroadcastStop": 8,
        "FunctionGroupOne": 32 * 128,  # 100LDDDD
        "FunctionGroupTwo": 32 * 128,  # 1011DDDD, 1010DDDD
        "AddressQuery": 111,  # 11111001 to 1 to 111
        # 0000010D, 0000100D, 0000110D: 6. 0001CCCC: 16 less 2 of consist control. 001CCCCC: 32 less 4
        # that are in use. 110CCCCC: 32 less 9 in use (11000000, 11011000 to 11011111), to broadcast
        # less 2 more (11000001, 11000010). 111000VV: 4. 1111CCCC: 16 less 4 (11110010 to 11110101), and less 11111001
        # to broadcast and to 1 to 111.
        "Reserved": 128 * (6 + 14 + 28 + 23 + 4 + 12) - 2 - 112,
        # Cut short, for they need more bytes: 0000011D 2, 0001001D 2, 001111xx 4, 110: 9 and to broadcast
        # 2 more, 1110CCVV with CC not 00: 12, 1111: 4, and to broadcast 11111001.
        "Unknown": 128 * (2 + 2 + 4 + 9 + 12 + 4) + 2 + 1,
    }


def test_packets_of_three_bytes_to_others() -> None:
    bodies = [pair for pair in PAIRS if pair[0] >= 128]
    assert _first(bodies) == {
        "BasicAccessory": 64 * 128,  # 10AAAAAA 1AAACDDD
        "AccessoryNop": 64 * 64,  # 10AAAAAA 0AAA1AAT
        "Reserved": 23 * 256,  # addresses 232 to 254
        "Idle": 1,
        # 10AAAAAA 0AAA0..., a long address (192 to 231) and nothing behind it, and address 255 with
        # anything but 0.
        "Unknown": 64 * 64 + 40 * 256 + 255,
    }


def test_kinds_of_address_in_packets_of_three_bytes() -> None:
    kinds = Counter(read[0].address.kind for read in _read(PAIRS))
    assert kinds == {
        "broadcast": 256,
        "short": 127 * 256,
        # 10AAAAAA 1AAACDDD less 10111111 1000CDDD (16), and NOP with T = 0: 64 * 32.
        "accessory": 64 * 128 - 16 + 64 * 32,
        "accessory broadcast": 16,
        "extended accessory": 64 * 32,  # NOP with T = 1
        # Accessory packets of no known form.
        "unresolved": 64 * 64,
        "long": 40 * 256,
        "reserved": 23 * 256,
        "idle": 256,
    }


def test_two_instruction_bytes_and_two_more_behind_a_short_address() -> None:
    # Behind each pair stand two more bytes 10000000 (function group one, all off).
    counts = _first(b"\x03" + pair + b"\x80\x80" for pair in PAIRS)
    assert counts == {
        "DigitalDecoderReset": 256,
        "HardReset": 256,
        "FactoryTest": 2 * 256,
        "SetDecoderFlags": 2 * 128,  # 0000011D CCCC0SSS
        "SetExtendedAddressing": 2 * 256,
        "DecoderAcknowledgementRequest": 2 * 256,
        "ConsistControl": 2 * 128,  # 0001001D 0AAAAAAA
        "SpeedControl128": 256,
        "RestrictedSpeedStep": 128,  # 00111110 E0SSSSSS
        "AnalogFunction": 256,
        "SpeedDirectionFunctions": 256,
        "SpeedAndDirection": 64 * 256,
        "FunctionGroupOne": 32 * 256,
        "FunctionGroupTwo": 32 * 256,
        "BinaryStateLong": 256,
        "BinaryStateShort": 256,
        "FunctionExpansion": 7 * 256,  # 11011000 to 11011100, 11011110, 11011111
        "CvVerifyByte": 4 * 256,
        "CvWriteByte": 4 * 256,
        "CvShortForm": 2 * 256,
        "CvShortFormPair": 2 * 256,
        "AddressQuery": 256,
        "Reserved": (6 + 14 + 28 + 23 + 4 + 11) * 256,
        # 0000011D CCCC1SSS 2 * 128, 0001001D 1... 2 * 128, 00111110 E1... 128, and bit manipulation
        # (4 * 256) whose data byte is not 111CDBBB.
        "Unknown": 2 * 128 + 2 * 128 + 128 + 4 * 256,
    }
    assert sum(counts.values()) == 65536


def test_two_instruction_bytes_and_two_more_behind_broadcast() -> None:
    counts = _first(b"\x00" + pair + b"\x80\x80" for pair in PAIRS)
    assert counts["DecoderLock"] == 128  # 11111001 0AAAAAAA
    assert counts["ModelTime"] == 64  # 11000001 00MMMMMM
    assert counts["ModelDate"] == 32  # 11000001 010TTTTT
    assert counts["SystemTime"] == 256  # 11000010
    assert counts["BroadcastStop"] == 8 * 256
    assert counts["SpeedAndDirection"] == 56 * 256
    assert counts["AddressQuery"] == 0
    # As behind a short address, and 11000001 with neither of its forms, 11111001 1...
    assert counts["Unknown"] == 2 * 128 + 2 * 128 + 128 + 4 * 256 + (256 - 64 - 32) + 128


@pytest.mark.parametrize(
    ("rest", "expected"),
    [
        # 1AAACDDD with CDDD = 0000 or C = 1 (8 * 9), 0AAA0AA1 (32).
        ("E40005", {"CvVerifyByte": 64 * (72 + 32), "Unknown": 64 * (256 - 104)}),
        ("EFFFFF", {"CvWriteByte": 64 * (72 + 32), "Unknown": 64 * (256 - 104)}),
        ("E800FF", {"CvBitManipulation": 64 * (72 + 32), "Unknown": 64 * (256 - 104)}),
        ("E800DF", {"Unknown": 64 * 256}),  # the data byte is not 111CDBBB
        # CC = 00: 1AAACDDD (128) and 0AAA0AA1 (32).
        ("E00005", {"Reserved": 64 * 160, "Unknown": 64 * 96}),
        ("0005", {"LegacyCvAccess": 64 * 32, "Unknown": 64 * 224}),  # 0AAA11VV
        ("05", {"ExtendedAccessory": 64 * 32, "Unknown": 64 * 224}),  # 0AAA0AA1
    ],
)
def test_longer_accessory_packets(rest: str, expected: dict[str, int]) -> None:
    bodies = [pair + bytes.fromhex(rest) for pair in PAIRS if 128 <= pair[0] < 192]
    assert _first(bodies) == expected


@pytest.mark.parametrize("rest", ["00", "FF", "3F80", "C001", "E4FF11", "1080FF55", "FF0011AA77"])
def test_any_two_bytes_at_the_head_of_a_longer_packet(rest: str) -> None:
    tail = bytes.fromhex(rest)
    assert sum(1 for _ in _read(pair + tail for pair in PAIRS)) == 65536


@pytest.mark.parametrize(
    ("rest", "expected"),
    [
        # Register and paged mode: 16 first bytes; page preset and factory reset are one packet each.
        ("", {"RegisterAccess": 16 * 256 - 2, "PagePreset": 1, "FactoryReset": 1}),
        # Direct mode: four first bytes each.
        (
            "FF",
            {
                "Reserved": 4 * 256,
                "DirectVerifyByte": 4 * 256,
                "DirectBitManipulation": 4 * 256,
                "DirectWriteByte": 4 * 256,
            },
        ),
        # The data byte is not 111KDBBB.
        (
            "1F",
            {
                "Reserved": 4 * 256,
                "DirectVerifyByte": 4 * 256,
                "Unknown": 4 * 256,
                "DirectWriteByte": 4 * 256,
            },
        ),
    ],
)
def test_service_mode(rest: str, expected: dict[str, int]) -> None:
    counts: Counter[str] = Counter()
    for pair in PAIRS:
        if pair[0] >> 4 == 0b0111:
            data = with_error_byte(pair + bytes.fromhex(rest))
            (read,) = STANDARD.decode_service(data)
            assert read.encode() == data
            counts[type(read).__name__] += 1
    assert counts == expected
