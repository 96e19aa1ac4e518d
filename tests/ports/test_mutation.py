"""A part of what ``python -m tests.ports.mutation`` does: no mutant of the C ports that is wrong passes the vectors."""

from __future__ import annotations

import random

import pytest

from .mutation import PORTS, tried
from .mutation_rules import Mutant, mutants


@pytest.mark.parametrize("name", PORTS)
def test_some_mutants(name: str) -> None:
    port = PORTS[name]
    chosen = random.Random(3).sample(mutants(port), 16)
    verdicts = list(tried(port, chosen, 100_000))
    assert len(verdicts) == 16 and sum(verdict.on_vectors for verdict in verdicts) > 8
    for verdict in verdicts:
        assert not verdict.on_signals, verdict.mutant
        assert not verdict.survives or port.reason(verdict.mutant), verdict.mutant


@pytest.mark.parametrize(("name", "count"), [("halves", 900), ("sum", 2_000)])
def test_the_mutants_are_what_the_page_says(name: str, count: int) -> None:
    found = mutants(PORTS[name])
    assert count < len(found) < count + 100 and len(set(found)) == len(found)


def test_an_explanation_is_for_its_mutant_only() -> None:
    wrong = Mutant("halfbit.c", 1, "    SHIFT,  SHIFT, SHIFT, SHIFT, FAIL, FAIL,", "    STAY,  SHIFT, SHIFT, SHIFT, FAIL, FAIL,")
    assert not PORTS["halves"].reason(wrong)
