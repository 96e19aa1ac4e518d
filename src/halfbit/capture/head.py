"""Finds how a text file is written (headings, delimiter, units, decimal sign) from its first rows.

A row is a line whose fields are all values: numbers, perhaps with a unit, or levels. Words above the first row are
column names, their units, or headings that are not needed. For a file, many rows are checked. For a stream, only the
first row is checked, so that the result does not depend on how its bytes arrive.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from contextlib import closing
from itertools import pairwise

import attrs

from .lines import NO_TEXT, lines_of
from .numbers import looks_like_number
from .options import Options
from .source import Source
from .unsaid import LastLineError, UnsaidError
from ..error import CaptureError

__all__ = ["DELIMITERS", "DURATION", "LEVELS", "TIME", "Head", "head_of", "shape_of"]

#: Spellings of a level, in lower case.
LEVELS = {"0": 0, "1": 1, "0.0": 0, "1.0": 1, "low": 0, "high": 1, "false": 0, "true": 1}

#: If several delimiters give the same number of values, the first in this order is used. A comma comes last because it
#: may be inside a number. A space comes late because it may follow any other delimiter.
DELIMITERS = "\t;| ,"

#: The names of columns with times, and with durations.
TIME = re.compile(r"(time|timestamp|t)s?(?![a-z])", re.IGNORECASE)
DURATION = re.compile(r"durations?(?![a-z])", re.IGNORECASE)

#: Number of rows checked in a file, and number of lines searched for the first row.
ROWS, LINES = 200, 400
#: From this many lines that hold only 0 and 1, the file holds levels, not durations or times.
FEWEST_LEVELS = 16

_VALUE = re.compile(r"([+-]?[\d.,]*[\d.](?:[eE][+-]?\d+)?)(?: ?(ns|us|µs|μs|ms|s|mV|V))?")
_UNIT = re.compile(r"[\[(]?(ns|us|µs|μs|ms|s|mV|V|-)?[\])]?")
#: A number with commas before groups of three digits, or with a decimal comma and three decimals.
_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?")
_SEVERAL_GROUPS = re.compile(r"[+-]?\d{1,3}((,\d{3}){2,}(\.\d*)?|,\d{3}\.\d*)")


@attrs.frozen
class Head:
    """How a text file is written, as found from its first rows."""

    #: The first rows: the line's number and the fields.
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    #: The delimiter between their fields.
    delimiter: str
    #: Lines above the first row: the number of the line with names (0 if there is no such line), and the lines to skip.
    names: int = 0
    left: tuple[int, ...] = ()
    #: The names combined with the units, if the units have their own line below the names.
    named: str = ""
    #: The unit after the times, and all units found after values.
    unit: str | None = None
    units: tuple[str, ...] = ()
    #: Meaning of commas inside numbers: ``"point"`` for commas between thousands, ``"comma"`` for decimal commas,
    #: ``""`` if there are no commas.
    decimal: str = ""
    #: True if lines that start with a semicolon are comments; and true if all text after a semicolon is a comment.
    semicolons: bool = False
    #: True if each row ends with a delimiter.
    trailing: bool = False


def _is_value(field: str) -> bool:
    """True for a number, perhaps with a unit, or a level."""
    field = field.strip().strip('"')
    match = _VALUE.fullmatch(field)
    number = match[1].replace(",", "") if match else field
    return field.lower() in LEVELS or looks_like_number(number)


def head_of(source: Source, options: Options, *, table: bool = False, carriage: bool = False) -> Head | None:
    """Find how a text file is written from its first rows.

    :param table: True if it is known to be a table, so that commas separate its fields.
    :param carriage: True if lines end with a carriage return only.
    :returns: ``None`` if no line is a row. The reader then reports what is wrong.
    :raises UnsaidError: if numbers with commas can be read in two ways.
    """
    above: list[tuple[int, str]] = []
    rows: list[tuple[int, str]] = []
    semicolons = False
    for number, line in _lines(source, options, carriage):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        if text.startswith(";") and not all(_is_value(field) for field in text.split(";") if field):
            semicolons = True
            continue
        if not rows and not _is_row(text, options.delimiter, table):
            above.append((number, line))
            continue
        rows.append((number, text))
        if len(rows) == (1 if source.live else ROWS):
            break
    return _head(above, rows, options, semicolons, table) if rows else None


def _lines(source: Source, options: Options, carriage: bool) -> Iterable[tuple[int, str]]:
    try:
        with closing(source.look()) as chunks:
            ended = (chunk.replace(b"\r", b"\n") for chunk in chunks) if carriage else chunks
            for lines in lines_of(ended, options.take_last):
                for number, text in enumerate(lines.texts, lines.number):
                    if number > LINES + ROWS or NO_TEXT.search(text):
                        return
                    yield number, text.decode("utf-8", "replace")
    except LastLineError:
        return


def _is_row(text: str, delimiter: str | None, table: bool) -> bool:
    text = text.partition("#")[0].partition(" ;")[0]
    for each in (delimiter,) if delimiter else ("", *DELIMITERS):
        fields = [field for field in (text.split(each) if each else [text]) if field.strip()]
        values = list(map(_is_value, fields))
        if fields and all(values):
            return True
        if table and each.strip() and len(fields) > 1 and (values[0] or sum(values) > 1):
            return True  # other columns may hold words
    return False


def _head(
    above: Sequence[tuple[int, str]], rows: Sequence[tuple[int, str]], options: Options, semicolons: bool, table: bool
) -> Head:
    texts = [text.partition("#")[0].strip() for _, text in rows]
    if any(re.search(r"\d\s*;\s*\D*[A-Za-z]", text) for text in texts):  # words after a semicolon
        texts = [text.partition(";")[0].strip() for text in texts]
        semicolons = True
    decimal = _decimal(texts, options, rows[0][0], table)
    delimiter = options.delimiter or _delimiter(texts, decimal)
    trailing = bool(delimiter.strip()) and all(text.endswith(delimiter) for text in texts)
    fields = [_parted(text, delimiter) for text in texts]
    width = len(fields[0])
    units = [match[2] if (match := _VALUE.fullmatch(field)) else None for field in fields[0]]
    for (number, _), row in zip(rows, fields):
        for unit, field in zip(units, row):
            if (match := _VALUE.fullmatch(field)) and match[2] not in (None, unit):
                problem = f"{field!r} has another unit than line {rows[0][0]}: write all numbers in one unit"
                raise CaptureError(problem, f"line {number}")
    times = [unit for unit in units if unit is not None and "V" not in unit]
    names, named, left = _names(above, delimiter, width, trailing)
    return Head(
        tuple((number, tuple(row)) for (number, _), row in zip(rows, fields)),
        delimiter,
        names,
        left,
        named,
        times[0].replace("µ", "u").replace("μ", "u") if times else None,
        tuple(sorted({unit for unit in units if unit}, key=len, reverse=True)),
        decimal,
        semicolons,
        trailing,
    )


def _parted(text: str, delimiter: str) -> list[str]:
    """The values of a row, without the empty field after a delimiter at its end."""
    fields = _fields(text, delimiter)
    return fields[:-1] if len(fields) > 1 and not fields[-1] else fields


def _fields(text: str, delimiter: str) -> list[str]:
    if not delimiter:
        return [text.strip()]
    parts = text.split() if delimiter == " " else text.split(delimiter)
    return [part.strip().strip('"') for part in parts]


def _delimiter(texts: Sequence[str], decimal: str) -> str:
    """The delimiter that gives the most values; ``""`` if no delimiter is found."""
    text = _VALUE.sub(lambda match: match[1], texts[0])
    best, most = "", 1
    for delimiter in DELIMITERS:
        if delimiter == "," and decimal:
            continue
        fields = [field for field in _parted(text, delimiter) if field]
        trailing = delimiter.strip() and text.endswith(delimiter)
        if all(map(_is_value, fields)) and len(fields) + bool(trailing) > most:
            best, most = delimiter, len(fields) + bool(trailing)
    return best


def _decimal(texts: Sequence[str], options: Options, line: int, table: bool) -> str:
    """The meaning of commas inside numbers; ``""`` without such commas, or if commas separate the fields.

    :raises UnsaidError: if they can be read in two ways.
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
    numbers = [text.rstrip(",") for text in commas]
    numbers = [number for number in numbers if "," in number]
    if not numbers or table:
        return ""  # a comma follows each number, or commas separate the fields
    if all(_GROUPS.fullmatch(number) for number in numbers):
        return _of_groups(numbers, line)
    if all(number.count(",") == 1 and number.partition(",")[2].lower() not in LEVELS for number in numbers):
        raise UnsaidError(
            f"{numbers[0]!r} may be one number with a decimal comma ({numbers[0].replace(',', '.')}), or two numbers: "
            "say which with decimal=comma or delimiter=comma",
            "decimal", place=f"line {line}",
        )  # fmt: skip
    return ""


