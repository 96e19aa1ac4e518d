"""Decode many captures at once, on all cores: one line for each, in the order they were given.

    python examples/batch.py examples/captures/*.txt

A capture that cannot be read does not stop the others.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from halfbit import CaptureError, Fault, Instruction, auto_limits, decode, open_capture

CAPTURES = Path(__file__).parent / "captures"


def summary(path: Path) -> str:
    """What a capture holds, in a line. Runs in a process of its own."""
    try:
        limits = auto_limits(open_capture(path))
        events = list(decode(open_capture(path), limits))
    except CaptureError as error:
        return f"cannot be read: {error.problem}"
    packets = {event.packet.start for event in events if isinstance(event, Instruction) and event.packet}
    faults = [event for event in events if isinstance(event, Fault)]
    lost = sum(fault.end - fault.start for fault in faults) / 1e6
    return f"{len(packets)} packets, {len(faults)} losses of {lost:.1f} ms, decided by {limits.decision}"


def main(paths: list[Path]) -> None:
    """Print the lines."""
    with ProcessPoolExecutor() as pool:
        for path, line in zip(paths, pool.map(summary, paths)):
            print(f"{path.name}: {line}")


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]] or sorted(CAPTURES.glob("*.txt")))
