"""``halfbit decode``: what a capture says."""

from __future__ import annotations

import argparse
import sys
from typing import Any, Union

from .auto import chosen_limits
from .input import Measured, input_at
from .json_lines import JsonLines
from .options import (
    add_capture_options,
    add_limit_options,
    add_reading_options,
    configuration_of,
    context_of,
    edges_of,
    limits_of,
    notes_on,
)
from .progress import Progress
from .table import Table
from .width import terminal_width
from ..error import CaptureError
from .summary import Summary, Tally
from ..stream import decode

__all__ = ["add_parser", "run"]

_EPILOG = """\
The same packet several times in a row is one line with a count. From a pipe, a terminal or a serial line a
packet's line appears as soon as the packet is complete, and a line with the number of repeats follows. Ctrl-C there ends
the capture: what is pending and the summary are still written.

With --json each line is an object. Its first key, event, tells the others; times are integer ns:
  instruction  start end preamble bytes part instruction{name address ... context repetition too_soon_after_reset ... long_preamble}
  fault        start end at kind layer detail count bytes words
  cutout       start end
  summary      length half_bits packets distinct_packets share_decoded packet_time fault_time cutout_time cutouts faults{} remarks[] removed{}
               (last, and only when the input could be read to its end)

A text capture holds a number a line; # starts a comment. A line such as
  # halfbit: durations us
  # halfbit: times ticks=1000000 wrap=4294967296
at its head says what the numbers are. In a CSV table the column names may: time, duration, a unit at the end.
Volts in a table are read with --format volts, levels at a fixed rate with --format levels --unit RATE.

Exit status: 0 at least one packet was decoded, 1 none was, 2 the input cannot be read or the use was wrong.
"""

#: What the average half-bit of a signal can be, ns: 58 us if all are ones, some 100 us with zeros, more if
#: zeros are stretched (S-9.1 A, table 1).
_PLAUSIBLE = range(40_000, 2_000_000)


def add_parser(subparsers: Any) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "decode",
        help="packets, instructions and faults of a capture",
        description="Decodes a capture: its packets and their instructions, the faults among them, and a summary.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="JSON Lines instead of a table")
    form.add_argument("--every", action="store_true", help="a line for each packet, also for repeats in a row")
    add_capture_options(parser)
    add_limit_options(parser)
    add_reading_options(parser)
    return parser


def run(args: argparse.Namespace) -> int:
    """Decode, and give the exit status."""
    limits_of(args)  # what contradicts itself is refused before anything is read
    configuration, context = configuration_of(args), context_of(args)
    source = input_at(args.capture)
    progress = Progress(source)

    def write(line: str) -> None:
        progress.clear()
        sys.stdout.write(line + "\n")

    output: Union[Table, JsonLines]
    if args.json:
        output = JsonLines(write)
    else:
        output = Table(write, fold=not args.every, live=source.live, width=terminal_width())

    def before_more() -> None:
        output.pause()
        if source.live:
            sys.stdout.flush()
        progress.update()

    try:
        edges = edges_of(args, source)
    except CaptureError:
        if source.interrupted:  # before the first number came: an empty capture, but by the user's will
            raise KeyboardInterrupt from None
        raise
    measured = Measured(edges, source, before_more)
    tally = Tally()
    try:
        limits, measured_edges = chosen_limits(args, source, edges, measured)
        for event in decode(measured_edges, limits, configuration=configuration, context=context):
            tally.add(event)
            output.event(event)
    except CaptureError:
        output.end(None)  # what came before it is sound
        raise
    finally:
        progress.clear()
    summary = tally.summary(measured.half_bits, measured.length, *notes_on(edges))
    output.end(summary)
    if not summary.packets:
        sys.stdout.flush()
        print(f"halfbit: {source.name}: {nothing(summary)}", file=sys.stderr)
    if source.interrupted:
        return 130
    return 0 if summary.packets else 1


def nothing(summary: Summary) -> str:
    """Why nothing may have been decoded."""
    if not summary.half_bits:
        return "no packets: the level never changes twice"
    average = summary.length // summary.half_bits
    if average not in _PLAUSIBLE:
        return f"no packets: half-bits of {average / 1000:g} us on average; is the unit right (--unit)?"
    return "no packets: the faults say what is wrong with the signal"
