"""Settings for the whole suite."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator

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


# Python's search for garbage took a quarter of the time in which tests are collected, and found hardly any. While
# they run it took a twentieth.
gc.disable()
gc.set_threshold(10_000)


def pytest_collection_finish() -> None:
    """Look for garbage from now on, but not among what was collected: that stays."""
    gc.freeze()
    gc.enable()


@pytest.fixture(scope="session", autouse=True)
def searched_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Each search for limits is done once in a run. Without this it takes minutes."""
    from halfbit.survey.search import Search

    from .support_search import FOLDER, remembered

    base = tmp_path_factory.getbasetemp()
    # The same for all workers of a run. tests.mutation runs without the plug-in for workers and its fixtures.
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "searches"
    folder.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(FOLDER, str(folder))
        patch.setattr(Search, "of", remembered(folder))
        yield


@pytest.hookimpl(optionalhook=True)  # tests.mutation runs without the plug-in for workers
def pytest_xdist_auto_num_workers() -> int:
    """One worker more than processors: some tests wait for a time-out or for another process."""
    return (os.cpu_count() or 1) + 1
