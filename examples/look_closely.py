"""Look at half-bits, bits and faults: why the shunting turn's torn packets were lost.

The layers one by one, where decoding all at once would only say what was lost.
"""

import sys
from pathlib import Path

from ending import quietly

from halfbit import Bit, Fault, bits, half_bits, open_capture, packets

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"
AROUND = 300_000  # ns shown on either side of where it went wrong


def main(path: Path) -> None:
    """Show each fault that tore a packet, with the bits around it."""
    edges = open_capture(path)
    layer_3 = list(bits(half_bits(edges)))
    for lost in packets(iter(layer_3)):
        if not isinstance(lost, Fault) or lost.start == 0:
            continue
        print(f"{lost.at / 1e6:.3f} ms: {lost}")
        print(f"  lost: {lost.start / 1e6:.3f} to {lost.end / 1e6:.3f} ms; bytes complete: {lost.data.hex(' ') or 'none'}")
        shown = [event for event in layer_3 if lost.at - AROUND <= event.start <= lost.at + AROUND]
        print("  " + "  ".join(_words(event) for event in shown))


def _words(event: Bit | Fault) -> str:
    if isinstance(event, Bit):
        return f"{event.value}:{event.first // 1000}+{event.last // 1000}"
    return f"[{event.kind.name} {(event.duration or event.difference or 0) // 1000}]"


if __name__ == "__main__":
    with quietly():
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else CAPTURE)
