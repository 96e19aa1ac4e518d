"""The checksum of advanced extended packets, to addresses 253 and 254."""

from __future__ import annotations

__all__ = ["crc8"]

#: x^8 + x^5 + x^4 + 1 without the x^8 term, lowest bit first.
_POLYNOMIAL = 0b1000_1100


def crc8(data: bytes) -> int:
    """CRC-8: x^8 + x^5 + x^4 + 1, least significant bit first, starting at 0 (S-9.2.1.1, RCN-218, from memory).

    :return: 0 to 255; 0 if the data ends with its own correct CRC-8.
    """
    value = 0
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (_POLYNOMIAL if value & 1 else 0)
    return value
