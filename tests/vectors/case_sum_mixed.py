"""Cases for the decision by sum from random signals: stations of every kind, seen late, with tears and rubbish between.

They show not what must come by a standard, but that a port does the same as halfbit. The seeds were chosen so that each
mutant of the C port that differs on a million half-bits differs on one of these cases, or on one of case_sum.py
(``python -m tests.ports.mutation sum``). If a rule of the decision by sum changes, run that again, and choose more.
"""

from __future__ import annotations

from tests.ports.support_late import late_signal
from tests.vectors.case_spec import ANYTHING, CaseSpec

__all__ = ["mixed_cases"]

#: Seed of the signal; the first of its durations and the one behind the last.
CHOSEN = (
    (1, 315_000, 315_350), (1, 907_771, 915_221), (2, 0, 1500), (28, 0, 700), (71, 0, 2500), (91, 0, 2500),
    (92, 0, 700), (131, 0, 2500), (160, 0, 700),
    (167, 0, 2500), (176, 0, 700), (179, 0, 2500), (199, 0, 2500), (311, 0, 2500), (373, 0, 1000), (376, 0, 700),
    (405, 0, 1000), (409, 0, 1000), (419, 0, 2500), (431, 0, 2500), (456, 0, 700), (484, 0, 700), (500, 0, 700),
    (503, 0, 2500), (530, 0, 1500), (541, 0, 1000), (591, 0, 2500), (600, 0, 700), (614, 0, 1500), (615, 0, 2500),
    (621, 0, 1000), (631, 0, 2500), (670, 0, 1500), (713, 0, 1000), (722, 0, 1500), (735, 0, 2500), (758, 0, 1500),
    (771, 0, 2500), (780, 0, 700), (803, 0, 2500), (825, 0, 1000), (857, 0, 1000), (886, 0, 1500), (894, 0, 1500),
    (2005, 2300, 3400), (2029, 200, 700), (2078, 2300, 3600), (2099, 0, 2200), (2134, 0, 1300), (2177, 0, 300),
    (2191, 300, 3400), (2234, 0, 600), (2284, 2100, 2800), (2289, 0, 1500), (2295, 0, 4100),
    (2328, 1200, 1800), (2510, 0, 1300),
    (3043, 100, 1100), (3047, 0, 2100), (3060, 4000, 4500), (3068, 3100, 3600), (3069, 3200, 3700),
    (3108, 0, 400), (3114, 0, 800), (3180, 300, 1300), (3181, 1500, 2200), (3186, 0, 400),
    (3186, 0, 1200), (3201, 2000, 2400), (3208, 3700, 4900), (3238, 0, 1300), (3241, 1400, 3400),
    (3331, 0, 2400), (3336, 0, 1700), (3341, 1900, 2500),
    (4674, 0, 1300), (6188, 0, 3400), (7065, 300, 2000), (7076, 4400, 5000), (7127, 1500, 2000), (7147, 0, 800),
    (7178, 0, 500), (7189, 900, 1400), (7208, 2000, 2600), (7215, 0, 300), (7238, 0, 1300), (7435, 0, 1200),
    (7551, 0, 700), (7551, 700, 2700), (7610, 0, 600), (7677, 0, 300), (7757, 0, 1700), (8228, 0, 2000),
    (10792, 600, 2600),
    (20033, 1600, 2400), (20045, 0, 1400), (20045, 700, 1400), (20053, 0, 800), (20059, 1400, 2400),
    (20083, 0, 1600), (20090, 4600, 5000), (20107, 0, 1800), (20139, 0, 2100), (20147, 0, 700),
    (20201, 0, 1200), (20202, 0, 500), (20227, 700, 3000), (20248, 0, 300), (20414, 3000, 3500),
    (20440, 0, 700), (20547, 1100, 1700), (20550, 0, 1600), (20637, 0, 2700), (20697, 0, 3200),
    (30659, 0, 2100), (40019, 0, 2200), (40086, 0, 700), (50130, 200, 1000), (50137, 0, 300), (50189, 1300, 1800),
    (51801, 0, 800), (52196, 0, 400), (52198, 100, 3000), (52370, 0, 2000), (52467, 0, 300), (52557, 0, 500),
    (53149, 0, 2800), (54239, 0, 400), (55369, 0, 4400),
    (55411, 0, 800), (55646, 0, 1100), (55682, 2900, 4200),
    (60019, 0, 500), (60057, 0, 400), (60166, 0, 1400), (60790, 0, 1200), (61119, 0, 2700), (63133, 0, 1300),
)  # fmt: skip

#: No duration of a case is longer, us.
LONGEST = 3_000_000


def _signals() -> dict[int, list[int]]:
    """Each seed's signal, as long as it is used."""
    ends: dict[int, int] = {}
    for seed, _, end in CHOSEN:
        ends[seed] = max(end, ends.get(seed, 0))
    return {seed: [min(duration, LONGEST) for duration in late_signal(seed, end)] for seed, end in ends.items()}


def mixed_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    signals = _signals()
    return tuple(
        CaseSpec(
            f"sum-mixed-{seed}-{start}-{end}", "signals of every kind", "common practice, no source",
            f"{end - start} durations of random stations, seen late and torn", signals[seed][start:end], (ANYTHING,),
        )
        for seed, start, end in CHOSEN
    )  # fmt: skip
