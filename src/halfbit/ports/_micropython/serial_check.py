"""Checks the receiver on a board against the vectors, over its serial line.

Copy it to the board as main.py, with core.py and the files that vehicle.py needs, and start the board. Then on the PC:

    halfbit vectors check --serial /dev/ttyACM0

It reads durations, us, one per line, and prints answers; an empty line ends a case. The track has no part in it: leave
it unconnected. Never share a ground between the track and a PC that is plugged in.
"""

import sys

import core
from vehicle import receiver


def run(read, write):
    """Answer lines from ``read()`` with ``write(text)``, until there are no more."""
    decoder = receiver()
    taken = 0
    while True:
        line = read()
        if not line:
            return
        line = line.strip()
        if not line:
            decoder = receiver()
            taken = 0
            write("\n")
            continue
        taken += 1
        answer = decoder.feed(int(line))
        packets = decoder.packets
        if answer == core.PACKET:
            data = "".join(["%02X" % byte for byte in packets.data[: packets.length]])
            write("%d %d %d %s\n" % (taken, answer, packets.preamble, data))
        elif answer != core.MORE:
            write("%d %d\n" % (taken, answer))


if __name__ == "__main__":
    run(sys.stdin.readline, sys.stdout.write)
