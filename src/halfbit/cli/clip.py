"""Writes a stretch of a capture as text, one duration a line, with a heading that says how to read it.

Exit status: 0 the stretch was written, 2 nothing is there, the input cannot be read or the
command line is wrong.
"""

from __future__ import annotations

import argparse
import sys
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
        durations, first, last = stretch(capture.reading.edges, args.start, args.end)
        name, words = capture.source.name, capture.reading.words
    if not durations:
        if last < args.start:
            raise HalfbitError(f"{name}: the capture ends at {milliseconds(last)} ms: give an earlier --from")
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


def stretch(edges: Edges, start: int, end: int | None) -> tuple[list[int], int, int]:
    """The durations between the changes from ``start`` to ``end``, and the times of the first and the last change read.

    All in ns.
    """
    found: list[int] = []
    now, first = 0, start
    for row, scale in edges._rows():
        for count in row:
            early, now = now, now + count * scale
            if early < start:
                continue
            if end is not None and now > end:
                return found, first, now
            first = first if found else early
            found.append(now - early)
    return found, first, now
