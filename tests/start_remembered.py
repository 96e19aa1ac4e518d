"""Runs a Python script as ``python SCRIPT`` does, but each search for limits only once in a run of the tests.

    python start_remembered.py SCRIPT [ARGUMENT ...]
"""

from __future__ import annotations

import os
import runpy
import sys
from pathlib import Path

TESTS = Path(__file__).parent


def start(script: str) -> None:
    """Run a script with the arguments that follow it."""
    sys.path[0] = str(TESTS.parent)
    from halfbit.survey.search import Search
    from tests.support_search import FOLDER, remembered

    setattr(Search, "of", remembered(Path(os.environ[FOLDER])))
    sys.path[0] = str(Path(script).parent)
    del sys.argv[0]
    runpy.run_path(script, run_name="__main__")


if __name__ == "__main__":
    start(sys.argv[1])
