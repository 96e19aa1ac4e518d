"""Surveys a capture: its durations, the length of the bits, how exactly the changes were seen, and the best limits.

With --json the output is one object; times are ns, shares 0 to 1. Of a live input, the first seconds are surveyed.

Exit status: 0 limits were found that read packets, 1 no limits were, 2 the input cannot be read or the command line is
wrong.
"""

from __future__ import annotations

import argparse
import json

from ..plot.survey import plot_survey
from ..survey import look_ahead, survey
from ..survey.text import as_dict, lines
from .columns import terminal_width
from .opening import opened
from .options import PRESETS, CaptureOptions


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    options = CaptureOptions(parser, everything)
    group = options.group("what is shown")
    group.add("--json", action="store_true", help="a JSON object instead of text")
    group.add_plot("the histogram and a packet's waveform to a file")
    seconds = "how much of a live input is surveyed (default: %(default)g)"
    group.add("--seconds", type=float, default=3.0, metavar="S", help=seconds)
    options.add_shared(limits=False)


def run(args: argparse.Namespace) -> int:
    """Run the survey and return the exit status."""
    with opened(args, limits=PRESETS["receive"]) as capture:  # the survey itself finds the limits
        edges, live = capture.edges, capture.source.live
        found = look_ahead(edges, seconds=args.seconds, thorough=True)[0] if live else survey(edges)
        title = capture.source.name
    if args.json:
        print(json.dumps(as_dict(found)))
    else:
        print("\n".join(lines(found, max(terminal_width() or 100, 60))))
    if args.plot is not None:
        plot_survey(found, args.plot, title=title)
    return 0 if found.verdict.finding.readable else 1
