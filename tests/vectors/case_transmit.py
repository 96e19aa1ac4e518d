"""Cases for the limits a station must keep (S-9.1 A, table 1, station's column)."""

from __future__ import annotations

from halfbit.limits import US
from halfbit.simulate.signal import Timing, with_error_byte
from tests.vectors.case_spec import A, ANYTHING, B, CaseSpec, ones, packet

__all__ = ["transmit_cases"]

TABLE = "S-9.1 A, table 1"


def transmit_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    specs = []
    for half in (55, 58, 61):
        durations = ones(20, half, half) + packet(A, 14, Timing(half * US, half * US))
        text = f"every half of a one-bit lasts {half} us"
        specs.append(CaseSpec(f"one-{half}", "half-bit windows", TABLE, text, durations, (A,)))
    for half in (54, 62):
        durations = ones(20) + packet(B) + packet(A, 14, Timing(half * US, half * US)) + packet(B)
        text = f"every half of a packet's one-bits lasts {half} us: a station must not send it"
        specs.append(CaseSpec(f"one-{half}", "half-bit windows", TABLE, text, durations, (B, ANYTHING, B)))
    for first, last, sound in ((55, 58, True), (58, 61, True), (55, 59, False), (61, 57, False)):
        durations = ones(20) + packet(A, 14, Timing(first * US, last * US)) + packet(B)
        text = f"halves of one-bits last {first} and {last} us: at most 3 us apart is allowed"
        gives = (A, B) if sound else (ANYTHING, B)
        specs.append(CaseSpec(f"ones-{first}-{last}", "halves of a one-bit", TABLE, text, durations, gives))
    for half, sound in ((95, True), (94, False), (5_000, True)):
        durations = ones(20) + packet(A, 14, Timing(zero_first=half * US, zero_last=half * US)) + packet(B)
        text = f"every half of a zero-bit lasts {half} us"
        specs.append(CaseSpec(f"zero-{half}", "half-bit windows", TABLE, text, durations,
                             (A, B) if sound else (ANYTHING, B)))  # fmt: skip
    for first, last, sound in ((9_900, 2_100, True), (2_100, 9_900, True), (6_000, 6_000, True),
                               (9_900, 2_101, False), (6_001, 6_000, False), (9_901, 100, False)):  # fmt: skip
        halves = packet(A)
        durations = ones(20) + [*halves[:30], first, last, *halves[32:]] + packet(B)
        text = f"one zero-bit's halves last {first} and {last} us: 9900 each and 12000 together are allowed"
        specs.append(CaseSpec(f"zero-{first}-{last}", "stretched zeros", TABLE, text, durations,
                             (A, B) if sound else (ANYTHING, B)))  # fmt: skip
    halves = packet(A)
    durations = ones(20) + [*halves[:28], 6_001, 6_000, *halves[30:]] + packet(B)
    text = "the start bit's halves last 6001 and 6000 us, more than 12000 together: the packet never starts"
    specs.append(CaseSpec("zero-6001-6000-start", "stretched zeros", TABLE, text, durations, ("ZERO_TOO_LONG", ANYTHING, B)))
    for count, sound in ((14, True), (13, True), (12, False)):
        durations = ones(20) + packet(B) + packet(A, count) + packet(B)
        text = f"{count} one-bits and the end bit before them: a station sends 14"
        specs.append(CaseSpec(f"preamble-{count}", "preamble length", "S-9.2 A", text, durations,
                             (B, A, B) if sound else (B, "SHORT_PREAMBLE", B)))  # fmt: skip
    for length, sound in ((6, True), (7, False)):
        data = with_error_byte(bytes(range(3, 2 + length)))
        text = f"{length} bytes: extended packets have up to 6"
        durations = ones(20) + packet(B) + packet(data) + packet(A)
        specs.append(CaseSpec(f"bytes-{length}", "packet lengths", "S-9.2.1, introduction", text, durations,
                             (B, data, A) if sound else (B, "MANY_BYTES", A)))  # fmt: skip
    return tuple(specs)
