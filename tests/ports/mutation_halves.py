"""What is spoiled in the C receiver by halves, and why some of its mutants are no mistakes. See mutation.py."""

from __future__ import annotations

from halfbit.vectors import SETS

from .mutation_rules import Port, packed
from .support_build import defines, ticks
from .support_torn import ones_signal, torn_signal

__all__ = ["HALVES"]

#: Names that stand for one another in a mistake.
FAMILIES = (
    ("ONE_MIN", "ONE_MAX", "ZERO_MIN", "ZERO_MAX"),
    ("HELD_ONE", "HELD_ONE_LOWEST", "HELD_ZERO"),
    ("LOST", "IDLE", "BYTE", "SEPARATOR"),
    ("IN_ONE", "IN_RUN", "IN_ZERO", "IN_START", "IN_SLIP", "IN_FAULT"),
    ("STAY", "FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY"),
    ("PREAMBLE_MIN", "PACKET_MIN", "PACKET_MAX"),
    ("HALFBIT_MORE", "HALFBIT_ONE", "HALFBIT_ZERO", "HALFBIT_PACKET", "HALFBIT_SYNC", "HALFBIT_START", "HALFBIT_SHORT",
     "HALFBIT_GAP", "HALFBIT_LONG", "HALFBIT_UNPAIRED_ONE", "HALFBIT_UNPAIRED_ZERO", "HALFBIT_UNEQUAL",
     "HALFBIT_SHORT_PREAMBLE", "HALFBIT_FEW_BYTES", "HALFBIT_MANY_BYTES", "HALFBIT_ERROR_BYTE"),
)  # fmt: skip

#: Mutants that differ nowhere: a pattern for how they are printed, and why they are no mistake, or are found elsewhere.
EXPLAINED: tuple[tuple[str, str], ...] = (
    (r"define OFTEN", "a hint to the compiler changes no answer"),
    (r"define ASSERT", "the assertion compiles either way; test_targets.py has limits that it must refuse"),
    (r"STEPS\[2[35]\]|STEPS\[24\] .*STEPS\[25\]", "a longer table; a shorter one loses an input that the compiler keeps in place"),
    (r"SEPARATOR = 18|BYTE = 12", "names of rows"),
    (r"STAY,   FIND,  STAY,  STAY,  STAY, FAIL,  ->  STAY,   FIND,  STAY,  (?!STAY)", "LOST and IN_START cannot come: IN_RUN comes first"),
    (r"SHIFT,  SHIFT, SHIFT, SHIFT, FAIL, FAIL,  ->  SHIFT,  ", "IN_RUN and IN_START cannot come inside a packet: nine ones end it"),
    (r"CLOSE,  CLOSE, NEXT,  NEXT,  FAIL, FAIL,  ->  CLOSE,  ", "IN_RUN and IN_START cannot come inside a packet: nine ones end it"),
    (r"define DIFFERENCE .* <= WIDTH", "the two are equal there"),
    (r"define TOTAL_LIMITED .*->.*(<= 2u|< 3u|2u \* ONE|2u \* ZERO_MIN|> 2u|< 1u)",
     "whether the first half of a zero is remembered: more than need be costs time, and too little only another limit shows"),
    (r"define NONE 0u  ->  #define NONE 1u", "any number below the lowest shelf will do"),
    (r"define HELD_(ONE|ZERO) ", "a shelf may be higher than need be"),
    (r"r->length = 0; ", "read only after a fault that comes before any packet: test_c_same_answers.py"),
    (r"r->preamble = \(uint8_t\)ones;  ->  $", "after SHORT_PREAMBLE, which the check does not print: test_c_same_answers.py"),
    (r"\|\| waiting - HELD_ZERO \+ duration > ZERO_TOTAL_MAX", "with a limit for the whole zero the first part is always true"),
    (r"input = IN_FAULT;  ->  input = IN_(ONE|RUN|ZERO|START|SLIP)", "see test_c_same_answers.py, variant with zeros limited"),
    (r"TOTAL_LIMITED \? duration : 1u", "any number on the shelf will do"),
    (r"bit = duration <=? ?ONE_M(IN|AX) \? .*->.* bit = duration (<= ONE_MIN|< ONE_MAX) ", "durations of the window do not come here"),
    (r"bit = duration .*->.*duration (<= ZERO_MIN|< ZERO_MAX) ", "durations of the window do not come here"),
    (r"HALFBIT_TO_US\(6\) - \(HALFBIT_TOLERANCE\)", "the tolerance is 0 here; test_targets.py has others"),
    (r"define HALFBIT_ZERO_TOTAL_MAX \(3u", "no more than no limit"),
)


def skipped(file: str, line: str) -> bool:
    """Lines that are not the port's rules: what the preprocessor asks, checks of limits, numbers of answers."""
    start = line.strip()
    if file == "halfbit.h":
        return not start.startswith("#define HALFBIT_") or "ANY_DIFFERENCE" in line
    return start.startswith(("#if", "#el", "#en", "#err", "#include", "ASSERT", "&&", "enum", "typedef")) or "WIDE(" in line


def signals(length: int = 1_000_000, seed: int = 1) -> bytes:
    """Half-bits of every kind, for the harness."""
    half = length // 2
    pieces = [list(torn_signal(seed, half)), list(ones_signal(seed, length - half))]
    return packed([piece[at : at + 5_000] for piece in pieces for at in range(0, len(piece), 5_000)])


HALVES = Port(
    name="halves",
    changed=("halfbit.c", "halfbit.h"),
    sources=("halfbit.c",),
    headers=("halfbit.h", "halfbit_rom.h"),
    flags=(),
    sets={"receive": (), "transmit": defines(ticks(SETS["transmit"]))},
    families=FAMILIES,
    statements=r"\s+r->.*(=|\+\+).*;\s*",
    skipped=skipped,
    signals=signals,
    explained=EXPLAINED,
)
