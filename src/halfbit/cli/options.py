"""Options that commands share: how a capture is read, and the limits it is held against."""

from __future__ import annotations

import argparse
from fractions import Fraction
from typing import Any

import attrs

from ..capture import FORMATS, CaptureEdges, Location, open_capture
from ..edge import Edges
from ..capture.filter import FilteredEdges, Removed, filtered
from ..error import HalfbitError
from ..instruction import Configuration, Context
from ..limits import DECISIONS, RECEIVE, TRANSMIT, US, Limits
from ..unit import Scale, Unit

__all__ = [
    "AUTO",
    "PRESETS",
    "add_capture_options",
    "add_limit_options",
    "add_reading_options",
    "configuration_of",
    "context_of",
    "edges_of",
    "limits_of",
    "milliseconds_of",
    "notes_on",
]

#: Limits by name.
PRESETS = {"receive": RECEIVE, "transmit": TRANSMIT}

#: The limits that a survey finds.
AUTO = "auto"

#: Contexts a caller can force, by name.
_CONTEXTS = {context.value: context for context in (Context.OPERATIONS, Context.SERVICE)}

_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "pipe": "|"}

#: Fields of :class:`Limits` in microseconds, and what they are. Those that may be off are marked.
_TIMES = {
    "one_min": ("shortest half of a one-bit", False),
    "one_max": ("longest half of a one-bit", False),
    "one_difference": ("largest difference between the halves of a one-bit", True),
    "zero_min": ("shortest half of a zero-bit", False),
    "zero_max": ("longest half of a zero-bit", False),
    "zero_total_max": ("longest whole zero-bit", True),
    "latency_max": ("how late a change can be seen, as by a polled loop; by sequence", False),
    "latency_rare": ("the same for a loop's rare long turns; by sequence", False),
}
_COUNTS = {
    "preamble_min": "fewest one-bits of a preamble",
    "packet_min": "fewest bytes of a packet, error detection byte included",
    "packet_max": "most bytes of a packet, error detection byte included",
}


def add_capture_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of :func:`edges_of`."""
    group = parser.add_argument_group("how the capture is read")
    endings = "; ".join(f"{format.name}: {' '.join(format.endings)}" for format in FORMATS if format.endings)
    group.add_argument(
        "--format",
        choices=[format.name for format in FORMATS],
        help=f"instead of going by the file's ending ({endings}; standard input is text; volts and levels must be said)",
    )
    group.add_argument("--holds", choices=["durations", "times"], help="what the numbers are")
    group.add_argument(
        "--unit", type=_unit, help="ns, us, ms, s, or ticks per second; us where nothing says"
    )
    group.add_argument(
        "--wrap", type=int, metavar="N", help="how many counts the timer has before it starts over"
    )
    group.add_argument(
        "--time-column", type=_column, metavar="COLUMN", help="of a table, with times or durations: its name, or its number from 1"
    )
    group.add_argument("--level-column", type=_column, metavar="COLUMN", help="of a table, with levels 0 and 1, or volts")
    group.add_argument(
        "--delimiter", type=_delimiter, metavar="D", help=f"between a table's fields: a character, or {', '.join(_DELIMITERS)}"
    )
    group.add_argument(
        "--last-line",
        choices=["refuse", "take"],
        help="a last line without line end may be cut short: refuse it (the default), or take it",
    )
    group.add_argument("--signal", metavar="NAME", help="of a VCD file; bus[3] is a bit of a vector")
    group.add_argument("--channel", type=int, metavar="N", help="of a WAV file, from 1")
    group.add_argument(
        "--other-rail", type=_column, metavar="NAME", help="column, signal or channel of the other rail: the difference counts"
    )
    group.add_argument(
        "--threshold", type=float, metavar="V", help="between the levels of a signal in volts (WAV: full scale is 1); else it is found"
    )
    group.add_argument(
        "--hysteresis", type=float, metavar="V", help="how far the signal must cross it, half to either side; else it is found"
    )
    group.add_argument(
        "--filter",
        type=_microseconds,
        metavar="US",
        help="level changes closer together than this are one, or none: takes out noise at crossings and spikes",
    )


def edges_of(args: argparse.Namespace, location: Location) -> Edges:
    """The edges of a capture, read as the options say."""
    edges = _capture_of(args, location)
    return edges if args.filter is None else filtered(edges, args.filter, "ns")


def notes_on(edges: Edges) -> tuple[tuple[str, ...], Removed | None]:
    """How the capture was read, in words, and what the filter took out if there was one."""
    removed: Removed | None = None
    if isinstance(edges, FilteredEdges):
        removed, edges = edges.removed, edges.source
    return edges.remarks if isinstance(edges, CaptureEdges) else (), removed


def _capture_of(args: argparse.Namespace, location: Location) -> Edges:
    return open_capture(
        location,
        format=args.format,
        holds=args.holds,
        unit=args.unit,
        wrap=args.wrap,
        time_column=args.time_column,
        level_column=args.level_column,
        delimiter=args.delimiter,
        last_line=args.last_line,
        signal=args.signal,
        channel=args.channel,
        other_rail=args.other_rail,
        threshold=args.threshold,
        hysteresis=args.hysteresis,
    )


def add_limit_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of :func:`limits_of`."""
    group = parser.add_argument_group(
        "limits", "what the signal is held against; each can be set on top of those chosen by name"
    )
    group.add_argument(
        "--limits",
        choices=[*PRESETS, AUTO],
        default="receive",
        help="what a decoder must accept (the default), what a station must keep to (S-9.1, S-9.2), or what fits the "
        "capture best, found as by the survey command; of a live input from its first seconds",
    )
    for name, (words, may_be_off) in _TIMES.items():
        group.add_argument(
            _option(name),
            type=_microseconds_or_off if may_be_off else _microseconds,
            metavar="US",
            help=f"{words}, us" + (", or off" if may_be_off else ""),
        )
    for name, words in _COUNTS.items():
        group.add_argument(_option(name), type=int, metavar="N", help=words)
    group.add_argument(
        "--decision",
        choices=DECISIONS,
        help="how bits are told apart: each half in its window, both together, or the likeliest of a packet",
    )
    group.add_argument(
        "--recover",
        action="store_const",
        const=True,
        help="read again by sequence what halves or sums lose: changes that are missing, noted twice or late",
    )
    group.add_argument(
        "--one-edge",
        action="store_const",
        const=True,
        help="the capture holds only the rising changes, or only the falling ones; by sequence",
    )


