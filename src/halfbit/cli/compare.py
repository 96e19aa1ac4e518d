"""Compares two captures of the same track at the same time by their packets, for example a board's and an analyser's.
Lists what one has and the other does not, with the cause.

Exit status: 0 all packets are the same, 1 some are not, 2 a capture cannot be read or the command line is wrong.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter

from ..inspect.compare import Side, compare, side_of
from .columns import Columns, milliseconds, terminal_width
from .opening import opened
from .options import CaptureOptions


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything, "A B", "a capture")
    parser.add_argument("other", metavar="B", help="another capture of the same track")
    group = options.group("what is shown")
    group.add("--json", action="store_true", help="JSON Lines instead of a table")
    options.add_shared()


def run(args: argparse.Namespace) -> int:
    """Compare the captures and return the exit status."""
    first, second = _side(args, args.capture), _side(args, args.other)
    found = compare(first, second)
    if args.json:
        for each in found.differences:
            cause, other = (None if one is None else one.as_dict() for one in (each.cause, each.other))
            sides = {"side": each.side, "packet": each.packet.as_dict(), "differs": each.differs.value}
            print(json.dumps({**sides, "cause": cause, "other": other}))
    else:
        lines = Columns(("time in A, ms", "", "packet"), (-13, 16), terminal_width())
        for number, each in enumerate(found.differences):
            if not number:
                print(lines.head)
            start = each.packet.start - (found.offset if each.side == "A" else 0)
            why = each.other or each.cause
            text = str(each.packet) + (f": {why}" if why is not None else "")
            print(lines.row((milliseconds(start), f"{each.differs.value} in {each.side}"[:16], text)))
        not_in = Counter(each.side for each in found.differences)
        offset = f"{milliseconds(abs(found.offset))} ms {'ahead of' if found.offset >= 0 else 'behind'}"
        print(f"{found.same} packets are in both, {not_in['B']} only in A, {not_in['A']} only in B; ", end="")
        print(f"B's clock is {offset} A's")
    return 1 if found.differences else 0


def _side(args: argparse.Namespace, path: str) -> Side:
    with opened(args, path=path) as capture:
        return side_of(capture.reading.edges, capture.reading.limits)
