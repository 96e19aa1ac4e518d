"""Normalizes a text file for the readers: numbers get a plain spelling, comments begin with ``#``.

Line numbers do not change, so errors name the right line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Iterable

from .head import Head
from .lines import LONGEST
from .source import Source

__all__ = ["Plain"]

_COMMENT = re.compile(rb"^([ \t]*);", re.MULTILINE)
_COMMENT_BEHIND = re.compile(rb";[^\n]*")
_THOUSANDS = re.compile(rb"(?<=\d),(?=\d{3}(?!\d))")
_QUOTED = re.compile(rb'"[^"\n]*"')

_Change = Callable[[bytes], bytes]


class Plain(Source):
    """A source whose text is normalized line by line.

    :param head: how the file is written.
    :param text: True for a file without columns. The delimiter then separates values of the same kind.
    :param carriage: True if lines end with a carriage return only.
    """

    def __init__(self, source: Source, head: Head, *, text: bool, carriage: bool) -> None:
        self.name = source.name
        self.live = source.live
        self._source = source
        self._carriage = carriage
        self._changes = list(_changes(head, text))

    @property
    def changes(self) -> bool:
        """True if there is anything to normalize."""
        return bool(self._changes or self._carriage)

    def chunks(self) -> Generator[bytes, None, None]:
        """All bytes, normalized; errors as :meth:`Source.chunks`."""
        return self._changed(self._source.chunks())

    def look(self) -> Generator[bytes, None, None]:
        """The first chunks, normalized; :meth:`chunks` gives them again."""
        return self._changed(self._source.look())

    def _changed(self, chunks: Iterable[bytes]) -> Generator[bytes, None, None]:
        rest = b""
        for chunk in chunks:
            text = rest + (chunk.replace(b"\r", b"\n") if self._carriage else chunk)
            end = len(text) if len(text) > 2 * LONGEST else text.rfind(b"\n") + 1
            rest = text[end:]
            if end:
                yield self._plain(text[:end])
        if rest:
            yield self._plain(rest)

    def _plain(self, text: bytes) -> bytes:
        for change in self._changes:
            text = change(text)
        return text


def _changes(head: Head, text: bool) -> Iterable[_Change]:
    delimiter = head.delimiter.encode()
    if head.semicolons:
        form = _COMMENT_BEHIND if delimiter != b";" else _COMMENT
        yield lambda data: form.sub(rb"\1#" if form is _COMMENT else b"", data)
    if head.units:
        units = re.compile(rb"(?<=[\d.]) ?(?:" + "|".join(head.units).encode() + rb")(?=[\s,;|\"]|$)")
        yield lambda data: units.sub(b"", data)
    if head.decimal == "point" and delimiter == b",":
        yield lambda data: _QUOTED.sub(lambda match: _THOUSANDS.sub(b"", match[0]), data)
    elif head.decimal == "point":
        yield lambda data: _THOUSANDS.sub(b"", data)
    elif head.decimal == "comma" and text:
        yield lambda data: data.replace(b",", b".")
    if head.trailing:
        ends = re.compile(rb"[ \t]*" + re.escape(delimiter) + rb"[ \t]*(?=\r?$)", re.MULTILINE)
        yield lambda data: ends.sub(b"", data)
    if text and delimiter.strip():
        yield lambda data: data.replace(delimiter, b" ")
