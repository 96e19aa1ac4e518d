"""Print the instructions' tables for ports from halfbit's registry, so that nothing is typed twice.

``python -m tests.ports.make_tables`` writes ``c/instructions.h`` and ``micropython/instruction_table.py`` anew.
Both hold what a multi-function decoder needs: the instructions behind the broadcast, its short and its long address, and those of
service mode; for each the fixed bits, and for each field where its bits stand.
"""

from __future__ import annotations

import re
from pathlib import Path

import attrs

from halfbit.instruction import STANDARD, Entry, FieldLayout, Place

from .support_files import PORTS

__all__ = ["FILES", "Row", "Tables", "in_c", "in_micropython", "tables"]

FILES = {"c": PORTS / "c" / "instructions.h", "micropython": PORTS / "micropython" / "instruction_table.py"}
PLACES = (Place.BROADCAST, Place.SHORT, Place.LONG, Place.SERVICE)
OPEN = 255  # a tail of any length


@attrs.frozen
class Row:
    """An entry with its name in the tables."""

    name: str
    entry: Entry

    @property
    def numbers(self) -> tuple[int, ...]:
        """Pattern length, fewest and most bytes behind it, flags, addresses from and to, masks, values."""
        entry = self.entry
        low, high = (entry.tail.low, entry.tail.high) if entry.tail else (0, 0)
        flags = entry.reserved | entry.once << 1
        size = len(entry.parsed)
        numbers = entry.numbers or (0, OPEN)
        high = OPEN if high is None else high
        return size, low, high, flags, *numbers, *entry.parsed.masks, *entry.parsed.values

    @property
    def fields(self) -> dict[str, FieldLayout]:
        """Each field's name in the tables."""
        return {f"{self.name}_{name.upper()}": layout for name, layout in self.entry.layouts.items()}


def rows() -> list[Row]:
    """The entries of these places, in the registry's order, each with a name of its own."""
    found: list[Row] = []
    for entry in STANDARD.entries():
        if not set(entry.places) & set(PLACES):
            continue
        stem = name = "_".join(re.findall("[A-Z0-9]+", entry.name.upper()))
        taken = {row.name for row in found}
        number = 1
        while name in taken:
            number += 1
            name = f"{stem}_{number}"
        found.append(Row(name, entry))
    return found


def candidates(place: Place, table: list[Row]) -> list[tuple[int, ...]]:
    """For each first byte the rows that can match it, in the order in which they are tried.

    As the registry does it: special cases first; reserved patterns last, and where instructions
    follow an address only where none starts with the byte.
    """
    order = sorted(
        (index for index, row in enumerate(table) if place in row.entry.places),
        key=lambda index: (table[index].entry.reserved, -len(table[index].entry.special_of)),
    )
    lists = []
    for byte in range(256):
        matching = [
            index for index in order
            if byte & table[index].entry.parsed.masks[0] == table[index].entry.parsed.values[0]
        ]  # fmt: skip
        sure = [index for index in matching if not table[index].entry.reserved and table[index].entry.numbers is None]
        if sure and place.follows_address:
            matching = [index for index in matching if not table[index].entry.reserved]
        lists.append(tuple(matching))
    return lists


@attrs.frozen
class Tables:
    """All that is printed, as plain numbers."""

    rows: list[Row]
    #: Rows one after the other, and where each starts.
    packed: list[int]
    starts: list[int]
    #: Lists of rows, each ended by OPEN; for each place and first byte where its list starts.
    lists: list[int]
    first: dict[Place, list[int]]
    #: Name, then xor, add, number of runs and per run byte, shift, width and position.
    fields: dict[str, list[int]]


def tables() -> Tables:
    """Made from the registry."""
    table = rows()
    packed: list[int] = []
    starts = []
    for row in table:
        starts.append(len(packed))
        packed += row.numbers
    lists: list[int] = []
    known: dict[tuple[int, ...], int] = {}
    first: dict[Place, list[int]] = {}
    for place in PLACES:
        first[place] = []
        for chosen in candidates(place, table):
            if chosen not in known:
                known[chosen] = len(lists)
                lists += [*chosen, OPEN]
            first[place].append(known[chosen])
    if len(table) >= OPEN or len(lists) > 256:
        raise SystemExit("the tables no longer fit bytes")
    fields = {}
    for row in table:
        for name, layout in row.fields.items():
            runs = [n for run in layout.runs for n in (run.byte, run.shift, run.width, run.position)]
            fields[name] = [layout.xor, layout.add, len(layout.runs), *runs]
    return Tables(table, packed, starts, lists, first, fields)


