"""Lists the known instructions: pattern, name, the addresses they are for, and the source."""

from __future__ import annotations

import argparse
import sys

from ..instruction.registry_listing import listing, render


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", dest="form", action="store_const", const="json", help="JSON Lines")
    form.add_argument("--csv", dest="form", action="store_const", const="csv", help="CSV with column names")
    parser.set_defaults(form="text")


def run(args: argparse.Namespace) -> int:
    """Print the list and return the exit status."""
    sys.stdout.write(render(listing(), args.form))
    return 0
