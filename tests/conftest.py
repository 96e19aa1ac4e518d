"""Settings for the whole suite."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from functools import lru_cache

import pytest
from hypothesis import HealthCheck, Phase, settings

# No deadline and no check for slow examples: the machine may be shared, and slow is not wrong. In CI the
# examples are the same each time, so that a red run is the change's doing.
settings.register_profile(
    "local", deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("ci", parent=settings.get_profile("local"), derandomize=True)
# For long searches: pytest --hypothesis-profile=deep
settings.register_profile("deep", parent=settings.get_profile("local"), max_examples=5000)
# For tests.mutation: a failure is all it asks for, not its smallest example. Fewer examples, for each survivor takes all.
settings.register_profile(
    "mutants",
    parent=settings.get_profile("ci"),
    max_examples=25,
    database=None,
    phases=(Phase.explicit, Phase.generate),
)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "local")


@pytest.fixture(scope="session", autouse=True)
def searched_once() -> Iterator[None]:
    """Remember the search for the limits of the last captures: dozens of tests open the same few captures.

    A search depends on the durations alone. Without this it takes 100 s of the suite.
    """
    from halfbit.survey.search import Search

    search = Search.of

    @lru_cache(16)
    def remembered(stretches: tuple[tuple[int, ...], ...], filters: bool, thorough: bool) -> Search:
        return search(stretches, filters=filters, thorough=thorough)

    def of(stretches: Sequence[Sequence[int]], *, filters: bool = True, thorough: bool = True) -> Search:
        return remembered(tuple(map(tuple, stretches)), filters, thorough)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Search, "of", of)
        yield
