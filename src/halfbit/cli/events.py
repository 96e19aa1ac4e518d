"""The events of a capture, for commands that read them once."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator

from ..instruction import Event, Instruction
from ..stream import decode
from .input import Measured, Watched, input_at
from .opening import opened
from .options import (
    add_capture_options,
    add_limit_options,
    add_reading_options,
    configuration_of,
    context_of,
    limits_of,
)
from .progress import Progress

__all__ = ["add_event_options", "end_of", "events_of"]


def add_event_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the options of :func:`events_of`."""
    add_capture_options(parser, everything)
    add_limit_options(parser, everything)
    add_reading_options(parser, everything)


def events_of(args: argparse.Namespace) -> tuple[Watched, Callable[[], Iterator[Event]]]:
    """The input, and a function that gives its events once.

    While the events are read, output is flushed at once for live input, and the progress line is cleared first.
    """
    limits_of(args)  # refuse contradictory options before reading
    configuration, context = configuration_of(args), context_of(args)
    source = input_at(args.capture)
    progress = Progress(source)

    def before_more() -> None:
        if source.live:
            sys.stdout.flush()
        progress.update()

    def events() -> Iterator[Event]:
        try:
            reading = opened(args, source)
            measured = Measured(reading.edges, source, before_more)
            for event in decode(measured, reading.limits, configuration=configuration, context=context):
                progress.clear()
                yield event
        finally:
            progress.clear()

    return source, events


def end_of(event: Event) -> int:
    """The end of an event, ns."""
    if isinstance(event, Instruction):
        return 0 if event.packet is None else event.packet.end
    return event.end
