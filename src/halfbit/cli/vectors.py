"""Test signals with the correct output of a decoder, by the rules that they test. Checks a port against them.

Exit status: 0 success, 1 the port differs, 2 the command line is wrong or the port cannot be run.
"""

from __future__ import annotations

import argparse
import json
import shlex
from collections import Counter
from difflib import get_close_matches

from ..error import HalfbitError
from ..vectors.check import Report, check, fed
from ..vectors.case import SETS, cases, heading
from ..vectors.serial_line import BAUD, check_serial


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the actions and their options."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    for name, text in (
        ("list", "the rules, and how many cases each has"),
        ("heading", "the limits and the numbers of the answers, as one line of JSON"),
        ("show", "a case as one line of JSON"),
        ("feed", "the input for a port"),
        ("check", "run a port and list the rules that it breaks"),
    ):
        action = actions.add_parser(name, help=text, description=text, allow_abbrev=False)
        limits = "limits of the cases: for decoders (receive, default), for stations (transmit), or by sum (sum)"
        action.add_argument("--limits", choices=tuple(SETS), default="receive", help=limits)
        if name == "show":
            action.add_argument("case", metavar="ID", help="the case's name")
        if name in ("feed", "check"):
            action.add_argument("--rule", help="only the cases of this rule")
            ticks = "ticks of the port per microsecond"
            action.add_argument("--ticks-per-us", type=int, default=1, metavar="N", help=ticks)
        if name == "check":
            action.add_argument("--packets-only", action="store_true", help="compare only packets")
            serial = "the port runs on a board; COMMAND is the device of its serial line"
            action.add_argument("--serial", action="store_true", help=serial)
            baud = "speed of the serial line (default: %(default)s)"
            action.add_argument("--baud", type=int, default=BAUD, metavar="N", help=baud)
            port = "the port's command line, in quotes if it has arguments"
            action.add_argument("port", metavar="COMMAND", help=port)


def run(args: argparse.Namespace) -> int:
    """Run the action and return the exit status. For ``check``: 1 if the port differs.

    :raises HalfbitError: if the case or rule does not exist.
    """
    if args.action == "heading":
        print(json.dumps(heading(args.limits)))
        return 0
    chosen = cases(args.limits)
    if args.action == "list":
        for rule, count in Counter(case.rule for case in chosen).items():
            print(f"{count:4}  {rule}")
        return 0
    if args.action == "show":
        found = [case for case in chosen if case.id == args.case]
        if not found:
            close = get_close_matches(args.case, [case.id for case in chosen], 3, 0.5)
            near = f": did you mean {' or '.join(close)}?" if close else ""
            raise HalfbitError(f"there is no case {args.case!r} for the limits {args.limits}{near}")
        print("\n".join(case.to_json() for case in found))
        return 0
    if args.rule is not None:
        chosen = tuple(case for case in chosen if case.rule == args.rule)
        if not chosen:
            raise HalfbitError(f"there is no rule {args.rule!r}: halfbit vectors list shows them")
    if args.action == "feed":
        print(fed(chosen, args.ticks_per_us), end="")
        return 0
    ticks, only = args.ticks_per_us, args.packets_only
    if args.serial:
        report = check_serial(args.port, chosen, baud=args.baud, ticks_per_us=ticks, packets_only=only)
    else:
        report = check(shlex.split(args.port), chosen, ticks_per_us=ticks, packets_only=only)
    _print(report)
    return 1 if report.differences else 0


def _print(report: Report) -> None:
    shortest = report.shortest
    if shortest is not None and report.all_differ:
        print("every case differs: look at the answers' form and numbers first. The shortest case that differs:")
        print(f"    {shortest.case.id}: {shortest.case.text}")
        print(f"    {shortest.text}; the durations, us: {' '.join(map(str, shortest.case.durations))}")
    if report.hint:
        print(report.hint)
    broken = {} if report.all_differ else report.broken
    for rule, first in broken.items():
        count, differ = report.rules[rule]
        extent = "" if first.packets else ", but not in their packets"
        print(f"{rule}: {differ} of {count} cases differ{extent} ({first.case.source})")
        print(f"    {first.case.id}: {first.case.text}")
        print(f"    {first.text}")
    sound = len(report.rules) - len(report.broken)
    print(f"{len(report.cases)} cases, {len(report.differences)} differ; {sound} of {len(report.rules)} rules kept")
