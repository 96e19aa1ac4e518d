"""Options shared by commands: how to read a capture, the limits to use, and which part of it is shown."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from typing import Any, Optional, Union

import attrs

from ..capture import FORMATS, Options
from ..error import HalfbitError
from ..instruction import Address
from ..limits import DECISIONS, RECEIVE, TRANSMIT, Limits
from ..plot.figure import check_plot
from ..unit import Scale, Unit

__all__ = ["PRESETS", "CaptureOptions", "Group", "address_of", "as_options", "cv_of", "limits_of", "number", "time"]

PRESETS = {"receive": RECEIVE, "transmit": TRANSMIT}  #: Limits by name.

AUTO = "auto"  #: The name for limits that are found by a survey.

_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "pipe": "|"}


class Group:
    """A group of options in a command's help. Options marked ``more`` are shown only with ``--help-all``."""

    def __init__(self, parser: argparse.ArgumentParser, title: str, everything: bool, text: str | None = None) -> None:
        self._group = parser.add_argument_group(title, text if everything else None)
        self._everything = everything

    def add(self, *names: str, more: bool = False, help: str, **words: Any) -> None:
        """Add an option; ``words`` as for :meth:`argparse.ArgumentParser.add_argument`."""
        shown = help if self._everything or not more else argparse.SUPPRESS
        self._group.add_argument(*names, help=shown, **words)

    def add_rows(self, rows: Iterable[_Row]) -> None:
        """Add the options of a table."""
        for name, kind, metavar, text in rows:
            words: dict[str, Any] = {"type": kind} if callable(kind) else {"choices": kind}
            words = {"action": "store_const", "const": True} if kind is None else words
            self.add(name, more=name not in _SHOWN, metavar=metavar, help=text, **words)

    def add_address(self) -> None:
        """Add ``--address``, which may be given several times."""
        text = "only this address: 7, 2604 or 'accessory 9 pair 2'; may be repeated"
        self.add("--address", type=address_of, action="append", metavar="ADDRESS", help=text)

    def add_times(self) -> None:
        """Add ``--from`` and ``--to``, in ns: ``args.start`` and ``args.end``."""
        first = "only from this time on: 12.5ms, 1.2s"
        self.add("--from", dest="start", type=time, default=0, metavar="TIME", help=first)
        self.add("--to", dest="end", type=time, metavar="TIME", help="only up to this time")

    def add_plot(self, text: str) -> None:
        """Add ``--plot``; ``text`` says what is drawn."""
        self.add("--plot", type=_image, metavar="IMAGE", help=f"draw {text}: .svg, .png or .pdf (needs matplotlib)")


class CaptureOptions:
    """Adds the options of a command that reads a capture.

    :param words: what follows the command in its usage, the capture first.
    :param help: of the capture.
    """

    def __init__(
        self, parser: argparse.ArgumentParser, everything: bool, words: str = "FILE",
        help: str = "the capture; - for standard input",
    ) -> None:  # fmt: skip
        parser.usage = f"{parser.prog} {words} [options]"
        parser.add_argument("capture", metavar=words.split()[0], help=help)
        self._parser = parser
        self._everything = everything

    def group(self, title: str, text: str | None = None) -> Group:
        """A group of the command's own options. The text is shown only with ``--help-all``."""
        return Group(self._parser, title, self._everything, text)

    def add_shared(self, *, limits: bool = True, questions: bool = False) -> None:
        """Add the options for reading a file; those of :func:`limits_of`; those for what the packets leave open."""
        self.group("how the capture is read (found out if not given)").add_rows(_READING)
        if limits:
            text = "Each of the other options changes one of the limits chosen with --limits."
            self.group("limits for the signal", text).add_rows(_LIMITS)
        if questions:
            self.group("what the packets leave open").add_rows(_OPEN)


def address_of(text: str) -> Address:
    """Read an address. A number alone is a short address up to 127, and a long address above.

    :raises argparse.ArgumentTypeError: if the text cannot be read.
    """
    words = " ".join(text.split())
    if words.isascii() and words.isdecimal():
        words = f"{'short' if int(words) <= 127 else 'long'} {words}"
    try:
        return Address.parse(words)
    except HalfbitError:
        instead = "give 7 or 2604, or in words: short 7, long 44, accessory 9 pair 2, extended accessory 37"
        raise argparse.ArgumentTypeError(f"{text!r} is no address: {instead}") from None


def cv_of(text: str) -> tuple[int, int]:
    """Read a CV and its value, for example ``29=6``.

    :raises argparse.ArgumentTypeError: if the text cannot be read.
    """
    match = re.fullmatch(r"(\d+)=(\d+)", text.strip(), re.ASCII)
    if not match or not 1 <= int(match[1]) <= 1024 or int(match[2]) > 255:
        problem = f"{text!r} is no CV and value: give a number from 1 to 1024 and one to 255, as 29=6"
        raise argparse.ArgumentTypeError(problem)
    return int(match[1]), int(match[2])


def number(text: str) -> int:
    """Read a whole number: 6 or 0x06.

    :raises argparse.ArgumentTypeError: if it is not a whole number.
    """
    try:
        return int(text, 0) if text.lower().startswith(("0x", "0b")) else int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number: write 6 or 0x06") from None


def time(text: str) -> int:
    """Read a time and return it in ns, rounded. Without a unit it is in ms.

    :raises argparse.ArgumentTypeError: if it is not a time from 0 up.
    """
    return round(_nanoseconds(text, "ms"))


