"""``halfbit inspect``: one stretch of a capture at all layers under one another."""

from __future__ import annotations

import argparse
import json
import re
import sys
from fractions import Fraction
from typing import Any

import attrs

from .auto import chosen_limits
from .input import Measured, input_at
from .json_lines import fault_object
from .options import (
    add_capture_options,
    add_limit_options,
    add_reading_options,
    configuration_of,
    context_of,
    edges_of,
    limits_of,
)
from .progress import Progress
from .width import terminal_width
from ..inspect.strips import Strip, strips
from ..inspect.text import drawn
from ..unit import Scale

__all__ = ["add_parser", "run"]

_EPILOG = """\
Times are from the capture's first level change: 12.5ms, 1.2s, 800us; without a unit ms, as decode writes them.

With --json each packet or fault shown is an object on a line; times are integer ns:
  times[] level half_bits[start end text] bits[...] parts[...] meanings[...]
  faults[event start end at kind layer detail count bytes words] left_out

Exit status: 0 something is shown, 1 there is nothing to show, 2 the input cannot be read or the use was wrong.
"""


def add_parser(subparsers: Any) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "inspect",
        help="a stretch of a capture at all layers, to see why a packet was lost",
        description="Shows a stretch of a capture at all layers under one another: level changes and durations, half-bits, "
        "bits, bytes, instructions, and the faults where they are. Without --at from the first fault on.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    parser.add_argument("--at", type=_time, metavar="TIME", help="begin with the packet or fault at this time")
    parser.add_argument("--packets", type=_count, default=2, metavar="N", help="how many packets and faults to show; 2 if not said")
    parser.add_argument("--json", action="store_true", help="JSON Lines instead of text")
    parser.add_argument("--plot", metavar="IMAGE", help="draw it to a file, too: .svg, .png or .pdf (needs matplotlib)")
    add_capture_options(parser)
    add_limit_options(parser)
    add_reading_options(parser)
    return parser


def run(args: argparse.Namespace) -> int:
    """Show it, and give the exit status."""
    limits_of(args)  # what contradicts itself is refused before anything is read
    configuration, context = configuration_of(args), context_of(args)
    if args.plot is not None:
        from ..plot.figure import check_plot  # matplotlib is slow to import, and need not be there

        check_plot(args.plot)
    source = input_at(args.capture)
    progress = Progress(source)
    edges = edges_of(args, source)
    try:
        limits, measured = chosen_limits(args, source, edges, Measured(edges, source, progress.update))
        found = list(
            strips(measured, limits, at=args.at, events=args.packets, configuration=configuration, context=context)
        )
    finally:
        progress.clear()
    if not found:
        print(f"halfbit: {source.name}: nothing to show: the level never changes twice", file=sys.stderr)
        return 1
    if args.json:
        for strip in found:
            print(json.dumps(_as_dict(strip)))
    else:
        width = terminal_width() or 100
        for line in drawn(found, width):
            print(line)
    if args.plot is not None:
        from ..plot.strip import plot_strips

        plot_strips(found, args.plot, title=source.name)
    return 0


def _as_dict(strip: Strip) -> dict[str, object]:
    return {
        "times": list(strip.times),
        "level": strip.level,
        "half_bits": [attrs.asdict(mark) for mark in strip.half_bits],
        "bits": [attrs.asdict(mark) for mark in strip.bits],
        "parts": [attrs.asdict(mark) for mark in strip.parts],
        "meanings": [attrs.asdict(mark) for mark in strip.meanings],
        "faults": [fault_object(fault) for fault in strip.faults],
        "left_out": strip.left_out,
    }


def _time(text: str) -> int:
    """A time of the command line, ns."""
    match = re.fullmatch(r"([0-9.]+)\s*(ns|us|ms|s)?", text)
    try:
        if match is None:
            raise ValueError
        return round(Fraction(match[1]) * Scale.of(match[2] or "ms").numerator)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no time such as 12.5ms, 1.2s or 800us") from None


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is no number from 1 up")
    return int(text)
