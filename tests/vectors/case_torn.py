"""Cases of what happens between a station and a capture: each kind of damage at each kind of place."""

from __future__ import annotations

import random

from halfbit.simulate import distort
from halfbit.limits import US
from tests.vectors.case_spec import A, ANYTHING, B, LEAD, CaseSpec, ones, packet

__all__ = ["torn_cases"]

SOURCE = "S-9.2 A"

#: Places of damage behind LEAD one-bits: which half-bit of A.
PLACES = {
    "preamble-early": 3,
    "preamble-late": 25,
    "start-first": 28,
    "start-last": 29,
    "zero-first": 30,
    "zero-last": 31,
    "one-first": 42,
    "one-last": 43,
    "separator-first": 46,
    "separator-last": 47,
    "error-byte": 88,
    "end-first": 100,
    "end-last": 101,
}


def torn_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    return (*_one_damage(), *_cut(), *_end_bit(), *_between(), *_mixed())


def _base() -> list[int]:
    return ones(LEAD) + packet(A) + packet(B)


def _one_damage() -> list[CaseSpec]:
    specs = []
    for name, place in PLACES.items():
        at = 2 * LEAD + place
        base = _base()
        damaged: dict[str, tuple[str, list[int]]] = {
            "lost edge": ("the edge at the end of the half-bit is lost", distort.lost_edge(base, at + 1)),
            "extra edge": ("an edge too many, 20 us into the half-bit", distort.extra_edge(base, at, 20)),
            "extra edge in the middle": (
                "an edge too many halves the half-bit", distort.extra_edge(base, at, base[at] // 2)
            ),
            "spike": ("a spike of 2 us, 30 us into the half-bit", distort.spike(base, at, 30, 2)),
            "flipped half": (
                "the half-bit is as long as the other kind's", distort.flipped_half(base, at, one=58, zero=100)
                if base[at] < 77 else [*base[:at], 58, *base[at + 1 :]],
            ),
            "half lost": ("the half-bit is missing", [*base[:at], *base[at + 1 :]]),
            "half too many": ("the half-bit comes twice", [*base[:at], base[at], *base[at:]]),
            "short half": ("the half-bit lasts 40 us", [*base[:at], 40, *base[at + 1 :]]),
            "long half": ("the half-bit lasts 77 us", [*base[:at], 77, *base[at + 1 :]]),
        }  # fmt: skip
        for kind, (text, durations) in damaged.items():
            specs.append(
                CaseSpec(f"{kind.replace(' ', '-')}-{name}", f"torn: {kind}", SOURCE,
                      f"{text} ({name.replace('-', ' ')})", durations, (ANYTHING, B))
            )  # fmt: skip
    for bit in (8, 9, 12, 20, 45):
        at = 2 * LEAD + 28 + 2 * (bit - 8)
        base = _base()
        other = 58 if base[at] == 100 else 100
        durations = [*base[:at], other, other, *base[at + 2 :]]
        text = f"bit {bit - 8} after the preamble is flipped, both halves"
        specs.append(CaseSpec(f"flipped-bit-{bit - 8}", "torn: flipped bit", SOURCE, text, durations, (ANYTHING, B)))
    return specs


def _cut() -> list[CaseSpec]:
    specs = []
    whole = packet(A) + packet(B)
    for start in (1, 2, 9, 10, 27, 28, 29, 31, 44, 61, 75, 101):
        text = f"the capture starts {start} half-bits late"
        specs.append(CaseSpec(f"cut-start-{start}", "torn: cut start", SOURCE, text, whole[start:], (ANYTHING, B)))
    for end in (1, 2, 3, 4, 20, 37, 38, 39, 60):
        text = f"the capture ends {end} half-bits early"
        gives: tuple[bytes | str, ...] = (A, ANYTHING) if end > 0 else (A, B)
        specs.append(CaseSpec(f"cut-end-{end}", "torn: cut end", SOURCE, text, whole[:-end], gives))
    specs.append(CaseSpec("nothing", "torn: cut end", SOURCE, "a capture without a single duration", [], ()))
    specs.append(CaseSpec("one-half", "torn: cut end", SOURCE, "a single half-bit", [58], (ANYTHING,)))
    return specs


def _end_bit() -> list[CaseSpec]:
    rule = "torn: missing end bit"
    specs = []
    for preamble in (10, 14, 20):
        text = f"A's end bit is missing; {preamble} one-bits of the next preamble follow: the first of them ends A"
        durations = ones(LEAD) + packet(A)[:-2] + packet(B, preamble) + packet(A)
        specs.append(CaseSpec(f"no-end-bit-{preamble}", rule, SOURCE, text, durations, (A, B, A)))
    text = "A's end bit is a zero, and the next preamble is taken for a byte at first"
    durations = ones(LEAD) + packet(A)[:-2] + [100, 100] + packet(B, 20) + packet(A)
    specs.append(CaseSpec("zero-for-end-bit", rule, SOURCE, text, durations, ("ERROR_BYTE", B, A)))
    return specs


def _between() -> list[CaseSpec]:
    """What may lie between packets."""
    rule = "between packets"
    specs = []
    for seed in range(4):
        others = [d // US for d in distort.foreign(3_000 * US, random.Random(seed))]
        text = "another protocol's pulses between two packets"
        durations = ones(LEAD) + packet(A) + others + packet(B) + packet(A)
        specs.append(CaseSpec(f"foreign-{seed}", rule, "S-9.2 C", text, durations, (A, ANYTHING, A)))
    for pause in (26, 500, 11_000, 40_000):
        text = f"the signal rests for {pause} us between two packets"
        durations = ones(LEAD) + packet(A) + [pause] + packet(B) + packet(A)
        specs.append(CaseSpec(f"rest-{pause}", rule, "S-9.2 C", text, durations, (A, ANYTHING, B, A)))
    for name, parts in {"two-parts": (29, 435), "one-part": (470,), "short": (26, 428), "long": (32, 456)}.items():
        text = f"a cutout after the end bit: {' and '.join(map(str, parts))} us, then twelve one-bits"
        durations = ones(LEAD) + packet(A) + list(parts) + packet(B, 12) + packet(A)
        specs.append(CaseSpec(f"cutout-{name}", rule, "S-9.3.2, RCN-217 (from memory)",
                             text, durations, (A, ANYTHING, B, A)))  # fmt: skip
    return specs


def _mixed() -> list[CaseSpec]:
    """Packets with damage dealt out at random, from a seed."""
    specs = []
    for seed in range(24):
        rng = random.Random(seed)
        durations: list[int] = []
        for _ in range(6):
            piece = packet(rng.choice((A, B)), rng.choice((10, 12, 14, 20)))
            if rng.random() < 0.7:
                at = rng.randrange(1, len(piece))
                kind = rng.randrange(4)
                if kind == 0:
                    piece = distort.lost_edge(piece, at)
                elif kind == 1:
                    piece = distort.extra_edge(piece, at, rng.randint(0, piece[at]))
                elif kind == 2:
                    piece = [*piece[:at], *piece[at + rng.randint(1, 9) :]]
                else:
                    piece = [*piece[:at], rng.choice((0, 58, 70, 100, 300, 20_000)), *piece[at:]]
            durations += piece
        text = "packets with damage dealt out at random"
        durations += packet(A) + packet(B)
        specs.append(CaseSpec(f"mixed-{seed}", "torn: mixed", SOURCE, text, durations, (ANYTHING, B)))
    return specs
