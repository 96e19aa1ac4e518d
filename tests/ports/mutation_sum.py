"""What is spoiled in the C receiver by sum, and why some of its mutants are no mistakes. See mutation.py."""

from __future__ import annotations

from .mutation_rules import Port, packed
from .support_sum import late_signal

__all__ = ["SUM"]

#: Names that stand for one another in a mistake.
FAMILIES = (
    ("ONE_MIN", "ONE_MAX", "ZERO_MAX", "LATE"),
    ("HALFBIT_MORE", "HALFBIT_ONE", "HALFBIT_ZERO", "HALFBIT_PACKET", "HALFBIT_START", "HALFBIT_SHORT", "HALFBIT_LONG"),
    ("STRAIN_MAX", "DOUBT", "SLACK", "CREEP", "CLEARLY", "STRETCHED", "SURE"),
    ("GAIN_MIN", "GAIN_MAX"),
    ("WHOLE", "SOME", "MOST"),
    ("RUN", "RUN_MAX", "RUNS", "ZEROS", "PIECE"),
    ("FARTHEST", "SIXTEENTH", "DOUBTFUL"),
    ("PATIENCE", "PATIENCE_MAX"),
    ("OWN_MAX", "OWN_CLEAR", "CLEAR", "PAST_MAX", "TEACHER", "TOTAL_MAX", "HELD_MAX"),
    ("own", "others"), ("lane", "other"), ("low", "high"), ("first", "last"), ("one", "zero"), ("before", "half"),
    ("strain", "stretched"), ("at", "count", "behind"), ("best", "rival"), ("best_strain", "best_stretched"),
    ("begin", "end"), ("total", "weight"), ("first_half", "last_half"),
)  # fmt: skip

#: Mutants that differ nowhere: a pattern for how they are printed, and why they are no mistake, or are found elsewhere.
EXPLAINED: tuple[tuple[str, str], ...] = ()


def skipped(file: str, line: str) -> bool:
    """Lines that are not the port's rules: what the preprocessor asks, checks of limits."""
    start = line.strip()
    if file.endswith(".h"):
        return not start.startswith("#define HALFBIT_SUM_") or start.endswith("_H")
    return start.startswith(("#if", "#el", "#en", "#err", "#include", "#define ASSERT", "ASSERT", "typedef"))


def signals(length: int = 1_000_000, seed: int = 1) -> bytes:
    """Half-bits seen late, for the harness: a half of them from many stations, each from the start, the rest at a stretch."""
    whole = list(late_signal(seed, length))
    half = length // 2
    return packed([*(whole[at : at + 5_000] for at in range(0, half, 5_000)), whole[half:]])


SUM = Port(
    name="sum",
    changed=("halfbit_sum.c", "halfbit_sum_lengths.c", "halfbit_sum.h", "halfbit_sum_lengths.h"),
    sources=("halfbit.c", "halfbit_sum.c", "halfbit_sum_lengths.c"),
    headers=("halfbit.h", "halfbit_rom.h", "halfbit_sum.h", "halfbit_sum_lengths.h"),
    flags=("-DSUM",),
    sets={"sum": ()},
    families=FAMILIES,
    statements=r"\s+(?!return|break|continue|uint|int|const|typedef)[a-z]\S*( [+\-]?= |\+\+|--|\().*;\s*",
    skipped=skipped,
    signals=signals,
    explained=EXPLAINED,
)
