"""Checks a capture against the rules for stations: times, preambles, repeats, sequences.

First the scatter of the capture is measured on its one-bits. A value that is out of bounds by no more than that is
"cannot tell". So is one beside a loss. A station whose own bits scatter looks the same as a capture that scatters, so
record with an exact timer, at the station. Rules from memory are shown, but no capture fails because of them.

With --json the output is one object; times are ns.

Exit status: 0 no rule is broken, 1 a rule is broken or no packet was decoded, 2 the input cannot be read or the command
line is wrong.
"""

from __future__ import annotations

import argparse
import json
import textwrap

from ..decoder import Audit, Verdict, audit
from .columns import Columns, milliseconds, terminal_width
from .opening import opened
from .options import PRESETS, CaptureOptions

_WORDS = {Verdict.KEPT: "kept", Verdict.BROKEN: "BROKEN", Verdict.UNCLEAR: "cannot tell"}


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything)
    parser.add_argument("--json", action="store_true", help="a JSON object instead of text")
    options.add_shared(limits=False)


def run(args: argparse.Namespace) -> int:
    """Run the audit and return the exit status."""
    with opened(args, limits=PRESETS["receive"]) as capture:
        found = audit(capture.edges)
        print(json.dumps(found.as_dict()) if args.json else "\n".join(lines(found, terminal_width())))
        return capture.status(found.packets, "no packets, so no rule can be checked") or (0 if found.sound else 1)


def lines(found: Audit, width: int | None) -> list[str]:
    """The audit as text."""
    scatter = f"the capture scatters bits by {found.jitter / 1000:g} us"
    if found.asymmetry:
        scatter += f", and sees one polarity {found.asymmetry / 2000:g} us late"
    head = f"{found.packets} packets, {found.losses} losses; {scatter}, which is allowed for"
    (verdict, _, rule), rows = audit_rows(found)
    table = Columns((verdict, rule), (11,), width)
    text = [*textwrap.wrap(head, width or 120), "", table.head]
    for words, figures, rule in rows:
        text += [table.row((words, rule)), table.row(("", figures))]
    never = [one.rule.words for one in found.findings if not (one.kept or one.broken or one.unclear)]
    if never:
        text += ["", *textwrap.wrap(f"Not checked, because nothing came of it: {'; '.join(never)}.", width or 120)]
    return text


def audit_rows(found: Audit) -> tuple[tuple[str, str, str], list[tuple[str, str, str]]]:
    """The titles, and a row for each rule that could be checked; broken rules first."""
    shown = [one for one in found.findings if one.kept or one.broken or one.unclear]
    shown.sort(key=lambda one: one.verdict is not Verdict.BROKEN)
    rows = []
    for one in shown:
        figures = f"kept {one.kept}, broken {one.broken}, unclear {one.unclear}"
        if one.worst is not None and one.at is not None:
            figures += f"; worst {one.rule.unit.words(one.worst)} at {milliseconds(one.at)} ms"
        rows.append((_WORDS[one.verdict], figures, f"{one.rule.words}: {one.rule.bounds} ({one.rule.source})"))
    return ("verdict", "figures", "rule"), rows
