"""Opening a command's capture, and saying on standard error how it is read."""

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
    """The capture, read as the options say; what they do not say is found out."""
    return opened_for(args, source, limits_of(args))


def opened_for(args: argparse.Namespace, source: Watched, limits: Limits | None) -> Reading:
    """The capture, to be held against limits; ``None`` to find those that fit."""
    if source.live:
        source.on_quiet(
            lambda seconds: print(f"halfbit: {source.name}: no change for {seconds:g} s", file=sys.stderr, flush=True)
        )
    try:
        reading = captured(args, source, limits)
    except CaptureError:
        if source.interrupted:  # before the first number came: an empty capture, but by the user's will
            raise KeyboardInterrupt from None
        raise
    words = f"read as: {reading.words}"
    if not sys.stderr.isatty():
        words = f"halfbit: {source.name}: {words}"  # several commands may write to one file
    print(words, file=sys.stderr, flush=True)
    return reading
