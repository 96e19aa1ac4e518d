"""Cases about packets: preambles, starts and ends, lengths, the error detection byte."""

from __future__ import annotations

from halfbit.simulate.signal import packet_bits, with_error_byte
from tests.vectors.case_spec import A, ANYTHING, B, LEAD, CaseSpec, ones, packet, sent

__all__ = ["packet_cases"]


def packet_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    return (*_bytes(), *_preambles(), *_run_on(), *_inside(), *_lengths(), *_error_byte())


def _bytes() -> list[CaseSpec]:
    rule, source = "bytes", "S-9.2 A"
    specs = [
        CaseSpec("two-packets", rule, source, "two packets, 14 one-bits each", packet(A) + packet(B), (A, B))
    ]
    for place in range(8):
        data = with_error_byte(bytes((1 << place, 0)))
        text = f"one bit is set in the first byte and the error byte: that of value {1 << place}"
        specs.append(CaseSpec(f"bit-{place}", rule, source, text, packet(data), (data,)))
    for byte in (0x00, 0xFF, 0x55, 0xAA, 0x0F, 0xF0):
        data = with_error_byte(bytes((byte, byte ^ 0xFF)))
        text = f"bytes {data.hex(' ').upper()}"
        specs.append(CaseSpec(f"byte-{byte:02X}", rule, source, text, packet(data) + packet(A), (data, A)))
    return specs


def _preambles() -> list[CaseSpec]:
    rule, source = "preamble length", "S-9.2 A"
    specs = []
    for count in (10, 11, 12, 13, 14, 20, 21, 40):
        text = f"{count} one-bits are a preamble: ten are, and none may require more than twelve"
        specs.append(CaseSpec(f"preamble-{count}", rule, source, text, packet(A, count), (A,)))
    for count in (0, 1, 5, 8):
        text = f"{count} one-bits and the end bit of the packet before are no preamble; the packet after is decoded"
        durations = packet(B) + packet(A, count) + packet(B)
        specs.append(CaseSpec(f"preamble-{count}", rule, source, text, durations, (B, "SHORT_PREAMBLE", B)))
    text = "the capture starts with nine one-bits: too few for a preamble"
    durations = packet(A, 9) + packet(B)
    specs.append(CaseSpec("preamble-9-alone", rule, source, text, durations, (ANYTHING, B)))
    text = "nine one-bits and the end bit of the packet before, which may count: ten"
    durations = packet(B) + packet(A, 9) + packet(B)
    specs.append(CaseSpec("preamble-9-and-end-bit", "end bit counts", source, text, durations, (B, A, B)))
    text = "eight one-bits and the end bit, after a packet whose last byte is FF: its ones do not count"
    data = with_error_byte(bytes((0x0F, 0xF0)))
    durations = packet(data) + packet(A, 8) + packet(B)
    specs.append(CaseSpec("preamble-8-after-FF", "end bit counts", source, text, durations, (data, "SHORT_PREAMBLE", B)))
    for count in (100, 254, 255, 256, 257, 300, 600):
        text = f"{count} one-bits: counts stop at 255"
        specs.append(CaseSpec(f"preamble-{count}", "counts stop", "common practice, no source",
                             text, packet(A, count), (A,)))  # fmt: skip
        text = f"half a one-bit and {count} one-bits: counts stop at 255 in either pairing"
        specs.append(CaseSpec(f"preamble-{count}-odd", "counts stop", "common practice, no source",
                             text, [58, *packet(A, count)], (A,)))  # fmt: skip
    return specs


def _run_on() -> list[CaseSpec]:
    """Preambles whose first bits were taken for something else."""
    rule, source = "preamble after an error", "S-9.2 A"
    specs = []
    head = sent(packet_bits(A[:-1], 14)[:-1])  # A up to its second byte, without error byte and end bit
    for swallowed in range(10, 23):
        text = f"A breaks off before a separator, {swallowed} one-bits of the next preamble follow"
        durations = ones(LEAD) + head + packet(B, swallowed) + packet(A)
        specs.append(CaseSpec(f"breaks-off-{swallowed}", rule, source, text, durations, (ANYTHING, B, A)))
    for bits in range(1, 9):
        torn = sent(packet_bits(A, 14)[: 14 + 9 + bits])
        text = f"A breaks off {bits} bit(s) into its second byte: one-bits fill it and end the packet, and are a preamble"
        durations = ones(LEAD) + torn + packet(B, 20) + packet(A)
        specs.append(CaseSpec(f"breaks-off-in-byte-{bits}", rule, source, text, durations, ("FEW_BYTES", B, A)))
    wrong = bytes((3, 0x3F, 0xAA, 0x00))
    text = "after a wrong error byte its end bit and nine one-bits are a preamble"
    durations = ones(LEAD) + packet(wrong) + packet(B, 9) + packet(A)
    specs.append(CaseSpec("wrong-then-nine", rule, source, text, durations, ("ERROR_BYTE", B, A)))
    wrong = bytes((3, 0x3F, 0xAA, 0xFF))
    text = "the error byte was preamble: FF, end bit, and one more one-bit are ten, and the packet after is decoded"
    durations = ones(LEAD) + packet(wrong) + packet(B, 1) + packet(A)
    specs.append(CaseSpec("error-byte-was-preamble", rule, source, text, durations, ("ERROR_BYTE", B, A)))
    text = "error byte FF and end bit are nine one-bits, and a zero follows: one short of a preamble"
    durations = ones(LEAD) + packet(wrong) + packet(B, 0) + packet(A)
    specs.append(CaseSpec("error-byte-nine", rule, source, text, durations, ("ERROR_BYTE", A)))
    text = "a start bit among the ones of a preamble, ten after it"
    durations = ones(5) + sent([0]) + packet(A, 10) + packet(B)
    specs.append(CaseSpec("zero-in-preamble", rule, source, text, durations, (ANYTHING, B)))
    return specs


