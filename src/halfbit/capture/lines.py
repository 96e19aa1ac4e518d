"""Splits text into lines, in batches as the text arrives, with line numbers."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Iterator

import attrs

from ..error import CaptureError
from .unsaid import LastLineError

__all__ = ["BOM", "NO_TEXT", "Lines", "complaint", "lines_of", "quoted", "unfinished"]

#: Longest line in bytes. A longer one is an error; this limits memory use.
LONGEST = 1 << 16

#: Control characters that do not occur in text.
NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1b\x7f]")

BOM = b"\xef\xbb\xbf"  # which some editors put before UTF-8
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")


@attrs.frozen(slots=True)
class Lines:
    """Consecutive lines of a file."""

    #: Line number of the first line, from 1.
    number: int
    #: All the lines, joined by line feeds.
    text: bytes

    @property
    def texts(self) -> list[bytes]:
        """The lines one by one."""
        return self.text.split(b"\n")


def lines_of(chunks: Iterable[bytes], take_last: bool = False) -> Iterator[Lines]:
    """Split bytes into lines. Each chunk yields the lines that it completes. UTF-16 is recognised by its byte order mark.

    :param take_last: accept a last line without a line end. Otherwise it is an error, because its
        number may be incomplete. The lines before it come out first.
    :raises CaptureError: for a last line without a line end, and for a line that is too long.
    """
    number = 1
    rest = b""
    opening = True
    utf_16: codecs.IncrementalDecoder | None = None
    for chunk in chunks:
        rest += chunk if utf_16 is None else utf_16.decode(chunk).encode()
        if opening:
            if len(rest) < len(BOM) and b"\n" not in rest:
                continue
            opening = False
            if rest.startswith(_UTF_16):
                utf_16 = codecs.getincrementaldecoder("utf-16")("replace")
                rest = utf_16.decode(rest).encode()
            rest = rest.removeprefix(BOM)
        end = rest.rfind(b"\n")
        if end >= 0:
            yield Lines(number, rest[:end])
            number += rest.count(b"\n")
            rest = rest[end + 1 :]
        if len(rest) > LONGEST:
            raise CaptureError(f"more than {LONGEST} bytes without a line end: not a text file?", f"line {number}")
    if not rest:
        return
    if not take_last:
        raise unfinished(rest, number)
    yield Lines(number, rest)


def unfinished(rest: bytes, number: int) -> LastLineError:
    """The error for a last line without a line end."""
    return LastLineError(
        f"the file ends inside the line: after {quoted(rest)} there is no line end, so it may be "
        "cut short (if the file is whole, take it with last_line=take)",
        f"line {number}",
    )


def quoted(text: bytes) -> str:
    """Text for an error message: quoted, escaped, and shortened."""
    shown = text.strip().decode("utf-8", "backslashreplace")
    return repr(shown if len(shown) <= 40 else shown[:37] + "...")


def complaint(text: bytes) -> str:
    """Why these bytes are not text; empty if they may be text."""
    try:
        shown = text.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"byte 0x{text[error.start]:02x} is not UTF-8 text: not a text file, or one in another encoding?"
    for character in shown:
        if NO_TEXT.match(character.encode()):
            return f"byte 0x{ord(character):02x} is no text: not a text file?"
    return ""
