"""The registry as a table, for people and programs."""

from __future__ import annotations

import attrs

from ..error import HalfbitError
from .registry import STANDARD, Registry

FORMATS = ("text", "csv", "json")

_HEADINGS = ("pattern", "name", "addresses", "source")


@attrs.frozen(slots=True)
class Row:
    """One entry of a registry, as text."""

    pattern: str  #: The pattern and what may follow it.
    name: str
    addresses: tuple[str, ...]  #: The kinds of address that it is for.
    source: str

    def cells(self) -> tuple[str, str, str, str]:
        """The cells of a table row: pattern, name, addresses, source."""
        return (self.pattern, self.name, ", ".join(self.addresses), self.source)


def listing(registry: Registry = STANDARD) -> tuple[Row, ...]:
    """A row for each entry, in the registry's order.

    :raises HalfbitError: if ``registry`` is not a :class:`Registry`.
    """
    if not isinstance(registry, Registry):
        raise HalfbitError(f"registry: {registry!r} is no Registry: give STANDARD, or STANDARD.extended(...)")
    return tuple(
        Row(entry.text, entry.name, tuple(kind.kind for kind in entry.addresses), entry.source)
        for entry in registry.entries()
    )


def render(rows: tuple[Row, ...], form: str = "text") -> str:
    """The rows as a text table, as CSV with a heading, or as JSON with one object per line.

    :param form: ``"text"``, ``"csv"`` or ``"json"``.
    :raises HalfbitError: for another form, or if ``rows`` are not ``Row``.
    """
    if not isinstance(rows, (tuple, list)) or not all(isinstance(row, Row) for row in rows):
        raise HalfbitError(f"{rows!r} is not a row of Row: give what listing() gives")
    if form == "text":
        return _text(rows)
    if form == "csv":
        import csv  # here and below, so that decoding does without
        import io

        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(_HEADINGS)
        writer.writerows(row.cells() for row in rows)
        return out.getvalue()
    if form == "json":
        import json

        return "".join(json.dumps(attrs.asdict(row)) + "\n" for row in rows)
    raise HalfbitError(f"form: {form!r} is not one of {', '.join(FORMATS)}")


def _text(rows: tuple[Row, ...]) -> str:
    table = [_HEADINGS, *(row.cells() for row in rows)]
    widths = [max(len(line[column]) for line in table) for column in range(len(_HEADINGS))]
    lines = ("  ".join(cell.ljust(width) for cell, width in zip(line, widths)).rstrip() for line in table)
    return "\n".join(lines) + "\n"
