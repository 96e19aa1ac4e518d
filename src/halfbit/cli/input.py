"""A command's input: a file, or a stream that may be live.

Counts bytes and durations on the way to the decoder, and shows the progress in a long file.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence

from ..capture import Source, source_of
from ..capture.source import StreamSource, Through
from ..edge import Edges
from ..error import CaptureError
from ..inspect.losses import Durations

__all__ = ["Progress", "Watched", "input_at", "measured"]

PATIENCE = 1.0  # seconds before anything is shown
INTERVAL = 0.2  # seconds between updates


class Watched(Through):
    """A source that counts the bytes read.

    Ctrl-C while waiting for a live source ends it as if it had closed. This is the way to end a live capture.
    """

    def __init__(self, source: Source) -> None:
        super().__init__(source, self._watch)
        self.count: int = 0  #: Bytes read since the start.
        self.interrupted: bool = False  #: True if Ctrl-C ended it.

    def on_quiet(self, call: Callable[[float], None]) -> None:
        """Call a function while a live source gives no data, as :meth:`StreamSource.on_quiet`."""
        if isinstance(self._source, StreamSource):
            self._source.on_quiet(call)

    def _watch(self, chunks: Iterable[bytes]) -> Generator[bytes, None, None]:
        self.count = 0
        if self.interrupted:
            return
        try:
            for chunk in chunks:
                self.count += len(chunk)
                yield chunk
        except KeyboardInterrupt:
            if not self.live:
                raise
            self.interrupted = True


class Progress:
    """The progress line. It is not shown for live input (its size is unknown) or without a terminal."""

    def __init__(self, source: Watched) -> None:
        self._source = source
        self._size = os.path.getsize(source.name) if sys.stderr.isatty() and not source.live else 0
        self._next = time.monotonic() + PATIENCE
        self._shown = ""

    def update(self) -> None:
        """Update the line if it is time."""
        if not self._size or time.monotonic() < self._next:
            return
        self._next = time.monotonic() + INTERVAL
        self.clear()
        share = min(self._source.count / self._size, 1)
        self._shown = f"{self._source.name}: {share:.0%} of {self._size / 1e6:.1f} MB"
        print(self._shown, end="", file=sys.stderr, flush=True)

    def clear(self) -> None:
        """Clear the line, before other output."""
        if self._shown:
            print("\r" + " " * len(self._shown) + "\r", end="", file=sys.stderr, flush=True)
            self._shown = ""


def measured(
    edges: Edges, source: Watched, durations: Durations, before_more: Callable[[], None]
) -> Iterator[tuple[Sequence[int], int]]:
    """The rows of edges.

    :param durations: take those of the edges on the way.
    :param before_more: called each time before waiting for more data.
    """
    before_more()
    try:
        for row in edges._rows():
            durations.add(*row)
            yield row
            before_more()
    except CaptureError:
        if not source.interrupted:  # else Ctrl-C came inside a line; the capture itself is not wrong
            raise


def input_at(path: str) -> Watched:
    """The input for a path on the command line; ``-`` is standard input.

    :raises CaptureError: if it cannot be opened, or if standard input is closed.
    """
    if path == "-":
        if sys.stdin is None:
            raise CaptureError("is closed", file="standard input")
        return Watched(StreamSource(sys.stdin.buffer, "standard input"))
    return Watched(source_of(path))
