"""Shows a stretch of a capture at all layers, one below the other: level changes and durations, half-bits, bits, bytes,
instructions, and faults in their places. Without --at or --around, it shows the first fault, and why.

Times are from the capture's first level change: 12.5ms, 1.2s, 800us. Without a unit they are ms, as in decode's table.

Exit status: 0 something is shown, 1 there is nothing to show, 2 the input cannot be read or the command line is wrong.
"""

from __future__ import annotations

import argparse
import json
import sys
import textwrap

import attrs

from .columns import terminal_width
from .opening import opened
from .options import CaptureOptions, number, time
from ..inspect.strips import Strip, strips
from ..inspect.text import drawn, explained
from ..plot.strip import plot_strips

REACH = 44  #: Number of durations shown on each side of the place.


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything)
    group = options.group("what is shown")
    group.add("--at", type=time, metavar="TIME", help="begin with the packet or fault at this time")
    group.add("--around", type=time, metavar="TIME", help="show the durations around this time, in its packet or fault")
    count = "number of packets and faults to show (default: 1, with --at 2)"
    group.add("--packets", type=number, metavar="N", help=count)
    group.add("--json", action="store_true", help="JSON Lines instead of text; times in ns")
    group.add_plot("it to a file, too")
    options.add_shared(questions=True)


def run(args: argparse.Namespace) -> int:
    """Show the stretch and return the exit status."""
    with opened(args) as capture:
        source, limits = capture.source, capture.reading.limits
        at = args.at if args.around is None else args.around
        count = args.packets if args.packets is not None else 1 if args.at is None else 2
        reach = REACH if args.at is None and args.packets is None else None
        shown = strips(
            capture.edges, limits, at=at, events=count, reach=reach, causes=True, configuration=capture.configuration,
            context=capture.context,
        )  # fmt: skip
        found = list(shown)
        causes = [strip.diagnosis for strip in found if strip.diagnosis is not None]
    if not found:
        print(f"halfbit: {source.name}: nothing to show: the level never changes twice", file=sys.stderr)
        return 1
    if args.json:
        for row in (*map(_as_dict, found), *(each.as_dict() for each in causes)):
            print(json.dumps(row))
    else:
        width = terminal_width() or 100
        print("\n".join(drawn(found, width, limits)))
        for each in causes:
            print()
            for line in explained(each, limits):
                print("\n".join(textwrap.wrap(line, width, subsequent_indent="  ")))
    if args.plot is not None:
        plot_strips(found, args.plot, title=source.name, limits=limits)
    return 0


def _as_dict(strip: Strip) -> dict[str, object]:
    names = ("half_bits", "bits", "parts", "meanings")
    layers = {name: list(map(attrs.asdict, getattr(strip, name))) for name in names}
    faults = [fault.as_dict() for fault in strip.faults]
    times = list(strip.times)
    return {"times": times, "level": strip.level, **layers, "faults": faults, "left_out": strip.left_out}
