"""Normalizes a text file for the readers: numbers get a plain spelling, comments begin with ``#``.

Line numbers do not change, so errors name the right line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Iterable
from typing import Union

from .head import Head
from .lines import LONGEST
from .source import Source, Through

__all__ = ["plain"]

_COMMENT = re.compile(rb"^([ \t]*);", re.MULTILINE)
_COMMENT_BEHIND = re.compile(rb";[^\n]*")
_THOUSANDS = re.compile(rb"(?<=\d),(?=\d{3}(?!\d))")
_QUOTED = re.compile(rb'"[^"\n]*"')

_Change = tuple[re.Pattern[bytes], Union[bytes, Callable[[re.Match[bytes]], bytes]]]  #: What is replaced, and by what.


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
    for pattern, by in changes:
        text = pattern.sub(by, text)
    return text


def _changes(head: Head, text: bool) -> Iterable[_Change]:
    delimiter = re.escape(head.delimiter.encode())
    if head.semicolons:
        yield (_COMMENT, rb"\1#") if head.delimiter == ";" else (_COMMENT_BEHIND, b"")
    if head.units:
        units = "|".join(sorted({*head.units}, key=len, reverse=True)).encode()
        yield re.compile(rb"(?<=[\d.]) ?(?:" + units + rb")(?=[\s,;|\"]|$)"), b""
    if head.decimal == "point":
        in_quotes = _QUOTED, lambda match: _THOUSANDS.sub(b"", match[0])
        yield in_quotes if head.delimiter == "," else (_THOUSANDS, b"")
    elif head.decimal == "comma" and text:
        yield re.compile(b","), b"."
    if head.trailing:
        yield re.compile(rb"[ \t]*" + delimiter + rb"[ \t]*(?=\r?$)", re.MULTILINE), b""
    if text and head.delimiter.strip():
        yield re.compile(delimiter), b" "
