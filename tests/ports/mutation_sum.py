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
    ("WHOLE", "SOME", "MANY", "MOST"),
    ("RUN", "RUN_MAX", "RUNS", "ZEROS", "PIECE"),
    ("FARTHEST", "SIXTEENTH", "DOUBTFUL"),
    ("PATIENCE", "PATIENCE_MAX"),
    ("OWN_MAX", "OWN_MAX_STRETCHED", "OWN_CLEAR", "CLEAR", "CLEAR_STRETCHED", "PAST_MAX", "TEACHER",
     "TOTAL_MAX", "HELD_MAX"),
    ("own", "others"), ("lane", "other"), ("low", "high"), ("first", "last"), ("one", "zero"), ("before", "half"),
    ("strain", "stretched"), ("at", "count", "behind"), ("best", "rival"), ("best_strain", "best_stretched"),
    ("begin", "end"), ("total", "weight"), ("first_half", "last_half"),
)  # fmt: skip

_FULL = "with 240 durations that are kept, the block is all of them; test_sum.py has 960, and compares the state"
_BEFORE = "written before it decides anything"
_FLAG = "any number but 0 means yes"
_EDGE = "at the bound both branches give the same"
_RARE = "true at a bound that no signal here meets; test_sum.py compares the state and the constants"
_LOOK = "what is found too short or too long is refused by learner_fits() anyway"
_ROOM = "an array that is longer than need be, or a place in it that the compiler keeps"

