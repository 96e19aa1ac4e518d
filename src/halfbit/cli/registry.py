"""``halfbit registry``: lists the known instructions."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from ..instruction.registry_listing import listing, render

__all__ = ["add_parser", "run"]


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "registry",
        help="the instructions that are known, with their sources",
        description="Lists the instructions that are known: pattern, name, the addresses they are for, and the source.",
        allow_abbrev=False,
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", dest="form", action="store_const", const="json", help="JSON Lines")
    form.add_argument("--csv", dest="form", action="store_const", const="csv", help="CSV with column names")
    parser.set_defaults(form="text")
    return parser


def run(args: argparse.Namespace) -> int:
    """Print the list and return the exit status."""
    sys.stdout.write(render(listing(), args.form))
    return 0
