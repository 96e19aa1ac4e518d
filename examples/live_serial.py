"""Decode live from a board on a serial port: durations in us, a number a line, as the board prints them.

    python examples/live_serial.py /dev/ttyACM0

Each instruction is printed as soon as its packet is complete. Ctrl-C ends it. Needs a system with termios: Linux, macOS.
Before you wire a board to a track, read the cautions in README.md.
"""

import os
import sys
import termios
import tty
from collections.abc import Iterator

from halfbit import Event, HalfbitError, Instruction, StreamDecoder


def lines(port: int) -> Iterator[bytes]:
    """The lines that come from an open port, each as soon as it is complete, until the port is closed."""
    begun = b""
    while True:
        try:
            piece = os.read(port, 4096)
        except OSError:  # the board was unplugged
            piece = b""
        if not piece:
            return
        *whole, begun = (begun + piece).split(b"\n")
        yield from whole


def show(events: tuple[Event, ...]) -> None:
    """Print what is complete."""
    for event in events:
        name = f"{event.address}: " if isinstance(event, Instruction) else "lost: "
        print(f"{name}{event}", flush=True)


def main(path: str) -> None:
    """Read and decode until the port closes."""
    port = os.open(path, os.O_RDONLY | os.O_NOCTTY)
    if os.isatty(port):
        tty.setraw(port)  # no echo, no line editing
        termios.tcflush(port, termios.TCIFLUSH)  # what was waiting is old, and may begin inside a number
    decoder = StreamDecoder()
    try:
        for line in lines(port):
            try:
                show(decoder.feed_duration(round(float(line) * 1000)))  # us to ns
            except (HalfbitError, ValueError, OverflowError) as error:
                print(f"not a duration: {line!r} ({error})", file=sys.stderr)
                show(decoder.feed_duration(0))  # a duration may be missing here: a fault, so no wrong packet
    except KeyboardInterrupt:
        pass
    show(decoder.finish())


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("give the port, /dev/ttyACM0 for example")
    main(sys.argv[1])
