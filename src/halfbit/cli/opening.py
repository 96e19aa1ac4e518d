"""Opens a command's capture, reports how it is read, and shows progress while it is decoded."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import attrs

from ..capture import Options
from ..edge import Edges, ReplayedEdges
from ..error import CaptureError, HalfbitError
from ..inspect.cause import Diagnosis
from ..inspect.losses import Diagnoser, Durations
from ..inspect.reading import Reading, read_capture
from ..instruction import Configuration, Context, Event
from ..limits import Limits
from ..stream import decode
from .input import Progress, Watched, input_at, measured
from .options import as_options, limits_of

__all__ = ["Opened", "opened"]


@attrs.frozen
class Opened:
    """A command's capture."""

    source: Watched
    reading: Reading
    edges: Edges  #: The edges to decode, once. Progress is shown.
    durations: Durations  #: The last durations of the edges, and how many there were.
    configuration: Configuration | None  #: As given by an option; so is the context.
    context: Context | None
    _progress: Progress

    def events(self) -> Iterator[Event]:
        """The events of the capture, once. The progress line is cleared before each."""
        limits, configuration, context = self.reading.limits, self.configuration, self.context
        try:
            for event in decode(self.edges, limits, configuration=configuration, context=context):
                self._progress.clear()
                yield event
        finally:
            self._progress.clear()

    def diagnosed(self) -> Iterator[tuple[Event, Diagnosis | None]]:
        """The events, once, each loss with its diagnosis.

        :raises CaptureError: if the input cannot be read to its end, after all events before that have come out.
        """
        wait = not self.source.live
        diagnoser: Diagnoser[Event] = Diagnoser(self.reading.limits, self.durations, wait=wait)
        return diagnoser.through(self.events())

    def status(self, found: object, otherwise: str) -> int:
        """The exit status. If nothing was found, the reason is written to standard error."""
        if not found:
            sys.stdout.flush()
            print(f"halfbit: {self.source.name}: {otherwise}", file=sys.stderr)
        if self.source.interrupted:
            return 130
        return 0 if found else 1


@contextmanager
def opened(
    args: argparse.Namespace, *, path: str | None = None, limits: Limits | None = None, twice: str = ""
) -> Iterator[Opened]:
    """Open the capture with the given options. Missing options are found automatically.

    :param path: of the capture, if it is not ``args.capture``.
    :param limits: the limits to use, for commands that have no options for them.
    :param twice: what must read the capture again, in words; empty if nothing does.
    :raises CaptureError: if it cannot be read.
    :raises HalfbitError: if options contradict each other, or if a stream cannot be read again.
    """
    limits = limits_of(args) if limits is None else limits
    cv29, mode = getattr(args, "cv29", None), getattr(args, "context", None)
    configuration = None if cv29 is None else Configuration(cv29)
    context = None if mode is None else Context(mode)
    source = input_at(args.capture if path is None else path)
    if twice and source.live:
        raise HalfbitError(f"{source.name}: {twice} needs a file, which can be read again")
    progress = Progress(source)

    def before_more() -> None:
        if source.live:
            sys.stdout.flush()
        progress.update()

    try:
        reading = _reading(args, source, limits)
        durations = Durations()
        edges = ReplayedEdges(measured(reading.edges, source, durations, before_more), source.name)
        yield Opened(source, reading, edges, durations, configuration, context, progress)
    finally:
        progress.clear()


def _reading(args: argparse.Namespace, source: Watched, limits: Limits | None) -> Reading:
    name = f"halfbit: {source.name}"
    source.on_quiet(lambda seconds: print(f"{name}: no change for {seconds:g} s", file=sys.stderr, flush=True))
    said = {field.name: getattr(args, field.name) for field in attrs.fields(Options)}
    try:
        reading = read_capture(source, limits=limits, minimum=args.filter, format=args.format, **said)
    except CaptureError:
        if source.interrupted:  # ended by the user before the first number: not an error of the capture
            raise KeyboardInterrupt from None
        raise
    # Several commands may write to the same file, so each says who it is.
    start = "" if sys.stderr.isatty() else f"{name}: "
    print(f"{start}read as: {as_options(reading.words)}", file=sys.stderr, flush=True)
    return reading
