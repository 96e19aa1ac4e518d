"""What importing halfbit and showing its help cost, beside imports of Python's own and attrs, in one run."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
from pathlib import Path

ROUNDS = 7

TIMED = """
import sys, time
before = time.process_time()
try:
    {}
finally:
    print(time.process_time() - before, file=sys.stderr)
"""


def cpu_s(code: str, bytecode: Path) -> float:
    """CPU time that code takes in a new process of Python, s.

    CPU time, because other work on the machine does not count. Python keeps its bytecode in a folder, as it does for an
    installed package: without, it would be the time of compiling the sources.
    """
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(
        [sys.executable, "-c", TIMED.format(code)],
        capture_output=True,
        text=True,
        check=True,
        env={**kept, "PYTHONPYCACHEPREFIX": str(bytecode)},
    )
    return float(done.stderr)


def test_decode_loads_no_sequences_and_no_readers_of_files() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from halfbit import decode; import sys; print(*sys.modules)"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded = set(done.stdout.split())
    assert {"halfbit.stream", "halfbit.decision.sums", "halfbit.instruction.cv"} <= loaded
    sequences = {f"halfbit.decision.{name}" for name in ("recovery", "sequence", "guess", "reader", "lengths")}
    assert loaded & (sequences | {"csv", "json", "halfbit.capture", "halfbit.survey"}) == set()


def test_importing_halfbit_and_its_help_are_quick(tmp_path: Path) -> None:
    """As ratios to ``import attrs, enum, re, typing``; for help ``import argparse`` comes on top.

    Most of what ``decode`` needs is 62 classes of attrs: it writes and compiles their methods when they are imported.
    """
    codes = {
        "known": "import attrs, enum, re, typing",
        "argparse": "import argparse",
        "halfbit": "import halfbit",
        "decode": "from halfbit import decode",
        "everything": "from halfbit import *",
        "help": 'sys.argv[1:] = ["--help"]; from halfbit.__main__ import start; start()',
    }
    for code in codes.values():
        cpu_s(code, tmp_path)  # writes the bytecode
    rounds = [{name: cpu_s(code, tmp_path) for name, code in codes.items()} for _ in range(ROUNDS)]
    ratio = {name: statistics.median(each[name] / each["known"] for each in rounds) for name in codes}
    assert ratio["halfbit"] <= 0.5
    assert ratio["decode"] <= 3.5
    assert ratio["help"] <= 2.5 + 1.5 * ratio["argparse"]
    assert ratio["halfbit"] < ratio["decode"] < ratio["everything"]  # else nothing was measured
