"""Splits text into lines, in batches as the text arrives, and reads them, with line numbers."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

import attrs

from ..batch import each_until_error
from ..error import CaptureError, LastLineError

__all__ = [
    "BOM", "HEADING", "NO_TEXT", "Lines", "complaint", "lines_of", "listed", "quoted", "read_lines", "unfinished",
]  # fmt: skip

LONGEST = 1 << 16  #: Longest line in bytes. A longer one is an error; this limits memory use.

SHOWN = 20  #: Most names listed in an error message.

NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1b\x7f]")  #: Control characters that do not occur in text.

HEADING = re.compile(rb"^[ \t]*#[ \t]*halfbit:(.*)$", re.MULTILINE)  #: See :mod:`halfbit.capture.heading`.

_COMMENTS = re.compile(rb"([ \t\r]*(#[^\n]*)?\n)*")  #: Comments and blank lines.

BOM = b"\xef\xbb\xbf"  # which some editors put before UTF-8
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")


T = TypeVar("T")


@attrs.frozen(slots=True)
class Lines:
    """Consecutive lines of a file."""

    number: int  #: Line number of the first line, from 1.
    text: bytes  #: All the lines, joined by line feeds.

    @property
    def texts(self) -> list[bytes]:
        """The lines one by one."""
        return self.text.split(b"\n")

    @property
    def numbers(self) -> Sequence[int]:
        """The number of each line."""
        return range(self.number, self.number + self.text.count(b"\n") + 1)

    def singly(self) -> Iterator[Lines]:
        """Each line as lines of its own."""
        return map(Lines, self.numbers, self.texts)

    def decoded(self) -> list[str]:
        """The lines as text.

        :raises CaptureError: if they are not text.
        """
        if wrong := complaint(self.text):
            raise CaptureError(wrong, f"line {self.number}")
        return self.text.decode().split("\n")


def lines_of(chunks: Iterable[bytes], take_last: bool = False) -> Iterator[Lines]:
    """Split bytes into lines. Each chunk yields the lines that it completes. UTF-16 is known by its byte order mark.

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


def read_lines(
    chunks: Iterable[bytes], take_last: bool, read: Callable[[Lines], T | None], after: int = 0
) -> Iterator[T]:
    """Read lines with values, many at once.

    :param read: gives what some lines hold, or ``None`` if they are blank.
    :param after: number of the last line above the values, or of one above it.
    :raises CaptureError: as ``read`` and :func:`lines_of`, and for a heading after values. What the lines before hold
        comes out first.
    """
    opening = True
    for lines in lines_of(chunks, take_last):
        *above, text = (lines.text + b"\n").split(b"\n", max(after - lines.number + 1, 0))
        number = lines.number + len(above)
        if opening:
            head = _COMMENTS.match(text)
            start = head.end() if head else 0
            number += text.count(b"\n", 0, start)
            text = text[start:]
            opening = not text
        late = HEADING.search(text)
        rows = Lines(number, (text[: late.start()] if late else text)[:-1])
        yield from (found for found in each_until_error(read, rows) if found is not None)
        if late:
            at = number + text.count(b"\n", 0, late.start())
            raise CaptureError("a heading after values: another capture starts here, split the file", f"line {at}")


def unfinished(rest: bytes, number: int) -> LastLineError:
    """The error for a last line without a line end."""
    problem = f"the file ends inside the line: after {quoted(rest)} there is no line end, so it may be cut short"
    return LastLineError(f"{problem} (if the file is whole, take it with last_line=take)", f"line {number}")


def quoted(text: bytes) -> str:
    """Text for an error message: quoted, escaped, and shortened."""
    shown = text.strip().decode("utf-8", "backslashreplace")
    return repr(shown if len(shown) <= 40 else shown[:37] + "...")


def listed(names: Sequence[str]) -> str:
    """Names for an error message: the first :data:`SHOWN` of them, and how many more there are."""
    more = len(names) - SHOWN
    return ", ".join(names[:SHOWN]) + (f" and {more} more" if more > 0 else "")


def complaint(text: bytes) -> str:
    """Why these bytes are not text; empty if they may be text."""
    try:
        text.decode()
    except UnicodeDecodeError as error:
        return f"byte 0x{text[error.start]:02x} is not UTF-8 text: not a text file, or one in another encoding?"
    wrong = NO_TEXT.search(text)
    return f"byte 0x{wrong[0][0]:02x} is no text: not a text file?" if wrong else ""
