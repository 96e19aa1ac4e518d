"""Opens a command's capture and reports on standard error how it is read."""

from __future__ import annotations

import argparse
import sys

from ..error import CaptureError
from ..inspect.reading import Reading
from ..limits import Limits
from .input import Watched
from .options import captured, limits_of

__all__ = ["opened", "opened_for"]


def opened(args: argparse.Namespace, source: Watched) -> Reading:
    """Open the capture with the given options. Missing options are found automatically.

    :raises CaptureError: if it cannot be read.
    """
    return opened_for(args, source, limits_of(args))


def opened_for(args: argparse.Namespace, source: Watched, limits: Limits | None) -> Reading:
    """Open the capture for some limits; ``None`` to find the limits that fit.

    :raises CaptureError: if it cannot be read.
    """
    if source.live:
        source.on_quiet(
            lambda seconds: print(f"halfbit: {source.name}: no change for {seconds:g} s", file=sys.stderr, flush=True)
        )
    try:
        reading = captured(args, source, limits)
    except CaptureError:
        if source.interrupted:  # ended by the user before the first number: not an error of the capture
            raise KeyboardInterrupt from None
        raise
    words = f"read as: {reading.words}"
    if not sys.stderr.isatty():
        words = f"halfbit: {source.name}: {words}"  # name the command, because several may write to the same file
    print(words, file=sys.stderr, flush=True)
    return reading
