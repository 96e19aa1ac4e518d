"""``halfbit compare``: packets that one capture of a track lost or read differently from another."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from ..inspect.compare import Side, compare, side_of
from .columns import Columns, milliseconds
from .input import input_at
from .opening import opened
from .options import Group, add_capture_options, add_limit_options, limits_of
from .width import terminal_width

__all__ = ["add_parser", "run"]


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "compare",
        help="two captures of the same track: what one lost or read otherwise",
        description="Lays two captures of the same track at the same time beside each other by their packets, a board's beside an "
        "analyser's say, and lists what one has and the other has not, with its cause.",
        usage="halfbit compare A B [options]",
        epilog="Exit status: 0 all packets are the same, 1 some are not, 2 a capture cannot be read or the use was wrong.",
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="A", help="a capture")
    parser.add_argument("other", metavar="B", help="another one")
    group = Group(parser, "what is shown", everything)
    group.add("--json", action="store_true", help="JSON Lines instead of a table")
    add_capture_options(parser, everything)
    add_limit_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Compare the captures and return the exit status."""
    limits_of(args)
    first, second = (_side(args, path) for path in (args.capture, args.other))
    found = compare(first, second)
    if args.json:
        for each in found.differences:
            cause = None if each.cause is None else each.cause.as_dict()
            other = None if each.other is None else each.other.as_dict()
            print(
                json.dumps(
                    {
                        "side": each.side,
                        "packet": each.packet.as_dict(),
                        "differs": each.differs.value,
                        "cause": cause,
                        "other": other,
                    }
                )
            )
    else:
        lines = Columns(("time in A, ms", "", "packet"), (-13, 16), terminal_width())
        for number, each in enumerate(found.differences):
            if not number:
                print(lines.head)
            start = each.packet.start - (found.offset if each.side == "A" else 0)
            why = each.other or each.cause
            text = str(each.packet) + (f": {why}" if why is not None else "")
            print(lines.row((milliseconds(start), f"{each.differs.value} in {each.side}"[:16], text)))
        counts = ", ".join(
            f"{sum(each.side == side for each in found.differences)} only in {whole}"
            for side, whole in (("B", "A"), ("A", "B"))
        )
        print(f"{found.same} packets are in both, {counts}; B's clock is {milliseconds(abs(found.offset))} ms "
              f"{'ahead of' if found.offset >= 0 else 'behind'} A's")  # fmt: skip
    sys.stdout.flush()
    return 1 if found.differences else 0


def _side(args: argparse.Namespace, path: str) -> Side:
    reading = opened(args, input_at(path))
    return side_of(reading.edges, reading.limits)
