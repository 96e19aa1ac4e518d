"""Where a capture's bytes come from: a file, which can be read again, or a stream, which is read once."""

from __future__ import annotations

import os
import select
import stat
import zlib
from abc import ABC, abstractmethod
from collections.abc import Callable, Generator, Iterable
from typing import BinaryIO, Union

from ..error import CaptureError, HalfbitError

__all__ = ["FileSource", "Location", "Source", "StreamSource", "source_of", "unpacked"]

#: A capture's place: a path, a stream of bytes opened for reading, or a source of its own kind.
Location = Union[str, "os.PathLike[str]", BinaryIO, "Source"]

#: Bytes asked for in one read. What a stream has is taken at once, though it is less.
SIZE = 1 << 16

#: How a gzip file begins (RFC 1952, section 2.3.1).
GZIP = b"\x1f\x8b"


class Source(ABC):
    """The bytes of a capture, in chunks."""

    #: What errors call it; its ending tells the format.
    name: str
    #: True if more may come at any time. If not, the bytes can be gone through again.
    live: bool

    @abstractmethod
    def chunks(self) -> Generator[bytes, None, None]:
        """All bytes, from the first.

        :raises CaptureError: if the input cannot be read.
        :raises HalfbitError: if it is a stream that has been read.
        """

    @abstractmethod
    def look(self) -> Generator[bytes, None, None]:
        """The first chunks, without taking them: :meth:`chunks` gives them too."""


class FileSource(Source):
    """A regular file."""

    live = False

    def __init__(self, path: str) -> None:
        self.name = path

    def chunks(self) -> Generator[bytes, None, None]:
        try:
            with open(self.name, "rb", buffering=0) as file:
                while chunk := file.read(SIZE):
                    yield chunk
        except OSError as error:
            raise unreadable(error, self.name) from error

    def look(self) -> Generator[bytes, None, None]:
        return self.chunks()


class StreamSource(Source):
    """A stream: a pipe, a terminal, a serial line, or what the caller has opened.

    Never waits for more than there is: what one read gives is passed on.
    """

    live = True

    def __init__(self, stream: BinaryIO, name: str, *, close: bool = False) -> None:
        """
        :param close: True if the stream is closed when no more is wanted of it.
        """
        self.name = name
        self._stream = stream
        self._close = close
        self._looked_at: list[bytes] = []
        self._taken = False
        self._quiet: Callable[[float], None] | None = None
        self._patience = 0.0

    def on_quiet(self, call: Callable[[float], None], patience: float = 5.0) -> None:
        """Have a function called each time nothing has come for a while, with the seconds since something came.

        :param patience: seconds. A stream without a file of the system's is not watched.
        """
        self._quiet = call
        self._patience = patience

    def _wait(self) -> None:
        try:
            file = self._stream.fileno()
        except (OSError, ValueError, AttributeError):
            return
        waited = 0.0
        while self._quiet is not None and not select.select([file], [], [], self._patience)[0]:
            waited += self._patience
            self._quiet(waited)

    def chunks(self) -> Generator[bytes, None, None]:
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
        yield from self._looked_at
        while chunk := self._read():
            self._looked_at.append(chunk)
            yield chunk

    def _read(self) -> bytes:
        # A buffered stream's read() waits until it has all it was asked for, its read1() does not;
        # a raw stream has no read1(), and its read() does not wait.
        read = getattr(self._stream, "read1", self._stream.read)
        try:
            if self._quiet is not None:
                self._wait()
            chunk: object = read(SIZE)
        except (OSError, ValueError) as error:  # ValueError: it has been closed
            raise unreadable(error, self.name) from error
        if not isinstance(chunk, bytes):
            raise HalfbitError(f"{self.name}: the stream gives {type(chunk).__name__}: open it for bytes")
        return chunk


class _Unpacked(Source):
    """A source packed with gzip (RFC 1952)."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self.name = source.name.removesuffix(".gz")
        self.live = source.live

    def chunks(self) -> Generator[bytes, None, None]:
        return _unpack(self._source.chunks())

    def look(self) -> Generator[bytes, None, None]:
        return _unpack(self._source.look())


def _unpack(chunks: Iterable[bytes]) -> Generator[bytes, None, None]:
    machine = zlib.decompressobj(wbits=31)
    for chunk in chunks:
        try:
            while chunk:
                if machine.eof:  # one packed file may follow another
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
    """The source, unpacked if its first bytes say it is a gzip file (RFC 1952)."""
    start = b""
    for chunk in source.look():
        start += chunk
        if len(start) >= 2 or not GZIP.startswith(start):
            break
    return _Unpacked(source) if start.startswith(GZIP) else source


def source_of(location: Location) -> Source:
    """The source at a path, or over an open stream; a source as it is.

    :raises CaptureError: if nothing can be opened there.
    :raises HalfbitError: for what is neither a path nor a stream.
    """
    if isinstance(location, Source):
        return location
    if isinstance(location, (str, os.PathLike)):
        path = os.fsdecode(location)
    elif hasattr(location, "read"):
        name = getattr(location, "name", "")
        return StreamSource(location, name if isinstance(name, str) and name else "the stream")
    else:
        raise HalfbitError(f"{location!r} is neither a path nor a stream of bytes")
    try:
        if stat.S_ISREG(os.stat(path).st_mode):
            with open(path, "rb"):
                return FileSource(path)
        # A named pipe or a serial line gives its bytes to whoever opens it first: open it once.
        return StreamSource(open(path, "rb", buffering=0), path, close=True)
    except (OSError, ValueError) as error:  # ValueError: no path at all, as with a zero byte in it
        raise unreadable(error, path) from error


def unreadable(error: Exception, name: str) -> CaptureError:
    """What a system's error means for a capture."""
    if isinstance(error, FileNotFoundError):
        problem = "no such file"
    elif isinstance(error, IsADirectoryError):
        problem = "is a directory, not a capture"
    elif isinstance(error, PermissionError):
        problem = "may not be read"
    else:
        problem = f"cannot be read: {getattr(error, 'strerror', None) or error}"
    return CaptureError(problem, file=name)
