"""``halfbit decode``: shows the packets, instructions and losses of a capture."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import Any, Union

from .addresses import address_of
from .csv_rows import CsvRows
from .input import Measured, input_at
from .json_lines import JsonLines
from .opening import opened
from .options import (
    Group,
    add_capture_options,
    add_limit_options,
    add_reading_options,
    configuration_of,
    context_of,
    limits_of,
    notes_on,
    time,
)
from .progress import Progress
from .summary import Summary, Tally
from .table import Table
from .width import shows_color, terminal_width
from ..error import CaptureError, HalfbitError
from ..event import Fault
from ..inspect.losses import Diagnoser
from ..instruction import Event, Instruction
from ..stream import decode

__all__ = ["add_parser", "run"]

_EPILOG = """\
Exit status: 0 at least one packet was decoded, 1 none was, 2 the input cannot
be read or the use was wrong.
"""
_MORE = """\
How the file is to be read is found out, and written to standard error in one
line: what its numbers are, their unit, which channel is the track, whether
single halves of bits can be told apart. Where two ways fit, both are named
with the options that choose.

A packet that says again what is known is counted, not listed. A lost stretch
is listed with its cause, if one is found. From a pipe, a terminal or a serial
line a line appears as soon as its packet is complete. Ctrl-C there ends the
capture: the summary is still written.

With --json each line is an event as the library's as_dict() gives it (its key
type: instruction, fault, diagnosis, cutout), times in ns; the last line, of
type summary, comes only if the input could be read to its end. With --csv the
names of the columns come first.

A text capture may say what its numbers are in a line at its head:
  # halfbit: durations us
  # halfbit: times ticks=1000000 wrap=4294967296
So may the column names of a table: time, duration, a unit at the end.

"""

#: Plausible mean length of a half-bit, ns: 58 us if all are ones, about 100 us with many zeros, more if
#: zeros are stretched (S-9.1 A, table 1).
_PLAUSIBLE = range(40_000, 2_000_000)

_Output = Union[Table, JsonLines, CsvRows]


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "decode",
        help="packets, instructions and losses of a capture",
        description="Decodes a capture: what its packets say, what was lost and why, and a summary.",
        usage="halfbit decode FILE [options]",
        epilog=_MORE + _EPILOG if everything else _EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    group = Group(parser, "what is shown", everything)
    group.add("--every", action="store_true", help="all packets, also those that say nothing new")
    group.add(
        "--address",
        type=address_of,
        action="append",
        metavar="ADDRESS",
        help="only this one: 7, 2604 or 'accessory 9 pair 2'",
    )
    group.add("--from", dest="start", type=time, metavar="TIME", help="only from here on: 12.5ms, 1.2s")
    group.add("--to", dest="end", type=time, metavar="TIME", help="only up to here")
    group.add("--lost", action="store_true", help="only what was lost, and why")
    group.add("--bytes", more=True, action="store_true", help="with each packet's bytes")
    group.add("--json", action="store_true", help="JSON Lines instead of a table")
    group.add("--csv", more=True, action="store_true", help="CSV instead of a table")
    group.add(
        "--vcd",
        more=True,
        metavar="OUT",
        help="write bits, bytes and packets beside the signal to a VCD file (needs pyvcd); - for standard output, without the table",
    )
    add_capture_options(parser, everything)
    add_limit_options(parser, everything)
    add_reading_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Decode the capture and return the exit status."""
    limits_of(args)  # refuse contradictory options before reading
    configuration, context = configuration_of(args), context_of(args)
    source = input_at(args.capture)
    if args.vcd is not None and source.live:
        raise HalfbitError(f"{source.name}: --vcd needs a file, which can be read again")
    progress = Progress(source)

    def write(line: str) -> None:
        progress.clear()
        if args.vcd != "-":
            sys.stdout.write(line + "\n")

    output = _output(args, write)
    reading = opened(args, source)
    if not isinstance(output, JsonLines):
        output.limits = reading.limits

    def before_more() -> None:
        if source.live:
            sys.stdout.flush()
        progress.update()

    measured = Measured(reading.edges, source, before_more)
    tally = Tally()
    wanted = _wanted(args)
    diagnoser: Diagnoser[Event] = Diagnoser(reading.limits, measured.durations, wait=not source.live)
    try:
        for event in decode(measured, reading.limits, configuration=configuration, context=context):
            for each, diagnosis in diagnoser.feed(event):
                tally.add(each, diagnosis)
                if isinstance(output, Table) or wanted(each):
                    output.event(each, diagnosis)
    except CaptureError:
        _rest(diagnoser, tally, output, wanted)
        output.end(None)  # the events before the error are valid
        raise
    finally:
        progress.clear()
    _rest(diagnoser, tally, output, wanted)
    summary = tally.summary(measured.half_bits, measured.length, *notes_on(reading), reading.limits.decision)
    output.end(summary)
    if args.vcd is not None:
        from .vcd_out import write_vcd  # imported here because pyvcd is optional

        write_vcd(args.vcd, reading)
    if not summary.packets:
        sys.stdout.flush()
        print(f"halfbit: {source.name}: {nothing(summary)}", file=sys.stderr)
    if source.interrupted:
        return 130
    return 0 if summary.packets else 1


def _output(args: argparse.Namespace, write: Callable[[str], None]) -> _Output:
    if args.json:
        return JsonLines(write)
    if args.csv:
        return CsvRows(write)
    return Table(
        write,
        every=args.every,
        width=terminal_width(),
        color=shows_color(),
        bytes=args.bytes,
        lost=args.lost,
        wanted=_wanted(args),
    )


def _rest(diagnoser: Diagnoser[Event], tally: Tally, output: _Output, wanted: Callable[[Event], bool]) -> None:
    for event, diagnosis in diagnoser.finish():
        tally.add(event, diagnosis)
        if isinstance(output, Table) or wanted(event):
            output.event(event, diagnosis)


def _wanted(args: argparse.Namespace) -> Callable[[Event], bool]:
    """A function that returns True for events to show."""

    def wanted(event: Event) -> bool:
        carrier = event.packet if isinstance(event, Instruction) else event
        if carrier is not None and (
            args.start is not None and carrier.end <= args.start or args.end is not None and carrier.start >= args.end
        ):
            return False
        if args.lost and not isinstance(event, Fault):
            return False
        return args.address is None or isinstance(event, Instruction) and event.address in args.address

    return wanted


def nothing(summary: Summary) -> str:
    """Text with possible reasons why nothing was decoded."""
    if not summary.half_bits:
        return "no packets: the level never changes twice"
    average = summary.length // summary.half_bits
    if average not in _PLAUSIBLE:
        return f"no packets: half-bits of {average / 1000:g} us on average; is the unit right (--unit)?"
    return "no packets: halfbit survey says what the signal looks like"
