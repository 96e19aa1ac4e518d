"""Read a capture that a polled loop took: by halves, by sums, and by what a survey of the capture chooses.

A loop that looks at the level every 20 to 36 us sees each change late by up to 36 us, so that half of a one and half
of a zero look alike. Whole bits do not: the change in their middle cancels out of their sum.
"""

import sys
from pathlib import Path

from ending import quietly

from halfbit import RECEIVE, Fault, Instruction, Limits, auto_limits, decode, open_capture

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn_polled.txt"


def count(path: Path, limits: Limits) -> tuple[int, int]:
    """How many packets there are under these limits, and how many faults."""
    events = list(decode(open_capture(path), limits))
    starts = {event.packet.start for event in events if isinstance(event, Instruction) and event.packet}
    return len(starts), sum(isinstance(event, Fault) for event in events)


def main(path: Path) -> None:
    """Compare."""
    sets = {
        "by halves": RECEIVE,
        "by sums": Limits.for_sampling_period(36),  # us, where the loop's period is known
        "as surveyed": auto_limits(open_capture(path)),  # where it is not
    }
    for words, limits in sets.items():
        found, faults = count(path, limits)
        print(f"{words:12} {found:4} packets {faults:4} faults, decision by {limits.decision}")


if __name__ == "__main__":
    with quietly():
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else CAPTURE)
