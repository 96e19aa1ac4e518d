"""``halfbit inspect``: shows a stretch of a capture at all layers, one below the other."""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from typing import Any

import attrs

from .input import Measured, input_at
from .opening import opened
from .options import (
    Group,
    add_capture_options,
    add_limit_options,
    add_reading_options,
    configuration_of,
    context_of,
    limits_of,
    number,
    time,
)
from .progress import Progress
from .width import terminal_width
from ..inspect.strips import Strip, strips
from ..inspect.text import drawn, explained

__all__ = ["add_parser", "run"]

#: Number of durations shown on each side of the place.
REACH = 44

_EPILOG = """\
Times are from the capture's first level change: 12.5ms, 1.2s, 800us; without a
unit ms, as decode writes them.

Exit status: 0 something is shown, 1 there is nothing to show, 2 the input
cannot be read or the use was wrong.
"""


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "inspect",
        help="a stretch of a capture at all layers, to see why a packet was lost",
        description="Shows a stretch of a capture at all layers under one another: level changes and durations, half-bits, "
        "bits, bytes, instructions, and the faults in their places. Without --at or --around: the first fault, and why.",
        usage="halfbit inspect FILE [options]",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    group = Group(parser, "what is shown", everything)
    group.add("--at", type=time, metavar="TIME", help="begin with the packet or fault at this time")
    group.add("--around", type=time, metavar="TIME", help="what is around this time, within its packet or fault")
    group.add(
        "--packets", type=number, metavar="N", help="how many packets and faults to show; 1 if not said, with --at 2"
    )
    group.add(
        "--json", action="store_true", help="JSON Lines instead of text: times, marks of each layer and faults, in ns"
    )
    group.add("--plot", metavar="IMAGE", help="draw it to a file, too: .svg, .png or .pdf (needs matplotlib)")
    add_capture_options(parser, everything)
    add_limit_options(parser, everything)
    add_reading_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Show the stretch and return the exit status."""
    limits_of(args)  # refuse contradictory options before reading
    configuration, context = configuration_of(args), context_of(args)
    if args.plot is not None:
        from ..plot.figure import check_plot  # imported here because matplotlib is slow and optional

        check_plot(args.plot)
    source = input_at(args.capture)
    progress = Progress(source)
    try:
        reading = opened(args, source)
        measured = Measured(reading.edges, source, progress.update)
        at = args.at if args.around is None else args.around
        count = args.packets if args.packets is not None else 1 if args.at is None else 2
        reach = REACH if args.at is None and args.packets is None else None
        found = list(
            strips(
                measured,
                reading.limits,
                at=at,
                events=count,
                reach=reach,
                causes=True,
                configuration=configuration,
                context=context,
            )
        )
    finally:
        progress.clear()
    if not found:
        print(f"halfbit: {source.name}: nothing to show: the level never changes twice", file=sys.stderr)
        return 1
    causes = [strip.diagnosis for strip in found if strip.diagnosis is not None]
    if args.json:
        for strip in found:
            print(json.dumps(_as_dict(strip)))
        for each in causes:
            print(json.dumps(each.as_dict()))
    else:
        width = terminal_width() or 100
        for line in drawn(found, width, reading.limits):
            print(line)
        for each in causes:
            print()
            for line in explained(each.fault, each, reading.limits):
                print("\n".join(textwrap.wrap(line, width, subsequent_indent="  ")))
    if args.plot is not None:
        from ..plot.strip import plot_strips

        plot_strips(found, args.plot, title=source.name, limits=reading.limits)
    return 0


def _as_dict(strip: Strip) -> dict[str, object]:
    return {
        "times": list(strip.times),
        "level": strip.level,
        "half_bits": [attrs.asdict(mark) for mark in strip.half_bits],
        "bits": [attrs.asdict(mark) for mark in strip.bits],
        "parts": [attrs.asdict(mark) for mark in strip.parts],
        "meanings": [attrs.asdict(mark) for mark in strip.meanings],
        "faults": [fault.as_dict() for fault in strip.faults],
        "left_out": strip.left_out,
    }
