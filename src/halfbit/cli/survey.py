"""``halfbit survey``: shows the durations of a capture and the limits that read it best."""

from __future__ import annotations

import argparse
import json
from typing import Any

from .input import Measured, input_at
from .opening import opened_for
from .options import PRESETS, add_capture_options
from .progress import Progress
from .width import terminal_width
from ..survey import look_ahead, survey
from ..survey.text import as_dict, lines

__all__ = ["add_parser", "run"]

_EPILOG = """\
With --json the survey is one object; its times are ns, its shares 0 to 1:
  half_bits length bins longer shares{below ones between zeros above} tick
  fit{one zero late latency_rare difference stretched packets} preambles{}
  trials[name packets faults share limits{}] limits{} filter factor finding reason advice

Of a live input the first seconds are surveyed (--seconds).

Exit status: 0 limits were found that read packets, 1 none were, 2 the input cannot be read or the use was wrong.
"""


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "survey",
        help="what a capture looks like, and which limits read it best",
        description="Samples at a capture's durations: how they are distributed, how long the bits are and how exactly the "
        "changes were seen, and which limits read most of it.",
        usage="halfbit survey FILE [options]",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("capture", metavar="FILE", help="the capture; - for standard input")
    parser.add_argument("--json", action="store_true", help="a JSON object instead of text")
    parser.add_argument(
        "--plot", metavar="IMAGE", help="draw the histogram and a packet's waveform to a file: .svg, .png or .pdf (needs matplotlib)"
    )
    parser.add_argument(
        "--seconds", type=float, default=3.0, metavar="S", help="how much of a live input to look at; 3 if not said"
    )
    add_capture_options(parser, everything)
    return parser


def run(args: argparse.Namespace) -> int:
    """Run the survey and return the exit status."""
    if args.plot is not None:
        from ..plot.figure import check_plot  # imported here because matplotlib is slow and optional

        check_plot(args.plot)
    source = input_at(args.capture)
    progress = Progress(source)
    reading = opened_for(args, source, PRESETS["receive"])  # the survey itself finds the limits
    measured = Measured(reading.edges, source, progress.update)
    try:
        found = look_ahead(measured, seconds=args.seconds, thorough=True)[0] if source.live else survey(measured)
    finally:
        progress.clear()
    if args.json:
        print(json.dumps(as_dict(found)))
    else:
        width = terminal_width() or 100
        print("\n".join(lines(found, max(width, 60))))
    if args.plot is not None:
        from ..plot.survey import plot_survey

        plot_survey(found, args.plot, title=source.name)
    return 0 if found.verdict.finding.readable else 1