def wrapped(numbers: list[int], indent: str, width: int = 100) -> str:
    """Numbers with commas, in lines."""
    lines, line = [], indent
    for number in numbers:
        text = f"{number},"
        if len(line) + len(text) + 1 > width:
            lines.append(line.rstrip())
            line = indent
        line += text + " "
    return "\n".join([*lines, line.rstrip()])


def in_c(made: Tables) -> str:
    """The header."""
    names = "\n".join(f"    HALFBIT_I_{row.name}, /* {row.entry.pattern} */" for row in made.rows)
    offsets: list[str] = []
    packed: list[int] = []
    for name, numbers in made.fields.items():
        offsets.append(f"    HALFBIT_F_{name} = {len(packed)},")
        packed += numbers
    first = "\n".join(
        f"    {{ /* {place.value} */\n{wrapped(made.first[place], ' ' * 8)}\n    }}," for place in PLACES
    )
    joined = "\n".join(offsets)
    return f"""/* Made by tests/ports/make_tables.py from halfbit's registry: do not edit. */
#ifndef HALFBIT_INSTRUCTIONS_H
#define HALFBIT_INSTRUCTIONS_H

#include "halfbit_rom.h"

#include <stdint.h>

/* The instructions. */
enum {{
{names}
    HALFBIT_I_COUNT
}};

/* Where a pattern stands. */
enum {{ HALFBIT_BROADCAST, HALFBIT_SHORT_ADDRESS, HALFBIT_LONG_ADDRESS, HALFBIT_SERVICE }};

/* Each instruction: bytes of the pattern, fewest and most behind it (255: any number), flags (1: reserved;
 * 2: one of these in a packet), short addresses from and to, the pattern's masks and its values. */
static const uint8_t HALFBIT_ROWS[{len(made.packed)}] HALFBIT_ROM = {{
{wrapped(made.packed, "    ")}
}};

/* Where each starts in HALFBIT_ROWS. */
static const uint16_t HALFBIT_STARTS[{len(made.starts)}] HALFBIT_ROM = {{
{wrapped(made.starts, "    ")}
}};

/* Lists of instructions in the order in which they are tried, each ended by 255. */
static const uint8_t HALFBIT_LISTS[{len(made.lists)}] HALFBIT_ROM = {{
{wrapped(made.lists, "    ")}
}};

/* For each place and first byte where its list starts. */
static const uint8_t HALFBIT_FIRST[{len(PLACES)}][256] HALFBIT_ROM = {{
{first}
}};

/* Where each field starts in HALFBIT_FIELDS. */
enum {{
{joined}
    HALFBIT_F_END = {len(packed)}
}};

/* Each field: exclusive or, addition, number of runs; each run: byte, lowest bit, bits, their place in the value. */
static const uint16_t HALFBIT_FIELDS[{len(packed)}] HALFBIT_ROM = {{
{wrapped(packed, "    ")}
}};

#endif
"""


def in_micropython(made: Tables) -> str:
    """The module."""
    names = "\n".join(f"I_{row.name} = {index}" for index, row in enumerate(made.rows))
    fields = "\n".join(f"F_{name} = {bytes(numbers)!r}" for name, numbers in made.fields.items())
    starts = [byte for start in made.starts for byte in (start & 255, start >> 8)]

    def constant(numbers: list[int]) -> str:
        data = bytes(numbers)
        lines = [f"    {data[at : at + 24]!r}" for at in range(0, len(data), 24)]
        return "(\n" + "\n".join(lines) + "\n)"

    first = "\n".join(f"{place.name} = {constant(made.first[place])}" for place in PLACES)
    return f'''"""Made by tests/ports/make_tables.py from halfbit's registry: do not edit."""

# The instructions.
{names}

# Each instruction: bytes of the pattern, fewest and most behind it (255: any number), flags (1: reserved; 2: one
# of these in a packet), short addresses from and to, the pattern's masks and its values.
ROWS = {constant(made.packed)}

# Where each starts in ROWS, two bytes, low one first.
STARTS = {constant(starts)}

# Lists of instructions in the order in which they are tried, each ended by 255.
LISTS = {constant(made.lists)}

# For each first byte where its list starts, in each place.
{first}

# Each field: exclusive or, addition, number of runs; each run: byte, lowest bit, bits, their place in the value.
{fields}
'''


def main() -> None:
    """Write both files."""
    made = tables()
    FILES["c"].write_text(in_c(made))
    FILES["micropython"].write_text(in_micropython(made))


if __name__ == "__main__":
    main()
