"""Who is spoken to: packets and share of the time by address, and the longest silence towards each.

A decoder with a packet time-out (S-9.2.2, CV 11) stops after too long a silence.
"""

import sys
from pathlib import Path

from ending import quietly

from halfbit import Instruction, Packet, decode, open_capture

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"


def main(path: Path) -> None:
    """Print the table, the most spoken to first."""
    packets: dict[str, list[Packet]] = {}
    latest: Packet | None = None
    for event in decode(open_capture(path)):
        if isinstance(event, Instruction) and event.packet is not None and event.packet is not latest:
            latest = event.packet
            packets.setdefault(str(event.address), []).append(latest)
    if latest is None:
        print("no packets")
        return
    print(f"{'address':30} packets   time  longest silence")
    for address, own in sorted(packets.items(), key=lambda item: -len(item[1])):
        share = sum(packet.end - packet.start for packet in own) / latest.end
        silence = max((b.start - a.end for a, b in zip(own, own[1:])), default=0)
        print(f"{address:30} {len(own):7} {share:6.1%} {silence / 1e6:13.3f} ms")


if __name__ == "__main__":
    with quietly():
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else CAPTURE)