def _of_groups(numbers: Sequence[str], line: int) -> str:
    if any(_SEVERAL_GROUPS.fullmatch(number) for number in numbers):
        values = [float(number.replace(",", "")) for number in numbers if _GROUPS.fullmatch(number)]
        if len(values) < len(numbers) or all(late >= early for early, late in pairwise(values)):
            return "point"
    elif not all(_GROUPS.fullmatch(number) for number in numbers):
        return "comma"
    number = numbers[0]
    raise UnsaidError(
        f"the comma in {number!r} may part thousands ({number.replace(',', '')}) or be a decimal comma "
        f"({number.replace(',', '.', 1)}): say which with decimal=point or decimal=comma",
        "decimal", place=f"line {line}",
    )  # fmt: skip


def _names(
    above: Sequence[tuple[int, str]], delimiter: str, width: int, trailing: bool
) -> tuple[int, str, tuple[int, ...]]:
    """The line with the names, the names with units (if units have their own line), and the lines to skip."""
    if not above:
        return 0, "", ()
    texts = [_fields(text, delimiter) for _, text in above]
    fitting = (width, width + 1) if trailing else (width,)
    last = len(above) - 1
    units: list[str] = []
    if last and len(texts[-1]) in fitting and len(texts[-2]) in fitting:
        found = [_UNIT.fullmatch(field) for field in texts[-1]]
        if all(found) and any(texts[-1]):
            units = [match[1] or "" if match else "" for match in found]
            last -= 1
    named = any(TIME.match(name) or DURATION.match(name) for name in texts[last])
    number = above[last][0] if named or len(texts[last]) in fitting and width > 1 else 0
    names = ""
    if units and number:
        names = delimiter.join(f"{name} [{unit}]" if unit else name for name, unit in zip(texts[last], units))
    return number, names, tuple(each for each, _ in above if each != number)


