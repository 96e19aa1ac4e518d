"""A part of what ``python -m tests.ports.mutation`` does: no mutant of the C port that is wrong passes the vectors."""

from __future__ import annotations

import random

from .mutation import Mutant, explained, mutants, tried


def test_some_mutants() -> None:
    chosen = random.Random(3).sample(mutants(), 24)
    verdicts = list(tried(chosen, 100_000))
    assert len(verdicts) == 24 and sum(verdict.on_vectors for verdict in verdicts) > 12
    for verdict in verdicts:
        assert not verdict.passes_wrongly, verdict.mutant
        assert not verdict.survives or explained(verdict.mutant), verdict.mutant


def test_the_mutants_are_what_the_page_says() -> None:
    found = mutants()
    assert len(found) > 900 and len(set(found)) == len(found)


def test_an_explanation_is_for_its_mutant_only() -> None:
    wrong = Mutant("halfbit.c", 1, "    SHIFT,  SHIFT, SHIFT, SHIFT, FAIL, FAIL,", "    STAY,  SHIFT, SHIFT, SHIFT, FAIL, FAIL,")
    assert not explained(wrong)
