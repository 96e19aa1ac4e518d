"""Sources of a capture's bytes: a file, which can be read again, or a stream, which can be read once."""

from __future__ import annotations

import os
import select
import stat
import zlib
from abc import ABC, abstractmethod
from collections.abc import Callable, Generator, Iterable
from typing import BinaryIO, Union

from ..error import CaptureError, HalfbitError

__all__ = ["FileSource", "Location", "Source", "StreamSource", "Through", "source_of", "unpacked"]

#: Location of a capture: a path, a stream of bytes opened for reading, or a :class:`Source`.
Location = Union[str, "os.PathLike[str]", BinaryIO, "Source"]

#: Bytes requested in one read. A stream may give fewer; these are used at once.
SIZE = 1 << 16

#: Seconds without data after which :meth:`StreamSource.on_quiet` calls.
PATIENCE = 5.0

#: The first bytes of a gzip file (RFC 1952, section 2.3.1).
GZIP = b"\x1f\x8b"


class Source(ABC):
    """The bytes of a capture, in chunks."""

    #: The name used in errors. Its ending gives the format.
    name: str
    #: True if more bytes may come at any time. If false, the bytes can be read again.
    live: bool

    @abstractmethod
    def chunks(self) -> Generator[bytes, None, None]:
        """All bytes, from the first.

        :raises CaptureError: if the input cannot be read.
        :raises HalfbitError: if it is a stream that has already been read.
        """

    def look(self) -> Generator[bytes, None, None]:
        """The first chunks, without consuming them: :meth:`chunks` gives them again.

        :raises CaptureError: if the input cannot be read.
        """
        return self.chunks()


class FileSource(Source):
    """A regular file."""

    live = False

    def __init__(self, path: str) -> None:
        self.name = path

    def chunks(self) -> Generator[bytes, None, None]:
        """All bytes of the file.

        :raises CaptureError: if the file cannot be read.
        """
        try:
            with open(self.name, "rb", buffering=0) as file:
                while chunk := file.read(SIZE):
                    yield chunk
        except OSError as error:
            raise unreadable(error, self.name) from error


class StreamSource(Source):
    """A stream: a pipe, a terminal, a serial line, or a stream opened by the caller.

    The result of each read is passed on at once. It never waits to fill a chunk.
    """

    live = True

    def __init__(self, stream: BinaryIO, name: str, *, close: bool = False) -> None:
        """Use an open stream.

        :param close: True if the stream is closed after reading.
        """
        self.name = name
        self._stream = stream
        self._close = close
        self._looked_at: list[bytes] = []
        self._taken = False
        self._quiet: Callable[[float], None] | None = None

    def on_quiet(self, call: Callable[[float], None]) -> None:
        """Call a function each time no data has come for a while. Not if the stream has no file descriptor.

        :param call: is called with the seconds since the last data.
        """
        self._quiet = call

    def _wait(self, quiet: Callable[[float], None]) -> None:
        try:
            file = self._stream.fileno()
        except (OSError, ValueError, AttributeError):
            return
        waited = 0.0
        while not select.select([file], [], [], PATIENCE)[0]:
            waited += PATIENCE
            quiet(waited)

    def chunks(self) -> Generator[bytes, None, None]:
        """All bytes, as they arrive.

        :raises CaptureError: if the stream cannot be read.
        :raises HalfbitError: if it has already been read, or if it gives text instead of bytes.
        """
        if self._taken:
            raise HalfbitError(f"{self.name}: a stream can be read only once")
        self._taken = True
        first, self._looked_at = self._looked_at, []
        try:
            yield from first
            while chunk := self._read():
                yield chunk
        finally:
            if self._close:
                self._stream.close()

    def look(self) -> Generator[bytes, None, None]:
        """The first chunks, kept so that :meth:`chunks` gives them again. Errors as :meth:`chunks`."""
        yield from self._looked_at
        while chunk := self._read():
            self._looked_at.append(chunk)
            yield chunk

    def _read(self) -> bytes:
        # A buffered stream's read() waits until it has all the bytes requested; its read1() does not.
        # A raw stream has no read1(), and its read() does not wait.
        read = getattr(self._stream, "read1", self._stream.read)
        try:
            if self._quiet is not None:
                self._wait(self._quiet)
            chunk: object = read(SIZE)
        except (OSError, ValueError) as error:  # ValueError: it has been closed
            raise unreadable(error, self.name) from error
        if not isinstance(chunk, bytes):
            raise HalfbitError(f"{self.name}: the stream gives {type(chunk).__name__}: open it for bytes")
        return chunk


class Through(Source):
    """A source whose chunks go through a function on the way.

    :param change: takes chunks and gives others, with the same errors as :meth:`Source.chunks`.
    """

    def __init__(self, source: Source, change: Callable[[Iterable[bytes]], Generator[bytes, None, None]]) -> None:
        self.name: str = source.name
        self.live: bool = source.live
        self._source = source
        self._change = change

    def chunks(self) -> Generator[bytes, None, None]:
        """All bytes, changed."""
        return self._change(self._source.chunks())

    def look(self) -> Generator[bytes, None, None]:
        """The first chunks, changed; :meth:`chunks` gives them again."""
        return self._change(self._source.look())


def _unpack(chunks: Iterable[bytes]) -> Generator[bytes, None, None]:
    machine = zlib.decompressobj(wbits=31)
    for chunk in chunks:
        try:
            while chunk:
                if machine.eof:  # one compressed file may follow another
                    machine = zlib.decompressobj(wbits=31)
                data = machine.decompress(chunk, SIZE)
                chunk = machine.unused_data if machine.eof else machine.unconsumed_tail
                if data:
                    yield data
        except zlib.error as error:
            raise CaptureError(f"cannot be unpacked as gzip: {error}") from None
    if not machine.eof:
        raise CaptureError("is cut short: the packed file ends before its data do")


def unpacked(source: Source) -> Source:
    """The source, decompressed if its first bytes are those of a gzip file (RFC 1952)."""
    start = b""
    for chunk in source.look():
        start += chunk
        if len(start) >= 2 or not GZIP.startswith(start):
            break
    if not start.startswith(GZIP):
        return source
    packed = Through(source, _unpack)
    packed.name = source.name.removesuffix(".gz")
    return packed


def source_of(location: Location) -> Source:
    """The source for a path or an open stream. A source is returned unchanged.

    :raises CaptureError: if the file cannot be opened.
    :raises HalfbitError: if ``location`` is neither a path nor a stream nor a source.
    """
    if isinstance(location, Source):
        return location
    if not isinstance(location, (str, os.PathLike)):
        if not hasattr(location, "read"):
            raise HalfbitError(f"{location!r} is neither a path nor a stream of bytes")
        name = getattr(location, "name", "")
        return StreamSource(location, name if isinstance(name, str) and name else "the stream")
    path = os.fsdecode(location)
    try:
        if stat.S_ISREG(os.stat(path).st_mode):
            with open(path, "rb"):
                return FileSource(path)
        # A named pipe or a serial line gives its bytes to the first reader, so open it only once.
        return StreamSource(open(path, "rb", buffering=0), path, close=True)
    except (OSError, ValueError) as error:  # ValueError: not a path, for example with a zero byte in it
        raise unreadable(error, path) from error


def unreadable(error: Exception, name: str) -> CaptureError:
    """A ``CaptureError`` for an error of the operating system."""
    return CaptureError(f"cannot be read: {getattr(error, 'strerror', None) or error}", file=name)
