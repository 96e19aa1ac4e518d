"""Cases about half-bits and bits: the windows, the halves' difference, stretched zeros, the phase."""

from __future__ import annotations

from halfbit.limits import US
from halfbit.simulate.signal import Timing, with_error_byte
from tests.vectors.case_spec import A, ANYTHING, B, LEAD, CaseSpec, ones, packet

__all__ = ["window_cases"]

TABLE = "S-9.1 A, table 1"

#: Places in A's durations behind LEAD one-bits: the first half of a preamble bit, of the start bit, of
#: data bits 0 and 1, of a separator, of the end bit.
PREAMBLE, START, DATA_ZERO, DATA_ONE, SEPARATOR = 8, 28, 30, 42, 46
END = 28 + 2 * 9 * 4


def _with(place: int, *halves: int) -> list[int]:
    """A, with other halves from a place on."""
    durations = packet(A)
    return [*durations[:place], *halves, *durations[place + len(halves) :]]


def _timed(first_one: int, last_one: int, first_zero: int, last_zero: int) -> Timing:
    return Timing(first_one * US, last_one * US, first_zero * US, last_zero * US)


def window_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    return (*_accepted(), *_refused(), *_difference(), *_zeros(), *_phase())


def _accepted() -> list[CaseSpec]:
    rule = "half-bit windows"
    specs = []
    for half in (52, 53, 58, 63, 64):
        text = f"every half of a one-bit lasts {half} us: inside the window"
        durations = ones(LEAD, half, half) + packet(A, timing=_timed(half, half, 100, 100))
        specs.append(CaseSpec(f"one-{half}", rule, TABLE, text, durations, (A,)))
    for half in (90, 91, 100, 9_999, 10_000):
        text = f"every half of a zero-bit lasts {half} us: inside the window"
        durations = ones(LEAD) + packet(A, timing=_timed(58, 58, half, half))
        specs.append(CaseSpec(f"zero-{half}", rule, TABLE, text, durations, (A,)))
    return specs


def _refused() -> list[CaseSpec]:
    rule = "half-bit windows"
    specs = []
    kinds = {0: "SHORT", 1: "SHORT", 51: "SHORT", 65: "GAP", 77: "GAP", 89: "GAP",
             10_001: "LONG", 20_000: "LONG", 65_594: "LONG", 131_172: "LONG", 3_000_000: "LONG"}  # fmt: skip
    for half, kind in kinds.items():
        for part, place in (("first", DATA_ONE), ("last", DATA_ONE + 1)):
            text = f"the {part} half of a data bit lasts {half} us, which fits no half-bit; a packet follows"
            durations = ones(LEAD) + _with(place, half) + packet(B)
            specs.append(CaseSpec(f"half-{half}-{part}", rule, TABLE, text, durations, (kind, B)))
    for half, kind in ((20, "SHORT"), (77, "GAP"), (20_000, "LONG")):
        text = f"a single duration of {half} us, and nothing else"
        specs.append(CaseSpec(f"alone-{half}", rule, TABLE, text, [half], (kind,)))
    for half, kind in ((51, "SHORT"), (65, "GAP"), (89, "GAP"), (10_001, "LONG")):
        text = f"a half-bit of {half} us among the first eight one-bits of a preamble: the six left are too few"
        durations = ones(LEAD) + packet(B) + _with(15, half) + packet(B)
        specs.append(CaseSpec(f"preamble-half-{half}", rule, TABLE, text, durations, (B, kind, B)))
    return specs


def _difference() -> list[CaseSpec]:
    rule = "halves of a one-bit"
    specs = []
    for first, last in ((52, 58), (58, 52), (58, 64), (64, 58), (55, 61), (58, 58)):
        text = f"halves of one-bits last {first} and {last} us: they differ by no more than 6 us"
        durations = ones(LEAD, first, last) + packet(A, timing=_timed(first, last, 100, 100))
        specs.append(CaseSpec(f"ones-{first}-{last}", rule, TABLE, text, durations, (A,)))
    for first, last in ((52, 59), (59, 52), (57, 64), (64, 57), (52, 64), (64, 52)):
        text = f"a data bit's halves last {first} and {last} us: they differ by more than 6 us"
        durations = ones(LEAD) + _with(DATA_ONE, first, last) + packet(B)
        specs.append(CaseSpec(f"ones-{first}-{last}", rule, TABLE, text, durations, ("UNEQUAL", B)))
    text = "a one-bit whose halves differ by 7 us among the last ten of a preamble: too few are left after it"
    durations = ones(LEAD) + packet(B) + _with(18, 52, 59) + packet(B)
    specs.append(CaseSpec("ones-unequal-preamble", rule, TABLE, text, durations, (B, "SHORT_PREAMBLE", B)))
    text = "unequal halves all through: 52 and 64 us in turn, which no pairing makes one-bits of"
    durations = ones(LEAD, 52, 64) + packet(A, timing=_timed(52, 64, 100, 100)) + packet(B)
    specs.append(CaseSpec("ones-52-64-always", rule, TABLE, text, durations, (ANYTHING, B)))
    text = "the half-bits wander between 56 and 60 us; neighbours never differ by more than 6"
    durations = ones(8, 56, 60) + ones(8, 60, 56) + packet(A, timing=_timed(57, 60, 100, 100))
    specs.append(CaseSpec("ones-wander", rule, TABLE, text, durations, (A,)))
    return specs


