"""``--limits auto``: the limits that fit the capture at hand, found by a survey of it."""

from __future__ import annotations

import argparse
import sys

from .input import Watched
from .options import AUTO, limits_of
from ..edge import Edges
from ..limits import Limits
from ..survey import look_ahead, survey

__all__ = ["chosen_limits"]


def chosen_limits(
    args: argparse.Namespace, source: Watched, edges: Edges, measured: Edges
) -> tuple[Limits, Edges]:
    """The limits the options ask for, and the edges to decode with them.

    A file is surveyed as a whole before it is decoded; of a live source the first seconds are, which are
    decoded after that all the same. What was found is told on standard error.

    :param edges: of the source.
    :param measured: the same, to be gone through only once.
    """
    if args.limits != AUTO:
        return limits_of(args), measured
    if source.live:
        found, measured = look_ahead(measured)
    else:
        found = survey(edges, thorough=False)
    limits = limits_of(args, found.limits)
    print(f"halfbit: {source.name}: {found.verdict.reason}", file=sys.stderr)
    if found.filter or not found.verdict.finding.readable:
        print(f"halfbit: {source.name}: {found.verdict.advice}", file=sys.stderr)
    return limits, measured
