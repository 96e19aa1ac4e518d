"""The formats of captures, and the one function that opens any of them."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from pathlib import PurePath

import attrs

from ..error import CaptureError, HalfbitError
from ..unit import Unit
from .capture_edges import CaptureEdges
from .head import head_of, shape_of
from .levels import read_levels
from .options import Column, Options
from .plain import plain
from .source import Location, Source, source_of, unpacked
from .text import read_table, read_text
from .vcd import read_vcd
from .wav import read_wav

__all__ = ["FORMATS", "Format", "open_capture"]


@attrs.frozen
class Format:
    """A file format and its reader."""

    name: str
    endings: tuple[str, ...]  #: File endings of this format, in lower case.
    options: tuple[str, ...]  #: The fields of :class:`Options` that this format uses.
    read: Callable[..., CaptureEdges]  #: Reads a source with options, and the head if :attr:`takes_head`.
    begins: re.Pattern[bytes] = re.compile(rb"(?!)")  #: Pattern of the file's first bytes, if the format has one.
    takes_head: bool = False  #: True if the reader takes the head of a text file, too.


_NUMBERS = ("unit", "wrap", "delimiter", "decimal", "last_line")
_TABLE = (*_NUMBERS, "time_column", "level_column", "other_rail")
_VOLTS = ("threshold", "hysteresis")
_VCD = ("unit", "signal", "other_rail", "last_line", *_VOLTS)
_WAV = ("channel", "other_rail", *_VOLTS)

_LEVELS_BEGIN = re.compile(rb"[\x00\x01]{16}|(?=(\s*[01]){64})[01\s]*\Z|([01]\s+){64}")
_VCD_BEGINS = re.compile(rb"(\xef\xbb\xbf)?\s*\$(date|version|timescale|scope|comment|var|enddefinitions)\b")
_WAV_BEGINS = re.compile(rb"(RIFF|RF64|BW64)....WAVE", re.DOTALL)

#: All formats. To add a format, add a row.
FORMATS: tuple[Format, ...] = (
    Format("text", (".txt", ".text", ".log"), ("holds", *_NUMBERS), read_text, takes_head=True),
    Format("csv", (".csv", ".tsv", ".tab"), ("holds", *_TABLE), read_table, takes_head=True),
    Format("volts", (), (*_TABLE, *_VOLTS), partial(read_table, volts=True), takes_head=True),
    Format("levels", (), ("unit",), read_levels, _LEVELS_BEGIN),
    Format("vcd", (".vcd",), _VCD, read_vcd, _VCD_BEGINS),
    Format("wav", (".wav", ".wave"), _WAV, read_wav, _WAV_BEGINS),
)


def open_capture(
    location: Location, *, format: str | None = None, holds: str | None = None, unit: Unit | None = None,
    wrap: int | None = None, time_column: Column | None = None, level_column: Column | None = None,
    delimiter: str | None = None, decimal: str | None = None, last_line: str | None = None, signal: str | None = None,
    channel: int | None = None, other_rail: Column | None = None, threshold: float | None = None,
    hysteresis: float | None = None,
) -> CaptureEdges:  # fmt: skip
    """Open a capture and return its level changes.

    A file is read in chunks, in constant memory, and can be iterated several times. A stream can be
    iterated once. Its data is passed on immediately, so a live stream is decoded as it arrives.

    A text file may begin with headings. It may have ``#`` or ``;`` comments, units after its numbers, several numbers
    on a line, and carriage returns as line ends. Any file may be compressed with gzip.

    :param location: a path, a stream of bytes opened for reading, or a :class:`Source`.
    :param format: the name of one of :data:`FORMATS`. ``None``: chosen by the file's ending and its first rows. A
        stream without a file ending is read as text or as a table.
    :param holds: meaning of the numbers: ``"durations"`` from one level change to the next, or
        ``"times"``. ``None``: taken from the file (heading, column names).
    :param unit: ``"ns"``, ``"us"``, ``"ms"``, ``"s"`` or ticks per second. ``None``: taken from the file;
        if the file has no unit, us.
    :param wrap: for times from a counter that overflows: its number of counts (``2**32``).
    :param time_column: the table column with the times or durations: its name, or its number from 1.
        ``None``: a column named time (or duration), else the first.
    :param level_column: the table column with the level. ``None``: the only other column. If there is
        only one column, each row is a change.
    :param delimiter: separates a table's fields, or several numbers on a line. ``None``: detected.
    :param decimal: meaning of commas inside numbers: ``"comma"`` for decimal commas, ``"point"`` for commas between
        thousands. ``None``: detected.
    :param last_line: a last line without a line end may be incomplete. ``"leave"`` skips it with a remark (also
        ``None``), ``"take"`` reads it, ``"refuse"`` makes it an error.
    :param signal: the name of a signal in a VCD file, with enough of its scopes to make it unique;
        ``bus[3]`` is one bit of a vector. ``None``: the only signal.
    :param channel: the number of a recording's channel, from 1. ``None``: the only channel.
    :param other_rail: the column, signal or channel of the other rail. The difference between the two
        rails is then decoded.
    :param threshold: the middle between the two levels, in volts (or the file's own unit; in a WAV file
        full scale is 1). ``None``: detected.
    :param hysteresis: how far the signal must cross the threshold, half to each side. ``None``: detected.
    :raises AmbiguousError: a :class:`CaptureError`, if the file can be read in several ways and a parameter must say
        which.
    :raises CaptureError: if the file cannot be opened or its head cannot be read. While iterating, if a
        value is wrong; the error gives the line.
    :raises HalfbitError: if an argument is invalid, or if the format does not use it.
    """
    options = Options(
        holds=holds, unit=unit, wrap=wrap, time_column=time_column, level_column=level_column, delimiter=delimiter,
        decimal=decimal, last_line=last_line, signal=signal, channel=channel, other_rail=other_rail,
        threshold=threshold, hysteresis=hysteresis,
    )  # fmt: skip
    source = unpacked(source_of(location))
    try:
        edges = _opened(source, options, format)
    except CaptureError as error:
        raise error.within(source.name) from None
    edges.leaves_last = options.last_line in (None, "leave")
    return edges


def _opened(source: Source, options: Options, name: str | None) -> CaptureEdges:
    """Choose the format and open the source with its reader.

    :raises HalfbitError: for an unknown format, or an option that the format does not use.
    """
    start = b"" if source.live else next(source.look(), b"")
    if name is None:  # what the file begins with says more than its ending
        ending = PurePath(source.name).suffix.lower()
        chosen = next((format for format in FORMATS if ending in format.endings), FORMATS[0] if source.live else None)
        chosen = next((format for format in FORMATS if format.begins.match(start)), chosen)
    else:
        chosen = _named(name)
    carriage = b"\r" in start and b"\n" not in start
    head = None
    if chosen is None or chosen.takes_head:
        table = chosen is not None and chosen.name != "text"
        head = head_of(source, options, table=table, carriage=carriage)
        if chosen is None or name is None:
            chosen = _named(shape_of(head, "csv" if table else "text", live=source.live))
    options.refuse_all_but(chosen.options, chosen.name)
    if head is None or not chosen.takes_head:  # levels may have a head, because only the rows show that they are levels
        return chosen.read(source, options)
    return chosen.read(plain(source, head, text=chosen.name == "text", carriage=carriage), options, head)


def _named(name: str) -> Format:
    formats = {format.name: format for format in FORMATS}
    if name not in formats:
        raise HalfbitError(f"format: {name!r} is not one of {', '.join(formats)}")
    return formats[name]
