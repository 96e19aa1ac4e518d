"""What importing halfbit and showing its help cost, beside imports of Python's own and attrs, in one run."""

from __future__ import annotations

import statistics
import subprocess
import sys


ROUNDS = 3


def import_us(*arguments: str) -> int:
    """What a new process of Python spends on imports, by its own account (``-X importtime``), us."""
    command = [sys.executable, "-X", "importtime", *arguments]
    lines = subprocess.run(command, capture_output=True, text=True, check=True).stderr.splitlines()
    own = [line.removeprefix("import time:").split("|")[0] for line in lines if line.startswith("import time:")]
    return sum(int(us) for us in own if us.strip().isdigit())


def test_importing_halfbit_and_its_help_are_quick() -> None:
    """At most 2.5 times ``import attrs, enum, re, typing``, and for help 1.5 times ``import argparse`` on top.

    The processes run in turn, so that other work on the machine counts for all of them.
    """
    found: dict[str, list[int]] = {}
    for _ in range(ROUNDS):
        for name, arguments in {
            "python": ("-c", "pass"),
            "known": ("-c", "import attrs, enum, re, typing"),
            "argparse": ("-c", "import argparse"),
            "halfbit": ("-c", "import halfbit"),
            "everything": ("-c", "from halfbit import *"),
            "help": ("-m", "halfbit", "--help"),
        }.items():
            found.setdefault(name, []).append(import_us(*arguments))
    us = {name: statistics.median(each) for name, each in found.items()}
    nothing = us["python"]  # what Python itself imports when it starts
    known, argparse_ = us["known"] - nothing, us["argparse"] - nothing
    assert us["halfbit"] - nothing <= 2.5 * known
    assert us["help"] - nothing <= 2.5 * known + 1.5 * argparse_
    assert us["everything"] > us["halfbit"]  # else nothing was measured
