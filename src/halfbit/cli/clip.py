"""``halfbit clip``: writes a stretch of a capture as a small text capture."""

from __future__ import annotations

import argparse
import sys
from itertools import accumulate
from typing import Any

from ..edge import Edges
from ..error import HalfbitError
from .columns import milliseconds
from .input import input_at
from .opening import opened
from .options import Group, add_capture_options, add_limit_options, limits_of, time

__all__ = ["add_parser", "run"]


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "clip",
        help="a stretch of a capture as a small text capture, to hand on",
        description="Writes a stretch of a capture as text, one duration a line, with what it is at its head.",
        usage="halfbit clip FILE --from TIME --to TIME [options]",
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    group = Group(parser, "what is written", everything)
    group.add("--from", dest="start", type=time, default=0, metavar="TIME", help="from here on: 12.5ms, 1.2s")
    group.add("--to", dest="end", type=time, metavar="TIME", help="up to here; to the end if not said")
    group.add("--out", metavar="TEXT", help="the file to write; standard output if not said")
    add_capture_options(parser, everything)
    add_limit_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Write the stretch and return the exit status."""
    limits_of(args)
    source = input_at(args.capture)
    reading = opened(args, source)
    durations, first = stretch(reading.edges, args.start, args.end)
    if not durations:
        raise HalfbitError(f"{source.name}: no level changes twice from {milliseconds(args.start)} ms on, up to --to")
    end = first + sum(durations)
    text = (
        f"# a stretch of {source.name}, from {milliseconds(first)} to {milliseconds(end)} ms\n"
        f"# read as: {reading.words}\n# halfbit: durations ns\n" + "".join(f"{duration}\n" for duration in durations)
    )
    if args.out is None:
        sys.stdout.write(text)
        return 0
    try:
        with open(args.out, "w", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise HalfbitError(f"{args.out}: cannot be written: {error.strerror or error}") from None
    return 0


def stretch(edges: Edges, start: int, end: int | None) -> tuple[list[int], int]:
    """The durations between the changes from ``start`` to ``end``, ns, and the time of the first change, ns."""
    found: list[int] = []
    now, first = 0, start
    for row, scale in edges._rows():
        times = list(accumulate((duration * scale for duration in row), initial=now))
        for early, late in zip(times, times[1:]):
            if early >= start and (end is None or late <= end):
                if not found:
                    first = early
                found.append(late - early)
        now = times[-1]
        if end is not None and now > end:
            break
    return found, first