def limits_of(args: argparse.Namespace, auto: Limits = RECEIVE) -> Limits:
    """The limits the options ask for.

    :param auto: what ``--limits auto`` stands for.
    :raises HalfbitError: where they contradict one another.
    """
    said: dict[str, Any] = {}
    for field in attrs.fields(Limits):
        value = getattr(args, field.name)
        if value is not None:
            said[field.name] = None if value == "off" else value
    if said.get("one_edge") and "decision" not in said:
        said["decision"] = "sequence"  # no other can read it
    return attrs.evolve(auto if args.limits == AUTO else PRESETS[args.limits], **said)


def add_reading_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of :func:`configuration_of` and :func:`context_of`."""
    group = parser.add_argument_group("what the packets cannot tell")
    group.add_argument(
        "--cv29", type=int, metavar="N", help="the decoders' CV 29: then speed steps and FL have one reading"
    )
    group.add_argument(
        "--context", choices=list(_CONTEXTS), help="read all packets so, instead of telling by those before"
    )


def configuration_of(args: argparse.Namespace) -> Configuration | None:
    """:raises HalfbitError: where it is no value of a CV."""
    return None if args.cv29 is None else Configuration(args.cv29)


def context_of(args: argparse.Namespace) -> Context | None:
    """The context the options force."""
    return None if args.context is None else _CONTEXTS[args.context]


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def _microseconds(text: str) -> int:
    try:
        nanoseconds = Fraction(text) * US
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"{text!r} is no number of us") from None
    if nanoseconds.denominator != 1 or nanoseconds < 0:
        raise argparse.ArgumentTypeError(f"{text!r} us is no whole number of ns from 0 up")
    return nanoseconds.numerator


def milliseconds_of(text: str) -> int:
    """A time in ms as whole ns."""
    try:
        nanoseconds = Fraction(text) * 1000 * US
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"{text!r} is no number of ms") from None
    if nanoseconds.denominator != 1 or nanoseconds < 0:
        raise argparse.ArgumentTypeError(f"{text!r} ms is no whole number of ns from 0 up")
    return nanoseconds.numerator


def _microseconds_or_off(text: str) -> int | str:
    return text if text == "off" else _microseconds(text)


def _unit(text: str) -> Unit:
    unit: Unit = text
    try:
        unit = Fraction(text)
    except (ValueError, ZeroDivisionError):
        pass
    try:
        Scale.of(unit)
    except HalfbitError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is none of ns, us, ms, s, nor a number of ticks per second above 0"
        ) from None
    return unit


def _column(text: str) -> int | str:
    return int(text) if text.isdecimal() else text


def _delimiter(text: str) -> str:
    return _DELIMITERS.get(text, text)
