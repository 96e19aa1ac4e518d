"""``halfbit audit``: how well a station follows the standards."""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from typing import Any

from ..decoder import Audit, Finding, Verdict, audit
from .columns import Columns, milliseconds
from .input import Measured, input_at
from .opening import opened_for
from .options import PRESETS, add_capture_options
from .progress import Progress
from .width import terminal_width

__all__ = ["add_parser", "audit_rows", "run"]

_EPILOG = """\
The scatter of the capture is measured first, on its one-bits, and allowed for: what lies out of bounds by no more is
"cannot tell". So is what comes beside a loss. A station whose own bits scatter looks the same as a capture that
scatters: record with an exact timer, at the station. Rules from memory are shown, but no capture is failed for them.

With --json one object: sound jitter asymmetry packets losses rules[rule words source from_memory unit least most
verdict kept broken unclear worst at allowed]; times are integer ns.

Exit status: 0 no rule is broken, 1 one is, or no packet was decoded, 2 the input cannot be read or the use was wrong.
"""

_WORDS = {Verdict.KEPT: "kept", Verdict.BROKEN: "BROKEN", Verdict.UNCLEAR: "cannot tell"}


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "audit",
        help="how the station that sent a capture keeps to the standards",
        description="Holds a capture against what the standards ask of a station: times, preambles, repeats, sequences.",
        usage="halfbit audit FILE [options]",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    parser.add_argument("--json", action="store_true", help="a JSON object instead of text")
    add_capture_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Run the audit and return the exit status."""
    source = input_at(args.capture)
    progress = Progress(source)
    measured = Measured(opened_for(args, source, PRESETS["receive"]).edges, source, progress.update)
    try:
        found = audit(measured)
    finally:
        progress.clear()
    if args.json:
        print(json.dumps(found.as_dict()))
    else:
        print("\n".join(lines(found, terminal_width())))
    if not found.packets:
        sys.stdout.flush()
        print(f"halfbit: {source.name}: no packets, so no rule can be checked", file=sys.stderr)
        return 1
    return 0 if found.sound else 1


def lines(found: Audit, width: int | None) -> list[str]:
    """The audit as text."""
    shown = [one for one in found.findings if one.kept or one.broken or one.unclear]
    shown.sort(key=lambda one: one.verdict is not Verdict.BROKEN)
    scatter = f"the capture scatters bits by {found.jitter / 1000:g} us"
    if found.asymmetry:
        scatter += f", and sees one polarity {found.asymmetry / 2000:g} us late"
    head = f"{found.packets} packets, {found.losses} losses; {scatter}, which is allowed for"
    text = [*textwrap.wrap(head, width or 120), ""]
    if width is not None and width < 110:
        table = Columns(("verdict", "rule"), (11,), width)
        text.append(table.head)
        for one in shown:
            text.append(table.row((_WORDS[one.verdict], f"{_rule(one)}: {one.rule.bounds} ({one.rule.source})")))
            text.append(table.row(("", f"kept {one.kept}, broken {one.broken}, unclear {one.unclear}; {_worst(one)}")))
    else:
        titles, rows = audit_rows(found)
        text += Columns(titles, (11, -7, -6, -7, -11, -11), width).rows(rows)
    never = [one.rule.words for one in found.findings if one not in shown]
    if never:
        words = "Nothing came of: " + "; ".join(never) + "."
        text += ["", *textwrap.wrap(words, width or 120)]
    return text


def audit_rows(found: Audit) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The titles, and a row for each rule that could be checked; broken rules first."""
    titles = ("verdict", "kept", "broken", "unclear", "worst", "at ms", "rule")
    shown = [one for one in found.findings if one.kept or one.broken or one.unclear]
    shown.sort(key=lambda one: one.verdict is not Verdict.BROKEN)
    return titles, [
        (_WORDS[one.verdict], str(one.kept), str(one.broken), str(one.unclear), *_place(one),
         f"{_rule(one)}: {one.rule.bounds} ({one.rule.source})")
        for one in shown
    ]  # fmt: skip


def _rule(one: Finding) -> str:
    return one.rule.words


def _place(one: Finding) -> tuple[str, str]:
    if one.worst is None or one.at is None:
        return "-", "-"
    return one.rule.unit.words(one.worst), milliseconds(one.at)


def _worst(one: Finding) -> str:
    worst, at = _place(one)
    return f"worst {worst} at {at} ms" if one.at is not None else "no value out of bounds"
