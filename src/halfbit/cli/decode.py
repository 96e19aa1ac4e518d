"""Decodes a capture: what its packets say, what was lost and why, and a summary.

How to read the file is found out and written to standard error in one line: the meaning of its numbers, their unit,
the channel of the track, and how bits are told apart. If two ways fit, both are named with the options that choose.

A packet that repeats what is known is counted, not listed. A lost stretch is listed with its cause, if one is found.
From a pipe, a terminal or a serial line, a line appears as soon as its packet is complete. Ctrl-C ends such a capture,
and the summary is still written.

With --json each line is an event as the library's as_dict() gives it (type: instruction, fault, diagnosis, cutout),
times in ns. The last line has the type summary. It is missing if the input could not be read to its end. With --csv
the first line has the names of the columns.

A text capture may say at its start what its numbers are:

  # halfbit: durations us
  # halfbit: times ticks=1000000 wrap=4294967296

So may the column names of a table: time, duration, a unit at the end.

Exit status: 0 packets were decoded, 1 no packet was, 2 the input cannot be read or the command line is wrong.
"""

from __future__ import annotations

import argparse

from ..event import Fault
from ..inspect.losses import carrier_of
from ..instruction import Event, Instruction
from ..limits import Limits
from .columns import shows_color, terminal_width
from .opening import opened
from .options import CaptureOptions
from .output import CsvRows, JsonLines, Table
from .summary import Summary

#: Plausible mean length of a half-bit, ns: from 58 us for ones up to that of stretched zeros (S-9.1 A, table 1).
_PLAUSIBLE = range(40_000, 2_000_000)


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything)
    group = options.group("what is shown")
    group.add("--every", action="store_true", help="all packets, also those that say nothing new")
    group.add_address()
    group.add_times()
    group.add("--lost", action="store_true", help="only what was lost, and why")
    group.add("--bytes", more=True, action="store_true", help="with each packet's bytes")
    group.add("--json", action="store_true", help="JSON Lines instead of a table")
    group.add("--csv", more=True, action="store_true", help="CSV instead of a table")
    vcd = "write bits, bytes and packets beside the signal to a VCD file, or with - to standard output (needs pyvcd)"
    group.add("--vcd", more=True, metavar="OUT", help=vcd)
    options.add_shared(questions=True)


def run(args: argparse.Namespace) -> int:
    """Decode the capture and return the exit status."""
    with opened(args, twice="" if args.vcd is None else "--vcd") as capture:
        output = _output(args, capture.reading.limits)
        summary = Summary()
        for event, diagnosis in capture.diagnosed():
            summary.add(event, diagnosis)
            output.event(event, diagnosis, _wanted(args, event))
        summary.finish(capture.reading, capture.durations)
        output.end(summary)
        if args.vcd is not None:
            from .vcd_out import write_vcd  # imported here because pyvcd is optional

            write_vcd(args.vcd, capture.reading, summary.events)
        return capture.status(summary.packets, _nothing(summary))


def _output(args: argparse.Namespace, limits: Limits) -> Table | JsonLines | CsvRows:
    if args.vcd == "-":  # standard output is for the VCD
        return Table(lambda line: None, limits=limits)
    if args.json:
        return JsonLines()
    if args.csv:
        return CsvRows(limits)
    width, color = terminal_width(), shows_color()
    return Table(print, limits=limits, every=args.every, width=width, color=color, bytes=args.bytes)


def _wanted(args: argparse.Namespace, event: Event) -> bool:
    """True for an event to show."""
    carrier = carrier_of(event)
    if carrier is not None and (carrier.end <= args.start or args.end is not None and carrier.start >= args.end):
        return False
    if args.lost and not isinstance(event, Fault):
        return False
    return args.address is None or isinstance(event, Instruction) and event.address in args.address


def _nothing(summary: Summary) -> str:
    """Text with possible reasons why nothing was decoded."""
    if not summary.half_bits:
        return "no packets: the level never changes twice"
    average = summary.length // summary.half_bits
    if average not in _PLAUSIBLE:
        return f"no packets: half-bits of {average / 1000:g} us on average; is the unit right (--unit)?"
    return "no packets: halfbit survey says what the signal looks like"
