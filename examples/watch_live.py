"""Watch a live signal: durations in us, a number a line, on standard input as a board might print them.

    board_output | python examples/watch_live.py

Each packet is shown as soon as its end bit is in. What nobody needs to see, idle packets and what repeats
the packet before to the same address, is left out.
"""

import sys
from collections.abc import Iterable

from ending import quietly

from halfbit import Address, Fault, Instruction, StreamDecoder, edges_from_durations
from halfbit.instruction import Idle


def watch(lines: Iterable[str]) -> None:
    """Show what is new."""
    decoder = StreamDecoder()
    latest: dict[tuple[Address, type], Instruction] = {}
    # An iterator's values are taken one at a time, so nothing here waits for more than the next line.
    for edge in edges_from_durations(float(line) for line in lines if not line.startswith("#")):
        for event in decoder.feed(edge):
            if isinstance(event, Fault):
                print(f"  ({event})", flush=True)
            elif isinstance(event, Instruction) and not isinstance(event, Idle):
                key = event.address, type(event)
                if latest.get(key) != event:
                    latest[key] = event
                    print(f"{event.address}: {event}", flush=True)
    for event in decoder.finish():
        print(f"  ({event})")


if __name__ == "__main__":
    with quietly():
        watch(sys.stdin)
