"""A capture's events for commands that go through them once."""

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
    """The input that is named, and what gives its events, once.

    What is printed meanwhile reaches a reader of a live input at once, and stands beside no line of progress.
    """
    limits_of(args)  # what contradicts itself is refused before anything is read
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
    """When an event ended, ns."""
    if isinstance(event, Instruction):
        return 0 if event.packet is None else event.packet.end
    return event.end
