"""However long a capture is, decoding it takes the same memory."""

from __future__ import annotations

import subprocess
import sys

import pytest

from .support_cli import ENVIRONMENT, TIMEOUT, durations_of, packet

# Peak memory of the process itself, KiB, once its command has run. From /proc where there is one:
# what getrusage says may be of the process from which this one was started.
MEASURED = """
import os, resource, sys
from halfbit.cli.main import main
status = main(sys.argv[1:])
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
if os.path.exists("/proc/self/status"):
    with open("/proc/self/status") as lines:
        (peak,) = [line.split()[1] for line in lines if line.startswith("VmHWM")]
print(peak, file=sys.stderr)
sys.exit(status)
"""

#: Some packets and now and then a fault, over and over. A fault takes long: its cause is looked for.
SCENE = durations_of([packet("37 74"), packet("FF 00"), packet("37 90 B0"), packet("83 F9")] * 10)
SCENE[300] = 77

SHORT, LONG = 100_000, 400_000  # half-bits
ALLOWED = 2_048  # KiB; the numbers alone of the long ones would take many times as much


def peak(half_bits: int, name: str) -> int:
    """Peak memory of decoding ``half_bits`` through a pipe, KiB."""
    scenes = max(20_000 // len(SCENE), 1)
    if name == "text":
        options = ["--holds", "durations"]
        chunk = "".join(f"{half}\n" for half in SCENE * scenes).encode()
    else:
        options = ["--format", "csv", "--holds", "durations"]
        chunk = "".join(f"{half}.0;x\n" for half in SCENE * scenes).encode()
    process = subprocess.Popen(
        [sys.executable, "-c", MEASURED, "decode", "-", "--json", *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=ENVIRONMENT,
    )
    assert process.stdin is not None and process.stderr is not None
    for _ in range(half_bits // (scenes * len(SCENE))):
        process.stdin.write(chunk)
    process.stdin.close()
    errors = process.stderr.read()
    process.stderr.close()
    assert process.wait(TIMEOUT) == 0, errors
    return int(errors.splitlines()[-1])


@pytest.mark.parametrize(("name", "long"), [("text", LONG), ("csv", LONG // 2)])
def test_memory_does_not_grow_with_the_capture(name: str, long: int) -> None:
    assert peak(long, name) - peak(SHORT, name) < ALLOWED
