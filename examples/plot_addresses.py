"""Plot who is spoken to when: a dot for each packet, time against address, and where packets were lost.

    python examples/plot_addresses.py [CAPTURE [IMAGE]]

Needs matplotlib: pip install 'halfbit[plot]'.
"""

import sys
from pathlib import Path

from matplotlib.figure import Figure

from halfbit import Fault, Instruction, decode, open_capture

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"


def main(path: Path, image: Path) -> None:
    """Draw the plot and say where it is."""
    packets: dict[str, list[float]] = {}
    losses: list[tuple[float, float]] = []
    for event in decode(open_capture(path)):
        if isinstance(event, Instruction) and event.packet is not None:
            packets.setdefault(str(event.address), []).append(event.packet.start / 1e6)
        elif isinstance(event, Fault):
            losses.append((event.start / 1e6, event.end / 1e6))
    figure = Figure(figsize=(9, 4), layout="constrained")
    axes = figure.add_subplot()
    for number, times in enumerate(packets.values()):
        axes.plot(times, [number] * len(times), "o", markersize=3)
    for start, end in losses:
        axes.axvspan(start, end, color="tab:red", alpha=0.3)
    axes.set_yticks(range(len(packets)), list(packets))
    axes.set_xlabel("time, ms; red: packets were lost")
    figure.savefig(image)
    print(f"{image}: {len(packets)} addresses, {len(losses)} losses")


if __name__ == "__main__":
    given = [Path(name) for name in sys.argv[1:]]
    main(given[0] if given else CAPTURE, given[1] if len(given) > 1 else Path("traffic.svg"))
