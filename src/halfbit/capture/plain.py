"""Normalizes a text file for the readers: numbers get a plain spelling, comments begin with ``#``.

Line numbers do not change, so errors name the right line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Iterable

from .head import Head
from .lines import LONGEST
from .source import Source, Through

__all__ = ["plain"]

_COMMENT = re.compile(rb"^([ \t]*);", re.MULTILINE)
_COMMENT_BEHIND = re.compile(rb";[^\n]*")
_THOUSANDS = re.compile(rb"(?<=\d),(?=\d{3}(?!\d))")
_QUOTED = re.compile(rb'"[^"\n]*"')

_Change = Callable[[bytes], bytes]


def plain(source: Source, head: Head, *, text: bool, carriage: bool) -> Source:
    """The source with its text normalized.

    :param head: how the file is written.
    :param text: True for a file without columns. The delimiter then separates values of the same kind.
    :param carriage: True if lines end with a carriage return only.
    """
    changes = list(_changes(head, text))

    def normalized(chunks: Iterable[bytes]) -> Generator[bytes, None, None]:
        rest = b""
        for chunk in chunks:
            rest += chunk.replace(b"\r", b"\n") if carriage else chunk
            end = len(rest) if len(rest) > 2 * LONGEST else rest.rfind(b"\n") + 1
            if end:
                yield _changed(rest[:end], changes)
            rest = rest[end:]
        if rest:
            yield _changed(rest, changes)

    return Through(source, normalized) if changes or carriage else source


def _changed(text: bytes, changes: Iterable[_Change]) -> bytes:
    for change in changes:
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
