"""Options shared by commands: how to read a capture, and the limits to use."""

from __future__ import annotations

import argparse
import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import attrs

from ..capture import FORMATS, Options
from ..capture.filter import FilteredEdges, Removed
from ..capture.source import Source
from ..error import HalfbitError
from ..inspect.reading import Reading, read_capture
from ..instruction import Configuration, Context
from ..limits import DECISIONS, RECEIVE, TRANSMIT, US, Limits
from ..unit import Scale, Unit

__all__ = [
    "AUTO",
    "PRESETS",
    "Group",
    "add_capture_options",
    "add_limit_options",
    "add_reading_options",
    "captured",
    "as_options",
    "captured",
    "configuration_of",
    "context_of",
    "limits_of",
    "milliseconds_of",
    "notes_on",
    "number",
    "time",
]

#: Limits by name.
PRESETS = {"receive": RECEIVE, "transmit": TRANSMIT}

#: The name for limits that are found by a survey.
AUTO = "auto"

#: Contexts that the user can force, by name.
_CONTEXTS = {context.value: context for context in (Context.OPERATIONS, Context.SERVICE)}

_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "pipe": "|"}

#: Fields of :class:`Limits` in microseconds: the help text, and True if the value may be "off".
_TIMES = {
    "one_min": ("shortest half of a one-bit", False),
    "one_max": ("longest half of a one-bit", False),
    "one_difference": ("largest difference between the halves of a one-bit", True),
    "zero_min": ("shortest half of a zero-bit", False),
    "zero_max": ("longest half of a zero-bit", False),
    "zero_total_max": ("longest whole zero-bit", True),
    "one_nominal": ("half of a one-bit as the station sends it; not by halves", False),
    "zero_nominal": ("half of a zero-bit as the station sends it; not by halves", False),
    "latency_max": ("how late a change can be seen, as by a polled loop; by sequence", False),
    "latency_rare": ("the same for a loop's rare long turns; by sequence", False),
}
_COUNTS = {
    "preamble_min": "fewest one-bits of a preamble",
    "packet_min": "fewest bytes of a packet, error detection byte included",
    "packet_max": "most bytes of a packet, error detection byte included",
}


class Group:
    """A group of options in a command's help. Options marked ``more`` are shown only with ``--help-all``."""

    def __init__(self, parser: argparse.ArgumentParser, title: str, everything: bool, text: str | None = None) -> None:
        self._group = parser.add_argument_group(title, text if everything else None)
        self._everything = everything

    def add(self, *names: str, more: bool = False, help: str, **words: Any) -> None:
        """Add an option; ``words`` as for :meth:`argparse.ArgumentParser.add_argument`."""
        shown = help if self._everything or not more else argparse.SUPPRESS
        self._group.add_argument(*names, help=shown, **words)


def add_capture_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the options for reading a file."""
    group = Group(parser, "how the capture is read; what is not said is found out", everything)
    group.add("--holds", choices=["durations", "times"], help="what the numbers are")
    group.add("--unit", type=_unit, help="ns, us, ms, s, or how many counts there are in a second: 2MHz, 250kHz")
    endings = "; ".join(f"{format.name}: {' '.join(format.endings)}" for format in FORMATS if format.endings)
    group.add(
        "--format",
        more=True,
        choices=[format.name for format in FORMATS],
        help=f"instead of looking at the file's ending and contents ({endings})",
    )
    group.add("--wrap", more=True, type=number, metavar="N", help="how many counts the timer has before it starts over")
    group.add(
        "--time-column",
        more=True,
        type=_column,
        metavar="COLUMN",
        help="of a table, with times or durations: its name, or its number from 1",
    )
    group.add(
        "--level-column", more=True, type=_column, metavar="COLUMN", help="of a table, with levels 0 and 1, or volts"
    )
    group.add(
        "--delimiter",
        more=True,
        type=_delimiter,
        metavar="D",
        help=f"between the values of a line: a character, or {', '.join(_DELIMITERS)}",
    )
    group.add("--decimal", more=True, choices=["point", "comma"], help="with point, commas in numbers part thousands")
    group.add(
        "--last-line", more=True, choices=["leave", "take", "refuse"],
        help="a last line without line end may be cut short: leave it out (the default), take it, or refuse the file",
    )  # fmt: skip
    group.add("--signal", more=True, metavar="NAME", help="of a VCD file; bus[3] is a bit of a vector")
    group.add("--channel", more=True, type=number, metavar="N", help="of a WAV file, from 1")
    group.add(
        "--other-rail",
        more=True,
        type=_column,
        metavar="NAME",
        help="column, signal or channel of the other rail: the difference counts",
    )
    group.add(
        "--threshold",
        more=True,
        type=float,
        metavar="V",
        help="between the levels of a signal in volts (WAV: full scale is 1); else it is found",
    )
    group.add(
        "--hysteresis",
        more=True,
        type=float,
        metavar="V",
        help="how far the signal must cross it, half to either side; else it is found",
    )
    group.add(
        "--filter", more=True, type=_microseconds, metavar="US",
        help="level changes closer together than this are noise; 0 for no filter; else one is used if it is needed",
    )  # fmt: skip


def captured(args: argparse.Namespace, source: Source, limits: Limits | None) -> Reading:
    """Open the capture for some limits; ``None`` to find the limits that fit.

    :raises CaptureError: if it cannot be read.
    """
    said = {field.name: getattr(args, field.name) for field in attrs.fields(Options)}
    return read_capture(source, limits=limits, minimum=args.filter, format=args.format, **said)


def notes_on(reading: Reading) -> tuple[tuple[str, ...], Removed | None]:
    """Remarks on how the capture was read, and the filter's counts if a filter was used."""
    return reading.capture.remarks, reading.edges.removed if isinstance(reading.edges, FilteredEdges) else None