def _nanoseconds(text: str, unit: str) -> Fraction:
    match = re.fullmatch(r"([0-9.]+(?:e[0-9]+)?)\s*(ns|us|ms|s)?", text)
    try:
        if match is None:
            raise ValueError
        return Fraction(match[1]) * Scale.of(match[2] or unit).numerator
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a time: write 12.5ms, 1.2s or 800us") from None


def _microseconds(text: str) -> int:
    nanoseconds = _nanoseconds(text, "us")
    if nanoseconds.denominator != 1:
        raise argparse.ArgumentTypeError(f"{text!r} us is not a whole number of ns")
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
        problem = f"{text!r} is not ns, us, ms or s, nor a number of counts per second above 0 (2MHz, 250kHz)"
        raise argparse.ArgumentTypeError(problem) from None
    return unit


def _column(text: str) -> int | str:
    return int(text) if text.isdecimal() else text


def _image(path: str) -> str:
    try:
        check_plot(path)
    except HalfbitError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return path


#: A row of a table of options: option, type or choices (``None`` if it takes no value), value in the help, help.
_Row = tuple[str, Union[Callable[[str], Any], Sequence[str], None], Optional[str], str]

_SHOWN = ("--holds", "--unit", "--limits")  #: The options that help always shows. Others come with ``--help-all``.

_ENDINGS = "; ".join(f"{format.name}: {' '.join(format.endings)}" for format in FORMATS if format.endings)

_READING: tuple[_Row, ...] = (
    ("--holds", ("durations", "times"), None, "meaning of the numbers"),
    ("--unit", _unit, None, "ns, us, ms, s, or counts per second: 2MHz, 250kHz"),
    ("--format", [format.name for format in FORMATS], None,
     f"format, if not the one of the file's ending ({_ENDINGS})"),
    ("--wrap", number, "N", "number of counts after which the timer overflows"),
    ("--time-column", _column, "COLUMN", "table column with times or durations: its name, or its number from 1"),
    ("--level-column", _column, "COLUMN", "table column with levels 0 and 1, or volts"),
    ("--delimiter", lambda text: _DELIMITERS.get(text, text), "D",
     f"between the values of a line: a character, or {', '.join(_DELIMITERS)}"),
    ("--signal", str, "NAME", "signal of a VCD file; bus[3] is one bit of a vector"),
    ("--channel", number, "N", "channel of a WAV file, from 1"),
    ("--other-rail", _column, "NAME", "column, signal or channel of the other rail; the difference is decoded"),
    ("--threshold", float, "V", "middle between the levels, in volts (WAV: full scale is 1)"),
    ("--hysteresis", float, "V", "how far the signal must cross the threshold, half to each side"),
    ("--filter", _microseconds, "US", "changes closer together than this, us, are noise; 0 for no filter"),
    ("--decimal", ("point", "comma"), None,
     "commas inside numbers: between thousands (point), or decimal commas (comma)"),
    ("--last-line", ("leave", "take", "refuse"), None,
     "a last line without a line end may be cut short: leave it out (default), take it, or refuse the file"),
)  # fmt: skip

_LIMITS: tuple[_Row, ...] = (
    ("--limits", (AUTO, *PRESETS), None,
     "auto (default): fit the capture; receive: what decoders must accept; transmit: what stations must keep "
     "(S-9.1, S-9.2)"),
    ("--one-min", _microseconds, "US", "shortest half of a one-bit, us"),
    ("--one-max", _microseconds, "US", "longest half of a one-bit, us"),
    ("--one-difference", _microseconds_or_off, "US", "most that the halves of a one-bit may differ, us, or off"),
    ("--zero-min", _microseconds, "US", "shortest half of a zero-bit, us"),
    ("--zero-max", _microseconds, "US", "longest half of a zero-bit, us"),
    ("--zero-total-max", _microseconds_or_off, "US", "longest whole zero-bit, us, or off"),
    ("--latency-max", _microseconds, "US", "how late a change can be seen, us, as by a polled loop; by sequence"),
    ("--latency-rare", _microseconds, "US", "the same for rare long turns of the loop, us; by sequence"),
    ("--preamble-min", number, "N", "fewest one-bits of a preamble"),
    ("--packet-min", number, "N", "fewest bytes of a packet, error detection byte included"),
    ("--packet-max", number, "N", "most bytes of a packet, error detection byte included"),
    ("--decision", DECISIONS, None,
     "how bits are told apart: by each half, by the sum of both, or by the likeliest sequence"),
    ("--recover", None, None, "read lost stretches again by sequence: changes are missing, noted twice or late"),
    ("--one-edge", None, None, "the capture has only the rising changes, or only the falling ones; by sequence"),
)  # fmt: skip

_OPEN: tuple[_Row, ...] = (
    ("--cv29", number, "N", "CV 29 of the decoders: gives speed steps and FL one reading instead of two"),
    ("--context", ("operations", "service"), None,
     "mode of all packets, instead of the mode found from the packets before"),
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
        names = ", ".join(map(_option, said))
        raise HalfbitError(f"limits=auto finds all limits: leave out {names}, or say limits=receive")
    if args.limits in (None, AUTO) and not said:
        return None
    return attrs.evolve(PRESETS[args.limits or "receive"], **said)


def as_options(text: str) -> str:
    """Rewrite an error message of the library: parameters become command line options."""
    fields = [field.name for each in (Options, Limits) for field in attrs.fields(each)]
    listed = "|".join(["format", "limits", "filter", *fields])
    text = re.sub(rf"(?<![\w-])({listed})=(?=\S)", lambda match: f"{_option(match[1])} ", text)
    return re.sub(rf"(^|: )({listed}): ", lambda match: f"{match[1]}{_option(match[2])}: ", text)


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")
