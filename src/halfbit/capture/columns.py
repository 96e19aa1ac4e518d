"""The layout of a table: the delimiter, the column names, and the columns to read."""

from __future__ import annotations

import re
from collections.abc import Sequence

import attrs

from ..error import AmbiguousError, CaptureError
from .head import DURATION, TIME, Head
from .heading import Heading, unknown_meaning
from .lines import listed
from .options import Column, Options

__all__ = ["Layout", "layout_of", "unit_in"]

#: A unit at the end of a column's name: "time [us]", "time (us)", "time_us", "time / us".
_UNIT = re.compile(r"[\[(_/\s]\s*(ns|us|µs|μs|ms|s)\s*[\])]?$", re.IGNORECASE)


@attrs.frozen(slots=True)
class Layout:
    """The layout of a table: which columns hold which values."""

    delimiter: str
    width: int  #: Number of fields in each row.
    time: int  #: Index of the column with times or durations.
    rails: tuple[int, ...]  #: Indices of the columns with levels or volts; empty if each row is a change.
    heading: Heading  #: Durations or times, unit and wrap, from the caller, the file's head and the column's name.
    volts: bool = False  #: True if the level columns hold volts.
    column: str = ""  #: The level's column in words; empty if there is only one.


def layout_of(head: Head, options: Options, volts: bool = False) -> Layout:
    """Find the layout of a table.

    :param volts: True if the table holds volts, not levels.
    :raises CaptureError: if a column does not exist, or if nothing says what the values are.
    """
    names, width, delimiter, said = head.names, len(head.rows[0]), head.delimiter or ",", head.said(options)
    if names and len(names) != width:
        raise CaptureError(f"there are {len(names)} column names over {width} fields")
    time = _time(options.time_column, names, width, said.holds)
    name = names[time] if names else ""
    heading = said.over(Heading("durations" if DURATION.match(name) else None, unit_in(name)))
    if heading.holds == "durations":
        for option in ("level_column", "other_rail"):
            if getattr(options, option) is not None:
                raise CaptureError(f"{option}: durations have none: each is from one level change to the next")
        if volts:
            raise CaptureError("holds durations, so no volts: read it with format=csv")
        return Layout(delimiter, width, time, (), heading)
    rails = _rails(options, names, width, time)
    if heading.holds is None and not rails and not TIME.match(name):
        raise unknown_meaning()
    if volts and not rails:
        raise CaptureError("there is only one column: volts need one with times and one with volts")
    rail = rails[0] if rails else 0
    shown = repr(names[rail]) if names and names[rail] else str(rail + 1)
    column = f" of column {shown}" if rails and width > 2 else ""
    return Layout(delimiter, width, time, rails, heading, volts, column)


def unit_in(name: str) -> str | None:
    """The unit at the end of a column's name; ``None`` if there is no unit."""
    match = _UNIT.search(name)
    return match[1].lower().replace("µ", "u").replace("μ", "u") if match else None


def _time(said: Column | None, names: Sequence[str], width: int, holds: str | None) -> int:
    if said is not None:
        return _find("time_column", said, names, width)
    patterns = {"times": (TIME,), "durations": (DURATION,), None: (TIME, DURATION)}[holds]
    fitting = [index for index, name in enumerate(names) if any(pattern.match(name) for pattern in patterns)]
    if len(fitting) > 1:
        problem = f"several columns may hold the times; say which with time_column=COLUMN ({_listed(names)})"
        raise AmbiguousError(problem, "time_column", tuple(number + 1 for number in fitting))
    return fitting[0] if fitting else 0


def _rails(options: Options, names: Sequence[str], width: int, time: int) -> tuple[int, ...]:
    second = () if options.other_rail is None else (_find("other_rail", options.other_rail, names, width),)
    if options.level_column is not None:
        first = (_find("level_column", options.level_column, names, width),)
        if first == second:
            raise CaptureError("level_column and other_rail are the same column")
        return first + second
    others = [index for index in range(width) if index not in (time, *second) and (not names or names[index])]
    if len(others) > 1 or (second and not others):
        problem = f"say which column has the level with level_column=COLUMN ({_listed(names) or f'1 to {width}'})"
        raise AmbiguousError(problem, "level_column", tuple(number + 1 for number in others))
    return (*others, *second)


def _find(option: str, said: Column, names: Sequence[str], width: int) -> int:
    there = _listed(names)
    brackets = f" ({there})" if names else ""
    if isinstance(said, int):
        if said <= width:
            return said - 1
        raise CaptureError(f"{option}: there is no column {said}; there are {width}{brackets}")
    wanted = said.strip()
    found = [index for index, name in enumerate(names) if name == wanted]
    found = found or [index for index, name in enumerate(names) if name.lower() == wanted.lower()]
    if len(found) == 1:
        return found[0]
    if found:
        raise CaptureError(f"{option}: {said!r} names several columns; give its number{brackets}")
    instead = f"; there are {there}" if names else f": columns have no names, only numbers 1 to {width}"
    raise CaptureError(f"{option}: there is no column {said!r}{instead}")


def _listed(names: Sequence[str]) -> str:
    return listed([f"{number} {name!r}" for number, name in enumerate(names, 1)])

