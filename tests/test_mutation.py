"""The command ``python -m tests.mutation`` itself. Its whole run takes minutes, and so stands in no test."""

from __future__ import annotations

import subprocess
import sys

from .mutation import OPTIONS, ROOT


def test_the_tests_of_a_mutant_pass_with_the_unchanged_module() -> None:
    command = (sys.executable, "-m", "pytest", *OPTIONS, "tests/test_ledger.py")
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert found.returncode == 0, found.stdout + found.stderr
