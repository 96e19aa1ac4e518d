"""Decode a capture in ten lines: every instruction with its time and bytes, every fault in its place."""

import sys
from pathlib import Path

from ending import quietly

from halfbit import Instruction, decode, open_capture

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"

if __name__ == "__main__":
    with quietly():
        for event in decode(open_capture(sys.argv[1] if len(sys.argv) > 1 else CAPTURE)):
            if isinstance(event, Instruction):
                assert event.packet is not None  # an instruction built by hand has none; a decoded one does
                print(f"{event.packet.start / 1e6:9.3f} ms  {event.packet!s:18}  {event.address}: {event}")
            else:
                print(f"{event.start / 1e6:9.3f} ms  lost until {event.end / 1e6:.3f} ms: {event}")
