"""Cases about preambles of nine to twelve one-bits, in either pairing of the half-bits.

A receiver that starts in the middle of a bit pairs the last half of each one-bit with the first half of the next. Only the
first zero shows it. Until then it has to count in both pairings, each with the rule for the halves' difference.
"""

from __future__ import annotations

from tests.vectors.case_spec import A, ANYTHING, B, CaseSpec, packet

__all__ = ["pairing_cases"]

RULE = "preamble in either pairing"
SOURCE = "S-9.1 A, table 1; S-9.2 A"

#: Ahead of the preamble: what the receiver knows when it comes.
AHEAD: dict[str, tuple[str, list[int]]] = {
    "start": ("the capture starts", []),
    "fault": ("a half-bit of 77 us ends what was before", [77]),
    "zero": ("a zero-bit is before", [100, 100]),
}


def pairing_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    return (*_equal_bits(), *_unequal_bits(), *_one_unequal(), *_bounds())


def alternating(count: int, low: int, high: int) -> list[int]:
    """``count`` one-bits with equal halves, short and long bits in turn."""
    return [half for index in range(count) for half in ((low, low), (high, high))[index % 2]]


def shifted(count: int, low: int, high: int) -> list[int]:
    """``count`` one-bits with unequal halves, which would be equal if paired one half-bit later."""
    return [half for index in range(count) for half in ((high, low), (low, high))[index % 2]]


def _equal_bits() -> list[CaseSpec]:
    specs = []
    for high in (61, 62):
        for count in (8, 9, 10, 11, 12):
            for name, (words, ahead) in AHEAD.items():
                for odd in (0, 1):
                    durations = [*ahead, *[high] * odd, *alternating(count, 55, high), *packet(A, 0), *packet(B)]
                    phase = "after half a one-bit too many" if odd else "in phase"
                    text = (f"{words}; then, {phase}, {count} one-bits with halves of 55, 55, {high}, {high} us and so on; "
                            f"a start bit at once: {'a' if count >= 10 else 'no'} preamble")  # fmt: skip
                    gives: tuple[bytes | str, ...] = (ANYTHING, *([A] if count >= 10 else []), B)
                    specs.append(CaseSpec(f"pairing-{high}-{count}-{name}{'-odd' * odd}", RULE, SOURCE, text, durations, gives))
    return specs


def _unequal_bits() -> list[CaseSpec]:
    """A bit whose own halves differ by 7 us is not valid, however well its neighbours match."""
    specs = []
    for high, preamble in ((61, True), (62, False)):
        for count in (9, 10, 11, 12, 13):
            for name, (words, ahead) in AHEAD.items():
                durations = [*ahead, *shifted(count, 55, high), *packet(A, 0), *packet(B)]
                good = preamble and count >= 10
                text = (f"{words}; then {count} one-bits whose halves differ by {high - 55} us, their neighbours' not at all: "
                        f"{'a' if good else 'no'} preamble")  # fmt: skip
                gives: tuple[bytes | str, ...] = (ANYTHING, *([A] if good else []), B)
                specs.append(CaseSpec(f"pairing-across-{high}-{count}-{name}", RULE, SOURCE, text, durations, gives))
    return specs


def _one_unequal() -> list[CaseSpec]:
    """One bit with unequal halves in a long preamble: how many one-bits after it are a preamble."""
    specs = []
    for count in (8, 9, 10, 11):
        for odd in (0, 1):
            durations = [*[58] * odd, *[58, 58] * 6, 52, 59, *[58, 58] * count, *packet(A, 0), *packet(B)]
            text = (f"a bit of 52 and 59 us among one-bits{', half of one too many at the start' * odd}; {count} follow it "
                    f"before the start bit")  # fmt: skip
            gives: tuple[bytes | str, ...] = (ANYTHING, *([A] if count >= 10 else []), B)
            specs.append(CaseSpec(f"pairing-unequal-then-{count}{'-odd' * odd}", RULE, SOURCE, text, durations, gives))
    return specs


def _bounds() -> list[CaseSpec]:
    """A half-bit that has no partner, as short and as long as a half of a one or a zero may be."""
    specs = []
    for half in (52, 64):
        for count in (9, 10, 11):
            durations = [*[half] * (2 * count + 1), *packet(A, 0), *packet(B)]
            text = f"half a one-bit too many, {half} us, and {count} one-bits as long: the zero shows the phase"
            gives: tuple[bytes | str, ...] = (ANYTHING, *([A] if count >= 10 else []), B)
            specs.append(CaseSpec(f"pairing-all-{half}-{count}", RULE, SOURCE, text, durations, gives))
        damaged = packet(A, 16)
        damaged[2 * 16 + 16 : 2 * 16 + 18] = [half]  # the last bit of the first byte, 00000011
        text = f"one half of a data bit is lost; the other lasts {half} us, and a zero-bit follows"
        specs.append(CaseSpec(f"pairing-lost-{half}", RULE, SOURCE, text, [*damaged, *packet(B)], (ANYTHING, B)))
        for zero in (90, 10_000):
            durations = [*packet(A, 16), zero, *[half, half] * 12, *packet(A, 0), *packet(B)]
            text = f"half a zero-bit, {zero} us, between packets, and halves of {half} us after it"
            specs.append(CaseSpec(f"pairing-zero-{zero}-{half}", RULE, SOURCE, text, durations, (A, ANYTHING, A, B)))
    return specs