def _inside() -> list[CaseSpec]:
    rule, source = "ten ones inside", "S-9.2 A"
    specs = []
    for count in (9, 10):
        bits = packet_bits(A, 14)[: 14 + 9] + [0] + [1] * count
        text = f"{count} one-bits where a byte should be, then a zero"
        durations = ones(LEAD) + sent([*bits, 0, 0]) + packet(B) + packet(A)
        specs.append(CaseSpec(f"ones-inside-{count}", rule, source, text, durations, (ANYTHING, B, A)))
    text = "one-bits without end after a start bit"
    durations = ones(LEAD) + sent([0]) + ones(40) + packet(A, 0)
    specs.append(CaseSpec("ones-after-start", rule, source, text, durations, ("FEW_BYTES", A)))
    data = with_error_byte(bytes((0xFF, 0xFF, 0x01)))
    text = "bytes FF: eight ones and the bit after them are nine in a row, which a packet may hold"
    specs.append(CaseSpec("ff-ff", rule, source, text, packet(data) + packet(A), (data, A)))
    return specs


def _lengths() -> list[CaseSpec]:
    specs = []
    for length in range(3, 16):
        data = with_error_byte(bytes(range(3, 2 + length)))
        source = "S-9.2 A and S-9.2.1, introduction" if length <= 6 else "from memory: later documents have longer packets"
        text = f"a packet of {length} bytes"
        durations = packet(data) + packet(A)
        specs.append(CaseSpec(f"bytes-{length}", "packet lengths", source, text, durations, (data, A)))
    for length in (1, 2):
        data = bytes((0x41, 0x41))[:length]
        text = f"an end bit after {length} byte(s), though their exclusive or may be 0: no packet has so few"
        durations = packet(B) + packet(data) + packet(A)
        specs.append(CaseSpec(f"bytes-{length}", "packet lengths", "S-9.2 A", text, durations, (B, "FEW_BYTES", A)))
    text = "one byte 00: its exclusive or is 0, it is no packet all the same"
    durations = packet(B) + packet(bytes(1)) + packet(A)
    specs.append(CaseSpec("bytes-1-zero", "packet lengths", "S-9.2 A", text, durations, (B, "FEW_BYTES", A)))
    for length in (16, 17, 40):
        data = with_error_byte(bytes(length - 1))
        text = f"{length} bytes without an end bit: more than any packet has"
        durations = packet(B) + packet(data) + packet(A)
        specs.append(CaseSpec(f"bytes-{length}", "packet lengths", "common practice, no source",
                             text, durations, (B, "MANY_BYTES", A)))  # fmt: skip
    text = "zeros without end after a packet"
    durations = packet(B) + packet(bytes(20))[:-2] + sent([0] * 50) + packet(A)
    specs.append(CaseSpec("zeros-without-end", "packet lengths", "common practice, no source",
                         text, durations, (B, "MANY_BYTES", A)))  # fmt: skip
    return specs


def _error_byte() -> list[CaseSpec]:
    rule, source = "error detection byte", "S-9.2 A"
    specs = []
    for place in range(8 * len(A)):
        wrong = bytearray(A)
        wrong[place // 8] ^= 0x80 >> place % 8
        text = f"bit {place} of a packet is wrong, counted from the first: no single wrong bit goes unseen"
        durations = packet(B) + packet(bytes(wrong)) + packet(A)
        specs.append(CaseSpec(f"wrong-bit-{place}", rule, source, text, durations, (B, "ERROR_BYTE", A)))
    for error in (0x00, 0xFF):
        wrong = bytearray((*A[:-1], error))
        text = f"the error byte is {error:02X}"
        durations = packet(B) + packet(bytes(wrong)) + packet(A)
        specs.append(CaseSpec(f"error-byte-{error:02X}", rule, source, text, durations, (B, "ERROR_BYTE", A)))
    return specs