def _zeros() -> list[CaseSpec]:
    rule = "stretched zeros"
    specs = []
    for first, last in ((90, 10_000), (10_000, 90), (100, 9_900), (9_900, 100), (10_000, 10_000), (91, 117)):
        text = f"halves of zero-bits last {first} and {last} us: they need not match, and the sum has no limit"
        durations = ones(LEAD) + packet(A, timing=_timed(58, 58, first, last))
        specs.append(CaseSpec(f"zeros-{first}-{last}", rule, TABLE, text, durations, (A,)))
    for place, name in ((START, "the start bit"), (DATA_ZERO, "a data bit"), (SEPARATOR, "a separator")):
        text = f"only {name} is stretched, to 10000 us in its last half"
        durations = ones(LEAD) + _with(place, 100, 10_000) + packet(B)
        specs.append(CaseSpec(f"stretched-at-{place}", rule, TABLE, text, durations, (A, B)))
    return specs


def _phase() -> list[CaseSpec]:
    rule = "phase"
    source = "S-9.1 A"
    specs = []
    for odd in (1, 3):
        text = f"the capture starts with {odd} half-bit(s) too many: pairs are off until the start bit shows it"
        durations = [58] * odd + packet(A, 16) + packet(B)
        specs.append(CaseSpec(f"phase-{odd}-odd", rule, source, text, durations, (A, B)))
    text = "eleven one-bits, but the capture starts half a bit before: ten are complete either way"
    specs.append(CaseSpec("phase-eleven", rule, source, text, [58, *packet(A, 11)], (A,)))
    text = "ten one-bits and half of one before them: the pairs are off, the ten are complete all the same"
    specs.append(CaseSpec("phase-ten-and-half", rule, source, text, [58, *packet(A, 10), *packet(B)], (A, B)))
    text = "nine one-bits and half of one before them are too few for a preamble"
    durations = [58, *packet(A, 9), *packet(B)]
    specs.append(CaseSpec("phase-nine-and-half", rule, source, text, durations, (ANYTHING, B)))
    text = "the capture starts with the last half of a zero-bit"
    specs.append(CaseSpec("phase-half-zero", rule, source, text, [100, *packet(A), *packet(B)], (ANYTHING, A, B)))
    text = "half-bits in the preamble are 54 and 60 us, the pairs off by one: neighbours belong to two bits"
    durations = [60, *packet(A, 14, _timed(54, 60, 100, 100)), *packet(B)]
    specs.append(CaseSpec("phase-odd-unequal", rule, source, text, durations, (A, B)))
    text = "a half-bit of the preamble is lost: the pairs after it are off by one, ten one-bits are left"
    durations = ones(LEAD) + packet(B) + [58] * 5 + ones(12) + packet(A, 0) + packet(B)
    specs.append(CaseSpec("phase-half-lost", rule, source, text, durations, (B, A, B)))
    for name, count in (("zero", 1), ("zeros", 3)):
        text = f"{count} half-bit(s) of a zero too many between two packets; the next preamble finds the phase again"
        durations = ones(LEAD) + packet(A) + [100] * count + packet(B) + packet(A)
        specs.append(CaseSpec(f"phase-between-{name}", rule, source, text, durations, (A, ANYTHING, B, A)))
    data = with_error_byte(bytes((0x0F, 0xF0)))
    text = "half a one-bit too many after a packet that ends in FF, then six one-bits: its own ones do not count"
    durations = ones(LEAD) + packet(data) + [58] + packet(A, 6) + packet(B)
    specs.append(CaseSpec("phase-odd-after-FF", rule, "S-9.1 A, S-9.2 A", text, durations, (data, "SHORT_PREAMBLE", B)))
    text = "a half-bit of a packet's end bit is lost: the pairs of the next preamble are off by one"
    durations = ones(LEAD) + packet(A)[:-1] + packet(B) + packet(A)
    specs.append(CaseSpec("phase-half-end", rule, source, text, durations, (A, B, A)))
    return specs