def shape_of(head: Head, likely: str, *, live: bool) -> str:
    """The format of the rows: ``"text"``, ``"csv"``, ``"volts"`` or ``"levels"``.

    :param likely: the format by the file's ending.
    """
    rows = [fields for _, fields in head.rows]
    width = len(rows[0])
    if width == 1:
        if not live and len(rows) >= FEWEST_LEVELS and all(row[0] in ("0", "1") for row in rows):
            return "levels"
        return likely if likely == "text" or head.names else "text" if not head.trailing else likely
    names = bool(head.names)
    if live and not names:
        return "csv" if rows[0][1].lower() in LEVELS or likely == "csv" else "text"
    columns = [column for column in zip(*rows)][1:]
    levels = [all(value.lower() in LEVELS for value in column) for column in columns]
    if any(levels) and len({len(row) for row in rows}) == 1:
        return "csv"
    if not names and likely == "text":
        numbers = [float(value.replace(",", ".")) for row in rows for value in row if looks_like_number(value)]
        times = [float(row[0].replace(",", ".")) for row in rows if looks_like_number(row[0])]
        rising = all(late > early for early, late in pairwise(times))
        in_a_row = all(late >= early for early, late in pairwise(numbers))
        return "volts" if width == 2 and rising and not in_a_row else "text"
    return (
        "csv" if live or not names and len(rows) < 2 else "volts" if width == 2 or "V" in "".join(head.units) else "csv"
    )
