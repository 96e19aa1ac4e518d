"""Writes a stretch of a capture as text, one duration a line, with a heading that says how to read it.

Exit status: 0 the stretch was written, 2 nothing is there, the input cannot be read or the
command line is wrong.
"""

from __future__ import annotations

import argparse
import sys
from itertools import accumulate, dropwhile, pairwise, takewhile
from pathlib import Path

from ..edge import Edges
from ..error import HalfbitError
from .columns import milliseconds
from .opening import opened
from .options import CaptureOptions


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything, "FILE --from TIME --to TIME")
    group = options.group("what is written")
    group.add_times()
    group.add("--out", metavar="TEXT", help="the file to write (default: standard output)")
    options.add_shared()


def run(args: argparse.Namespace) -> int:
    """Write the stretch and return the exit status."""
    with opened(args) as capture:
        durations, first = stretch(capture.reading.edges, args.start, args.end)
        name, words = capture.source.name, capture.reading.words
    if not durations:
        after = milliseconds(args.start)
        raise HalfbitError(f"{name}: the level does not change twice after {after} ms and before --to")
    end = first + sum(durations)
    place = f"a stretch of {name}, from {milliseconds(first)} to {milliseconds(end)} ms"
    text = "\n".join([f"# {place}", f"# read as: {words}", "# halfbit: durations ns", *map(str, durations), ""])
    if args.out is None:
        sys.stdout.write(text)
    else:
        write_text(args.out, text)
    return 0


def write_text(path: str, text: str) -> None:
    """Write a text file.

    :raises HalfbitError: if it cannot be written.
    """
    try:
        Path(path).write_text(text, "utf-8")
    except OSError as error:
        raise HalfbitError(f"{path}: cannot be written: {error.strerror or error}") from None


def stretch(edges: Edges, start: int, end: int | None) -> tuple[list[int], int]:
    """The durations between the changes from ``start`` to ``end``, ns, and the time of the first change, ns."""
    durations = (count * scale for row, scale in edges._rows() for count in row)
    late = dropwhile(lambda time: time < start, accumulate(durations, initial=0))
    times = list(takewhile(lambda time: end is None or time <= end, late))
    return [after - before for before, after in pairwise(times)], times[0] if times else start
