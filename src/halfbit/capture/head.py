"""Finds how a text file is written (headings, names, delimiter, units, decimal sign) from its first rows.

A row is a line whose fields are all values: numbers, perhaps with a unit, or levels. Words above the first row are
column names, their units, or headings that are not needed. For a file, many rows are checked. For a stream, only the
first row is checked, so that the result does not depend on how its bytes arrive.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Generator, Sequence
from contextlib import closing
from itertools import pairwise

import attrs

from ..error import AmbiguousError, CaptureError, LastLineError
from .heading import Heading, heading_of
from .lines import HEADING, NO_TEXT, Lines, complaint, lines_of, quoted
from .numbers import looks_like_number, why_no_number
from .options import Options
from .source import Source

__all__ = ["DELIMITERS", "DURATION", "LEVELS", "TIME", "Head", "fields_in", "head_of", "shape_of"]

#: Spellings of a level, in lower case.
LEVELS = {"0": 0, "1": 1, "0.0": 0, "1.0": 1, "low": 0, "high": 1, "false": 0, "true": 1}

#: If several delimiters give the same number of values, the first in this order is used. A comma comes last because it
#: may be inside a number. A space comes late because it may follow any other delimiter.
DELIMITERS = "\t;| ,"

# The names of columns with times, and with durations.
TIME = re.compile(r"(time|timestamp|t)s?(?![a-z])", re.IGNORECASE)
DURATION = re.compile(r"durations?(?![a-z])", re.IGNORECASE)
_NAME = re.compile(f"{TIME.pattern}|{DURATION.pattern}", re.IGNORECASE)

ROWS, LINES = 200, 400  #: Number of rows checked in a file, and number of lines searched for the first row.
BYTES = 1 << 17  #: Once the rows checked have more bytes than this, no more rows are checked.
FEWEST_LEVELS = 16  #: From this many lines that hold only 0 and 1, the file holds levels, not durations or times.

_VALUE = re.compile(r"([+-]?[\d.,]*[\d.](?:[eE][+-]?\d+)?)(?: ?(ns|us|µs|μs|ms|s|mV|V))?")
_UNIT = re.compile(r"[\[(]?(ns|us|µs|μs|ms|s|mV|V|-)?[\])]?")
#: A number with commas before groups of three digits, or with a decimal comma and three decimals.
_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?")
_SEVERAL_GROUPS = re.compile(r"[+-]?\d{1,3}((,\d{3}){2,}(\.\d*)?|,\d{3}\.\d*)")


@attrs.frozen
class Head:
    """How a text file is written, as found from its first rows."""

    first: int  #: Number of the line with the first row.
    rows: tuple[tuple[str, ...], ...]  #: The fields of some rows.
    delimiter: str  #: The delimiter between their fields; empty if each has one field.
    heading: Heading  #: What the file's heading says.
    names: tuple[str, ...] = ()  #: The names of the columns, with their units; empty if they have no names.
    names_line: int = 0  #: The line of the names.
    units: tuple[str, ...] = ()  #: The units found after values, in the order of the columns.
    decimal: str = ""  #: Commas inside numbers: ``"point"`` between thousands, ``"comma"`` decimal; ``""``: none.
    semicolons: bool = False  #: True if a semicolon starts a comment, on its own line or behind values.
    trailing: bool = False  #: True if each row ends with a delimiter.

    def said(self, options: Options) -> Heading:
        """What the caller and the file say of the numbers."""
        units = [unit.replace("µ", "u").replace("μ", "u") for unit in self.units if "V" not in unit]
        return Heading(options.holds, options.unit or next(iter(units), None), options.wrap).over(self.heading)


def _is_value(field: str) -> bool:
    """True for a number, perhaps with a unit, or a level."""
    field = field.strip().strip('"')
    match = _VALUE.fullmatch(field)
    return field.lower() in LEVELS or looks_like_number(match[1].replace(",", "") if match else field)


def _unit_of(field: str) -> str | None:
    match = _VALUE.fullmatch(field)
    return match[2] if match else None


def head_of(source: Source, options: Options, *, table: bool = False, carriage: bool = False) -> Head:
    """Find how a text file is written from its first rows.

    :param table: True if it is known to be a table, so that commas separate its fields.
    :param carriage: True if lines end with a carriage return only.
    :raises AmbiguousError: if numbers with commas can be read in two ways.
    :raises CaptureError: if there is no row, or if the heading or a unit is not valid.
    """
    above: list[Lines] = []
    rows: list[tuple[int, str]] = []
    heading: Heading | None = None
    semicolons = False
    line = None
    size = 0  # bytes of the rows
    with closing(_lines(source, options, carriage)) as lines:
        for line in lines:
            text = line.text.decode("utf-8", "replace").strip()
            if (match := HEADING.match(line.text)) and not rows:
                if heading is not None:
                    raise CaptureError("a second heading: one is enough", f"line {line.number}")
                heading = heading_of(match[1], f"line {line.number}")
            if not text or text.startswith("#"):
                continue
            if NO_TEXT.search(line.text):
                above.append(line)
                break
            if text.startswith(";") and not all(_is_value(field) for field in text.split(";") if field):
                semicolons = True
            elif not rows and not _is_row(text, options.delimiter, table):
                above.append(line)
            else:
                rows.append((line.number, text))
                size += len(text)
            if len(rows) == (1 if source.live else ROWS) or size > BYTES:
                break
    if rows:
        above = [line for line in above if line.number < rows[0][0]]
        return _head(above, rows, heading or Heading(), options, semicolons, table)
    if not above:
        raise CaptureError("is empty" if line is None else "holds no values, only comments and blank lines")
    raise _no_row(above, table)


def _no_row(above: Sequence[Lines], table: bool) -> CaptureError:
    """The error for a file of which no line is a row."""
    for line in above:
        if wrong := complaint(line.text):
            return CaptureError(wrong, f"line {line.number}")
    if table and len(above) == 1:
        return CaptureError("holds no values, only names of columns")
    text, place = above[table].text, f"line {above[table].number}"
    if table:
        return CaptureError(f"{quoted(text)} is not a row of values", place)
    return CaptureError(why_no_number(text.decode()), place)


def _lines(source: Source, options: Options, carriage: bool) -> Generator[Lines, None, None]:
    """The lines to look at. The error for a last line without a line end comes only if there are no others."""
    number = 0
    with closing(source.look()) as chunks:
        ended = (chunk.replace(b"\r", b"\n") for chunk in chunks) if carriage else chunks
        try:
            for lines in lines_of(ended, options.take_last):
                for line in lines.singly():
                    number = line.number
                    yield line
                    if number > LINES + ROWS:
                        return
        except LastLineError:
            if not number:
                raise


def _is_row(text: str, delimiter: str | None, table: bool) -> bool:
    text = text.partition("#")[0].partition(" ;")[0]
    for each in (delimiter,) if delimiter else ("", *DELIMITERS):
        fields = [field for field in (text.split(each) if each else [text]) if field.strip()]
        values = list(map(_is_value, fields))
        if fields and all(values):
            return True
        if table and each.strip() and len(fields) > 1 and (values[0] or sum(values) > 1):
            if not any(map(_NAME.match, fields)):
                return True  # other columns may hold words
    return False


def _head(
    above: Sequence[Lines], rows: Sequence[tuple[int, str]], heading: Heading, options: Options, semicolons: bool,
    table: bool,
) -> Head:  # fmt: skip
    texts = [text.partition("#")[0].strip() for _, text in rows]
    if any(re.search(r"\d\s*;\D*[A-Za-z]", text) for text in texts):  # words after a semicolon
        texts = [text.partition(";")[0].strip() for text in texts]
        semicolons = True
    decimal = _decimal(texts, options, rows[0][0], table)
    delimiter = options.delimiter or _delimiter(texts[0], decimal, table)
    trailing = bool(delimiter.strip()) and all(text.endswith(delimiter) for text in texts)
    fields = [_fields(text, delimiter)[: -1 if trailing else None] for text in texts]
    if len(fields) > 1 and any(
        name[:1].isalpha() and not _is_value(name) and _is_value(below) for name, below in zip(*fields[:2])
    ):  # columns may be named 0 and 1
        number, text = rows[0]
        above, rows, fields = [*above, Lines(number, text.encode())], rows[1:], fields[1:]
    width = len(fields[0])
    units = list(map(_unit_of, fields[0]))
    for (number, _), row in zip(rows, fields):
        for unit, field in zip(units, row):
            if _unit_of(field) not in (None, unit):
                problem = f"{field!r} has another unit than line {rows[0][0]}: write all numbers in one unit"
                raise CaptureError(problem, f"line {number}")
    names, names_line = _names(above, delimiter, width, trailing)
    first = rows[0][0] if names or not names_line else names_line
    return Head(
        first, tuple(map(tuple, fields)), delimiter, heading, names, names_line, tuple(filter(None, units)), decimal,
        semicolons, trailing,
    )  # fmt: skip


def _fields(text: str, delimiter: str) -> list[str]:
    if not delimiter:
        return [text.strip().strip('"')]
    if delimiter == " ":
        return [part.strip('"') for part in text.split()]
    try:
        (row,) = fields_in([text], delimiter)
    except CaptureError:
        row = [text]
    return [field.strip() for field in row]


def fields_in(texts: Sequence[str], delimiter: str) -> list[list[str]]:
    """Split rows into fields.

    :raises CaptureError: if a quote is not closed.
    """
    try:
        rows = list(csv.reader(texts, delimiter=delimiter, skipinitialspace=True, strict=True))
        if len(rows) == len(texts):  # else a quoted field spans several lines
            return rows
    except (csv.Error, ValueError):
        pass
    raise CaptureError(f"{quoted(texts[0].encode())} is not a row of fields: a quote is not closed, or out of place")


def _delimiter(row: str, decimal: str, table: bool) -> str:
    """The delimiter that gives the most values; ``""`` if each row has one value.

    :param table: True if some columns may hold something else.
    """
    text = _VALUE.sub(lambda match: match[1], row)
    best, most = "", -1 if table else 1
    for delimiter in DELIMITERS:
        if delimiter not in text or (delimiter == "," and decimal and '"' not in text):
            continue
        fields = _fields(text, delimiter)
        values = sum(map(_is_value, fields))
        others = sum(not _is_value(field) for field in fields if field)
        score = values - others + bool(delimiter.strip() and text.endswith(delimiter))
        if score > most and (table or not others):
            best, most = delimiter, score
    return best


def _decimal(texts: Sequence[str], options: Options, line: int, table: bool) -> str:
    """The meaning of commas inside numbers; ``""`` without such commas, or if commas separate the fields.

    :raises AmbiguousError: if they can be read in two ways.
    """
    commas = [text for text in texts if "," in text]
    if not commas:
        return ""
    if options.decimal is not None:
        return options.decimal
    quotes = [field for text in texts for field in re.findall(r'"([^"]*,[^"]*)"', text)]
    if quotes:
        return _of_groups(quotes, line)
    if options.delimiter == ",":
        return ""
    parts = [re.split(r"[\t;| ]+", text) for text in commas]
    if max(len(row) for row in parts) > 1:
        if all(part.endswith(",") or "," not in part for row in parts for part in row):
            return ""  # commas followed by spaces separate the fields
        return _of_groups([part.rstrip(",") for row in parts for part in row if "," in part.rstrip(",")], line)
    numbers = [number for text in commas if "," in (number := text.rstrip(","))]
    if not numbers or table:
        return ""  # a comma follows each number, or commas separate the fields
    if all(_GROUPS.fullmatch(number) for number in numbers):
        return _of_groups(numbers, line)
    if all(number.count(",") == 1 and number.partition(",")[2].lower() not in LEVELS for number in numbers):
        one = f"one number with a decimal comma ({numbers[0].replace(',', '.')})"
        problem = f"{numbers[0]!r} may be {one}, or two numbers: say which with decimal=comma or delimiter=comma"
        raise AmbiguousError(problem, "decimal", place=f"line {line}")
    return ""


def _of_groups(numbers: Sequence[str], line: int) -> str:
    if any(_SEVERAL_GROUPS.fullmatch(number) for number in numbers):
        values = [float(number.replace(",", "")) for number in numbers if _GROUPS.fullmatch(number)]
        if len(values) < len(numbers) or all(late >= early for early, late in pairwise(values)):
            return "point"
    elif not all(_GROUPS.fullmatch(number) for number in numbers):
        return "comma"
    thousands, comma = numbers[0].replace(",", ""), numbers[0].replace(",", ".", 1)
    problem = f"the comma in {numbers[0]!r} may part thousands ({thousands}) or be a decimal comma ({comma})"
    raise AmbiguousError(f"{problem}: say which with decimal=point or decimal=comma", "decimal", place=f"line {line}")


def _names(above: Sequence[Lines], delimiter: str, width: int, trailing: bool) -> tuple[tuple[str, ...], int]:
    """The columns' names and their line. If their units have a line of their own, these follow the names.

    A line without a word is no names, but a row with a wrong number. Then only its line is returned.

    :raises CaptureError: if the names are not text.
    """
    if not above:
        return (), 0
    texts = [_fields(line.text.decode("utf-8", "replace"), delimiter) for line in above]
    fitting = (width, width + 1) if trailing else (width,)
    last = len(above) - 1
    names = texts[last]
    if last and len(names) in fitting and len(texts[last - 1]) in fitting and any(names):
        units = [match[1] for field in names if (match := _UNIT.fullmatch(field))]
        if len(units) == len(names):
            last -= 1
            names = [f"{name} [{unit}]" if unit else name for name, unit in zip(texts[last], units)]
    fits = len(names) in fitting and width > 1
    if fits and not any(name[:1].isalpha() for name in names):
        return (), above[last].number
    if not fits and not any(map(_NAME.match, names)):
        return (), 0
    above[last].decoded()
    return tuple(names[:width] if len(names) in fitting else names), above[last].number


def shape_of(head: Head, likely: str, *, live: bool) -> str:
    """The format of the rows: ``"text"``, ``"csv"``, ``"volts"`` or ``"levels"``.

    :param likely: the format by the file's ending.
    """
    rows = head.rows
    width = len(rows[0])
    if width == 1:
        if not live and len(rows) >= FEWEST_LEVELS and all(row[0] in ("0", "1") for row in rows):
            return "levels"
        return likely if head.names or head.trailing else "text"
    names = bool(head.names)
    if live and not names:
        return "csv" if rows[0][1].lower() in LEVELS or likely == "csv" else "text"
    columns = [column for column in zip(*rows)][1:]
    levels = [all(value.lower() in LEVELS for value in column) for column in columns]
    if any(levels) and len({len(row) for row in rows}) == 1:
        return "csv"
    if not names and likely == "text":
        numbers = [float(value) for row in rows for value in row if looks_like_number(value)]
        times = [float(row[0]) for row in rows if looks_like_number(row[0])]
        rising = all(late > early for early, late in pairwise(times))
        in_a_row = all(late >= early for early, late in pairwise(numbers))
        return "volts" if width == 2 and rising and not in_a_row else "text"
    several = names or len(rows) > 1  # one row without names is too little to tell
    return "volts" if not live and several and (width == 2 or "V" in "".join(head.units)) else "csv"