def add_limit_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the options of :func:`limits_of`."""
    group = Group(
        parser, "limits", everything, "what the signal is held against; each can be set on top of those chosen by name"
    )
    group.add(
        "--limits", choices=[AUTO, *PRESETS],
        help="what fits the capture (auto, the default), what a decoder must accept, or what a station must keep to (S-9.1, S-9.2)",
    )  # fmt: skip
    for name, (words, may_be_off) in _TIMES.items():
        type_ = _microseconds_or_off if may_be_off else _microseconds
        group.add(
            _option(name), more=True, type=type_, metavar="US", help=f"{words}, us" + (", or off" if may_be_off else "")
        )
    for name, words in _COUNTS.items():
        group.add(_option(name), more=True, type=number, metavar="N", help=words)
    group.add(
        "--decision",
        more=True,
        choices=DECISIONS,
        help="how bits are told apart: each half in its window, both together, or the likeliest of a packet",
    )
    group.add(
        "--recover",
        more=True,
        action="store_const",
        const=True,
        help="read again by sequence what halves or sums lose: changes that are missing, noted twice or late",
    )
    group.add(
        "--one-edge",
        more=True,
        action="store_const",
        const=True,
        help="the capture holds only the rising changes, or only the falling ones; by sequence",
    )  # fmt: skip


def limits_of(args: argparse.Namespace) -> Limits | None:
    """The limits from the options; ``None`` if they are to be found automatically.

    :raises HalfbitError: if the options contradict each other.
    """
    said: dict[str, Any] = {}
    for field in attrs.fields(Limits):
        value = getattr(args, field.name)
        if value is not None:
            said[field.name] = None if value == "off" else value
    if said.get("one_edge") and "decision" not in said:
        said["decision"] = "sequence"  # only this decision can read one edge
    if args.limits == AUTO and said:
        raise HalfbitError(
            f"limits=auto finds all limits: leave out {', '.join(map(_option, said))}, or say limits=receive"
        )
    if args.limits in (None, AUTO) and not said:
        return None
    return attrs.evolve(PRESETS[args.limits or "receive"], **said)


def add_reading_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the options of :func:`configuration_of` and :func:`context_of`."""
    group = Group(parser, "what the packets cannot tell", everything)
    group.add(
        "--cv29",
        more=True,
        type=number,
        metavar="N",
        help="the decoders' CV 29: then speed steps and FL have one reading",
    )
    group.add(
        "--context", more=True, choices=list(_CONTEXTS), help="read all packets so, instead of telling by those before"
    )


def configuration_of(args: argparse.Namespace) -> Configuration | None:
    """The configuration from the options; ``None`` if it is not given.

    :raises HalfbitError: if a value is not valid for a CV.
    """
    return None if args.cv29 is None else Configuration(args.cv29)


def context_of(args: argparse.Namespace) -> Context | None:
    """The context forced by the options; ``None`` if not given."""
    return None if args.context is None else _CONTEXTS[args.context]


def as_options(text: str) -> str:
    """Rewrite an error message of the library: parameters become command line options."""
    names: Mapping[str, str] = {
        name: _option(name)
        for name in (
            "format",
            "limits",
            "filter",
            *(field.name for each in (Options, Limits) for field in attrs.fields(each)),
        )
    }
    listed = "|".join(names)
    text = re.sub(rf"(?<![\w-])({listed})=(?=\S)", lambda match: f"{names[match[1]]} ", text)
    return re.sub(rf"(^|: )({listed}): ", lambda match: f"{match[1]}{names[match[2]]}: ", text)


def number(text: str) -> int:
    """Read a whole number: 6 or 0x06.

    :raises argparse.ArgumentTypeError: if it is not a whole number.
    """
    try:
        return int(text, 0) if text.lower().startswith(("0x", "0b")) else int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number: write 6 or 0x06") from None


def time(text: str) -> int:
    """Read a time and return it in ns.

    :raises argparse.ArgumentTypeError: if it is not a time.
    """
    match = re.fullmatch(r"([0-9.]+)\s*(ns|us|ms|s)?", text)
    try:
        if match is None:
            raise ValueError
        return round(Fraction(match[1]) * Scale.of(match[2] or "ms").numerator)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a time: write 12.5ms, 1.2s or 800us") from None


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def _microseconds(text: str) -> int:
    try:
        nanoseconds = Fraction(text) * US
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of us") from None
    if nanoseconds.denominator != 1 or nanoseconds < 0:
        raise argparse.ArgumentTypeError(f"{text!r} us is not a whole number of ns from 0 up")
    return nanoseconds.numerator


def milliseconds_of(text: str) -> int:
    """Read a time in ms and return it in whole ns.

    :raises argparse.ArgumentTypeError: if it is not a whole number of ns from 0 up.
    """
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
    match = re.fullmatch(r"([0-9.e+]+?)\s*(hz|khz|mhz)?", text.lower())
    unit: Unit = text
    try:
        if match is not None:
            unit = Fraction(match[1]) * {None: 1, "hz": 1, "khz": 1000, "mhz": 1_000_000}[match[2]]
        Scale.of(unit)
    except (HalfbitError, ValueError):
        raise argparse.ArgumentTypeError(
            f"{text!r} is not ns, us, ms or s, nor a number of counts per second above 0 (2MHz, 250kHz)"
        ) from None
    return unit


def _column(text: str) -> int | str:
    return int(text) if text.isdecimal() else text


def _delimiter(text: str) -> str:
    return _DELIMITERS.get(text, text)
