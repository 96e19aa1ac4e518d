"""The formats of captures, and the one function that opens any of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import PurePath

import attrs

from ..error import CaptureError, HalfbitError
from ..unit import Unit
from .capture_edges import CaptureEdges
from .levels import read_levels
from .options import Column, Options
from .source import Location, Source, source_of
from .table import read_table, read_volts
from .text import read_text
from .vcd import read_vcd
from .wav import read_wav

__all__ = ["FORMATS", "Format", "open_capture"]


@attrs.frozen
class Format:
    """A format, and how it is read."""

    name: str
    #: What it is, in words.
    words: str
    #: File endings that tell it, in small letters; none where the format must be said.
    endings: tuple[str, ...]
    #: The fields of :class:`Options` that mean something to it.
    options: tuple[str, ...]
    read: Callable[[Source, Options], CaptureEdges]


#: All formats. A new one is a row here.
FORMATS: tuple[Format, ...] = (
    Format(
        "text",
        "a number a line",
        (".txt", ".text", ".log"),
        ("holds", "unit", "wrap", "last_line"),
        read_text,
    ),
    Format(
        "csv",
        "a table of fields",
        (".csv", ".tsv", ".tab"),
        ("holds", "unit", "wrap", "time_column", "level_column", "other_rail", "delimiter", "last_line"),
        read_table,
    ),
    Format(
        "volts",
        "a table of times and volts",
        (),
        (
            "unit",
            "wrap",
            "time_column",
            "level_column",
            "other_rail",
            "delimiter",
            "last_line",
            "threshold",
            "hysteresis",
        ),
        read_volts,
    ),
    Format(
        "levels",
        "levels 0 and 1 at a fixed rate, as characters or as bytes",
        (),
        ("unit",),
        read_levels,
    ),
    Format(
        "vcd",
        "a value change dump",
        (".vcd",),
        ("unit", "signal", "other_rail", "threshold", "hysteresis", "last_line"),
        read_vcd,
    ),
    Format(
        "wav",
        "a recording of a sound card",
        (".wav", ".wave"),
        ("channel", "other_rail", "threshold", "hysteresis"),
        read_wav,
    ),
)


def open_capture(
    location: Location,
    *,
    format: str | None = None,
    holds: str | None = None,
    unit: Unit | None = None,
    wrap: int | None = None,
    time_column: Column | None = None,
    level_column: Column | None = None,
    delimiter: str | None = None,
    last_line: str | None = None,
    signal: str | None = None,
    channel: int | None = None,
    other_rail: Column | None = None,
    threshold: float | None = None,
    hysteresis: float | None = None,
) -> CaptureEdges:
    """The level changes of a captured signal.

    A file is read in chunks each time the edges are gone through, in constant memory. A stream can be
    gone through once; what it has is passed on at once, so a live one is decoded as it comes.

    :param location: a path, a stream of bytes opened for reading, or a :class:`Source`.
    :param format: the name of one of :data:`FORMATS`. ``None``: by the file's ending; a stream
        without one is text.
    :param holds: what the numbers are: ``"durations"`` from one level change to the next, or
        ``"times"``. ``None``: as the file says (heading, column names).
    :param unit: ``"ns"``, ``"us"``, ``"ms"``, ``"s"`` or ticks per second. ``None``: as the file says,
        else us.
    :param wrap: for times of a counter that starts over: how many counts it has (``2**32``).
    :param time_column: a table's column with the times or durations: its name, or its number from 1.
        ``None``: one called time (duration), else the first.
    :param level_column: a table's column with the level. ``None``: the only other one; with a
        single column each row is a change.
    :param delimiter: what parts a table's fields. ``None``: found by looking.
    :param last_line: ``"refuse"`` a last line without line end, which may be cut short (as does
        ``None``), or ``"take"`` it.
    :param signal: the name of a VCD file's signal, with as many of the scopes around it as it takes to
        tell it from others; ``bus[3]`` is a bit of a vector. ``None``: the only one.
    :param channel: the number of a recording's channel, from 1. ``None``: the only one.
    :param other_rail: the column, signal or channel of the other rail: then the difference of the two
        counts.
    :param threshold: what parts the two levels of a signal in volts (or the unit it has; in a WAV file
        full scale is 1). ``None``: found by looking.
    :param hysteresis: how far the signal must cross it, half to either side. ``None``: found by looking.
    :raises CaptureError: where it cannot be opened or its head cannot be read; once gone through,
        with the line, where a value is none.
    :raises HalfbitError: for an argument that is none, or means nothing to the format.
    """
    options = Options(
        holds=holds,
        unit=unit,
        wrap=wrap,
        time_column=time_column,
        level_column=level_column,
        delimiter=delimiter,
        last_line=last_line,
        signal=signal,
        channel=channel,
        other_rail=other_rail,
        threshold=threshold,
        hysteresis=hysteresis,
    )
    source = source_of(location)
    chosen = _named(format) if format is not None else _by_ending(source)
    options.refuse_all_but(chosen.options, chosen.name)
    try:
        return chosen.read(source, options)
    except CaptureError as error:
        raise error.within(source.name) from None


def _named(name: str) -> Format:
    for format in FORMATS:
        if format.name == name:
            return format
    raise HalfbitError(f"format: {name!r} is none of {', '.join(format.name for format in FORMATS)}")


def _by_ending(source: Source) -> Format:
    ending = PurePath(source.name).suffix.lower()
    for format in FORMATS:
        if ending in format.endings:
            return format
    if source.live:
        return FORMATS[0]
    known = "; ".join(": ".join(filter(None, (format.name, " ".join(format.endings)))) for format in FORMATS)
    raise CaptureError(f"its ending tells no format; say which ({known})", file=source.name)
