"""A command's input: a file, or a stream that may be live; measured on its way to the decoder."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Generator, Iterator, Sequence

from ..capture import Source, source_of
from ..capture.source import StreamSource
from ..edge import Edge, Edges
from ..error import CaptureError
from ..inspect.losses import Durations

__all__ = ["Measured", "Watched", "input_at"]


class Watched(Source):
    """Another source, of which it is known how much has been read.

    Ctrl-C while a live source is waited for ends it as if it had closed: that is how one ends a live capture.
    """

    def __init__(self, source: Source) -> None:
        self._source = source
        self.name = source.name
        self.live = source.live
        #: Bytes read since the start.
        self.count = 0
        #: True if Ctrl-C ended it.
        self.interrupted = False

    def on_quiet(self, call: Callable[[float], None]) -> None:
        """Have a function called while a live source gives nothing, as :meth:`StreamSource.on_quiet`."""
        if isinstance(self._source, StreamSource):
            self._source.on_quiet(call)

    def chunks(self) -> Generator[bytes, None, None]:
        self.count = 0
        return self._watch(self._source.chunks())

    def look(self) -> Generator[bytes, None, None]:
        return self._watch(self._source.look())

    @property
    def size(self) -> int | None:
        """Bytes in all; ``None`` if that is not known beforehand."""
        return None if self.live else os.path.getsize(self.name)

    def _watch(self, chunks: Generator[bytes, None, None]) -> Generator[bytes, None, None]:
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


class Measured(Edges):
    """Other edges, whose durations are added up and kept for a while as they are gone through.

    :param source: where they come from.
    :param before_more: called each time before more is waited for, when all there was has been taken.
    """

    def __init__(self, edges: Edges, source: Watched, before_more: Callable[[], None]) -> None:
        self._edges = edges
        self._source = source
        self._before_more = before_more
        #: Half-bits so far.
        self.half_bits = 0
        #: The last durations.
        self.durations = Durations()

    @property
    def length(self) -> int:
        """ns so far."""
        return self.durations.now

    def __iter__(self) -> Iterator[Edge]:
        return iter(self._edges)

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        rows = self._edges._rows()
        while True:
            self._before_more()
            try:
                row = next(rows, None)
            except CaptureError:
                if not self._source.interrupted:
                    raise
                row = None  # Ctrl-C came inside a line, which is no fault of the capture's
            if row is None:
                return
            self.half_bits += len(row[0])
            self.durations.add(*row)
            yield row


def input_at(path: str) -> Watched:
    """The input a command line names; ``-`` is standard input.

    :raises CaptureError: if nothing can be opened there.
    """
    if path == "-":
        if sys.stdin is None:
            raise CaptureError("is closed", file="standard input")
        return Watched(StreamSource(sys.stdin.buffer, "standard input"))
    return Watched(source_of(path))
