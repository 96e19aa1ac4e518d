"""A text's lines in batches, as they come in, each with its number."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

import attrs

from ..error import CaptureError
from .unsaid import LastLineError

__all__ = ["BOM", "NO_TEXT", "Lines", "complaint", "lines_of", "quoted", "unfinished"]

#: More bytes than this without a line end are no line of a capture; it bounds what is kept.
LONGEST = 1 << 16

#: Control characters that stand in no text.
NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1b\x7f]")

BOM = b"\xef\xbb\xbf"  # which some editors put before UTF-8
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")


@attrs.frozen(slots=True)
class Lines:
    """Some lines in a row."""

    #: The first one's number in the file, from 1.
    number: int
    #: All of them, a line feed between each two.
    text: bytes

    @property
    def texts(self) -> list[bytes]:
        """One by one."""
        return self.text.split(b"\n")


def lines_of(chunks: Iterable[bytes], take_last: bool = False) -> Iterator[Lines]:
    """Cut bytes into lines; those that are complete with a chunk come out with it.

    :param take_last: take a last line without line end. Else it is refused: nobody can tell a
        whole number from the first digits of a longer one. The lines before come out first.
    :raises CaptureError: for such a line, one longer than any, and text in UTF-16.
    """
    number = 1
    rest = b""
    opening = True
    for chunk in chunks:
        rest += chunk
        if opening:
            if len(rest) < len(BOM) and b"\n" not in rest:
                continue
            opening = False
            if rest.startswith(_UTF_16):
                raise CaptureError("is text in UTF-16: save it as UTF-8, or plain ASCII", "line 1")
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
    """The error for a last line without line end."""
    return LastLineError(
        f"the file ends inside the line: after {quoted(rest)} there is no line end, so it may be "
        "cut short (if the file is whole, take it with last_line=take)",
        f"line {number}",
    )


def quoted(text: bytes) -> str:
    """A text for an error: in quotes, what cannot be shown escaped, and not too long."""
    shown = text.strip().decode("utf-8", "backslashreplace")
    return repr(shown if len(shown) <= 40 else shown[:37] + "...")


def complaint(text: bytes) -> str:
    """Why this is no text at all; empty where it may be one."""
    try:
        shown = text.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"byte 0x{text[error.start]:02x} is not UTF-8 text: not a text file, or one in another encoding?"
    for character in shown:
        if NO_TEXT.match(character.encode()):
            return f"byte 0x{ord(character):02x} is no text: not a text file?"
    return ""
