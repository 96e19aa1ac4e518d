"""Searches for a capture's limits, each done once in a run, for all workers and the commands that tests start.

Dozens of tests and pages open the same few captures, and a search takes seconds. It depends on the durations alone.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from time import process_time

from halfbit.survey.search import NOISE, Search

__all__ = ["FOLDER", "remembered"]

#: The environment variable with the run's folder of searches. The commands that tests start read it.
FOLDER = "HALFBIT_TEST_SEARCHES"
#: A search that takes less than this is not worth a file, s.
WORTH = 0.1

Rows = Sequence[Sequence[int]]


def remembered(folder: Path) -> Callable[..., Search]:
    """``Search.of`` that looks in a folder first, and keeps there what takes long."""
    search = Search.of

    @lru_cache(16)
    def found(stretches: tuple[tuple[int, ...], ...], filters: bool, thorough: bool) -> Search:
        path = folder / hashlib.sha256(repr((stretches, filters, thorough)).encode()).hexdigest()
        if path.exists():
            kept: Search = pickle.loads(path.read_bytes())
            return kept
        began = process_time()
        result = search(stretches, filters=filters, thorough=thorough)
        if process_time() - began > WORTH:
            with tempfile.NamedTemporaryFile(dir=folder, delete=False) as file:
                pickle.dump(result, file)
            os.replace(file.name, path)  # at once, so that another process never sees half a file
        return result

    def of(stretches: Rows, *, filters: bool = True, thorough: bool = True) -> Search:
        # Without durations that are too short there is nothing to filter, so these searches are the same.
        filters = filters and any(duration < NOISE for stretch in stretches for duration in stretch)
        return found(tuple(map(tuple, stretches)), filters, thorough)

    return of