#: Mutants that differ nowhere: a pattern for how they are printed, and why they are no mistake, or are found elsewhere.
EXPLAINED: tuple[tuple[str, str], ...] = (
    (r"TOTAL_MAX = 1000|< (TOTAL|HELD)_MAX\)$|<= TOTAL_MAX\)$|-TOTAL_MAX <= balance|if \(other->own < TOTAL_MAX\)$",
     "sums stop far above all that they are compared with"),
    (r"halfbit_sum.c:\d+: halfbit_sum_boundaries_lose\(&lane->boundaries\);  ->  $",
     "sum_begin() does it again when the lengths are known, before the first bit"),
    (r"lane->boundaries.strain = 0;|lane->own = lane->others = 0;|lane->past = 0;|s->balance = 0;", _BEFORE),
    (r"halfbit_sum.c:4\d: lane->proof = 0;", _BEFORE),
    (r"s->lanes\[0\].proof = s->lanes\[1\].proof = 0;", "lengths change after faults only, which set it to 0"),
    (r"(known|held|chance|started) = 1;  ->.* = 2;|return 1;  ->  return 2;|rivals = 1;  ->", _FLAG),
    (r"s->at - s->count\)|learner.count = s->count|s->behind == RECENT|s->recent\[s->at\]|s->count == BLOCK", _FULL),
    (r"uint16_t at = ", _FULL),
    (r"ZERO_MAX \+ 2u", "any number above ZERO_MAX will do"),
    (r"s->blocks = 0;  ->  s->blocks = 1;|PATIENCE_MAX = 15|2 \* s->patience",
     "learning sooner or later: only the wait for it differs"),
    (r"if \(past > PAST_MAX\)  ->|past < -PAST_MAX\)  ->|low > -FARTHEST|high < FARTHEST|half < HALF_MAX|first < last",
     _EDGE),
    (r"if \(off [<>]=? ?(low|high)\)|cost < best|costs\[i\] < rival", _EDGE),
    (r"i <= lane->packets.length", "one byte more is copied, and not read"),
    (r"halfbit_receiver_feed\(packets, 1\)", "both are too short to be a half-bit"),
    (r"bit = HALFBIT_(LONG|SHORT);", "any answer but ONE and ZERO breaks the packet in the same way"),
    (r"lane->held && lane->age <= HELD_MAX\)  ->", "the age of a packet that is not held is not read"),
    (r"STRAIN_MAX = 65|WHOLE 3276|MOST 1[78]|RUN_MAX 63|CLEARLY 6[35]|stretching (>=|<) MOST", _RARE),
    (r"HALF_MAX .*(4001|3999)u|OWN_MAX_STRETCHED = (99|101)|past = OWN_MAX;|< OWN_MAX_STRETCHED\)$", _RARE),
    (r"MANY 819[13]u|>= MANY", _RARE),
    (r"RUNS 13u|tried <= RUNS", "one more run is tried, but no signal here has 13 good ones"),
    (r"low > 0 \? FARTHEST / 2 : -FARTHEST;  ->",
     "low is far above 0 there, or high far below: both have the same sign"),
    (r"b->low <= likely|lane->past <= lane->proof", _EDGE),
    (r"lane->proof \+ clear <= PAST_MAX|\(int8_t\)\(lane->proof \+ clear.*CLEAR_STRETCHED",
     "proof of CLEAR_STRETCHED and more is enough"),
    (r"\(int8_t\)\(lane->proof \+ clear.*  ->  .*OWN_MAX_STRETCHED \?", _RARE),
    (r"if \(lane->own < (PAST_MAX|CLEAR_STRETCHED)\)$", "more than OWN_MAX_STRETCHED is refused, however much more"),
    (r"t->best \+ CLEARLY;  ->.*(DOUBT|SLACK);", _RARE),
    (r"SURE \(2u \* CLEARLY|CLEARLY;  ->.*STRAIN_MAX;|STRAIN_MAX;  ->  b->strain = CLEARLY",
     "the two have the same value"),
    (r"best_strain <= SURE.*best_strain < SURE|t->sure = .*rival > 3u|cost >= t->best.*(cost > t|STRAIN_MAX)", _RARE),
    (r"result = 0;  ->  uint32_t result = 1;", "the first bit of a quotient of 32 bits is shifted out"),
    (r"for \(; rest < 0;", "a rest of 0 and one of a whole part are the same length"),
    (r"apart = zero > one|l->shorter == 0|l->shorter = 1", "zeros are longer than ones, by less than 500 units"),
    (r"WHOLE / 2u : 0u;  ->", "one part of 32768"),
    (r"b->stretched = 0;", "read only after halfbit_sum_boundaries_bit(), which sets it"),
    (r"low < 0 && l->stretching|over = \(int16_t\)\(low > 0|b->(low|high) = low > 0",
     "here both are beyond the bound, on the same side"),
    (r"steps < STRAIN_MAX\)", "more strain than a packet may have, either way"),
    (r"phases\[3\]|reached\[(RUN|RUN_MAX|ZEROS|PIECE)\];|costs\[(RUN|RUN_MAX|PIECE)\];", _ROOM),
    (r"for \(piece = 0; piece \+ 1u", "240 durations are six whole pieces"),
    (r"uint16_t (best|strain|stretched|sum_strain|best_strain|best_stretched|rival|begin) = 0;", _BEFORE),
    (r"t->(best|zero) = 0;", _BEFORE),
    (r"at \+ (RUN_MAX|PIECE) <=? t->count \? at", "240 durations are six whole pieces"),
    (r"int32_t (low|high|off) = 0;", "a part of a tick in some hundred"),
    (r"recent\[place\] >= HALF_MAX|half <=? ?(ONE_MIN|LATE) \* fine|half (>=|>) ONE_MAX \* fine\)|< 16u \*", _RARE),
    (r"begin \+ 2u \* |reached\[runs\] \+ 2u \* ", "runs of ones are far from each other, or one"),
    (r"low = RUN \* ONE_MIN|low <= length|ONE_MAX \+ LATE|span = 0;|index = 0;|length = 0;", _LOOK),
    (r"t->one == 1\)", "lengths learned from no run of ones fit no durations here"),
    (r"UNSURE = [24] }", "any number but that of the other"),
    (r"lane->held = lane->held = 0;", "no signal here has a packet held in one lane when the other gives one"),
    (r"ONE_MAX HALFBIT_TO_US\(7[68]\)|weights == 0 \? 1 :", _RARE),
    (r"uint8_t runs = 0;", "a place more of the twelve that runs seldom need"),
    (r"while \(begin > 1u|while \(end \+ 1u",
     "what lies before or behind the durations does not fit: in the harness it is no duration"),
    (r"i < ZEROS; i\+\+", "the rival is among the shorter lengths"),
    (r"known->zero.value, 1\)", "the share of stretched zeros is set behind it"),
)


def skipped(file: str, line: str) -> bool:
    """Lines that are not the port's rules: what the preprocessor asks, checks of limits."""
    start = line.strip()
    if file.endswith(".h"):
        return not start.startswith("#define HALFBIT_SUM_") or start.endswith("_H")
    return start.startswith(("#if", "#el", "#en", "#err", "#include", "#define ASSERT", "ASSERT", "typedef"))


def signals(length: int = 1_000_000, seed: int = 1) -> bytes:
    """Half-bits seen late, for the harness: a half of them in pieces, each for a new receiver, the rest at a stretch."""
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
