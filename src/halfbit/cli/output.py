"""Decoded events as a table with one line for each change; and as JSON Lines or CSV, for other programs."""

from __future__ import annotations

import csv
import json
import sys
import textwrap
from collections.abc import Callable, Hashable

from ..event import Cutout, Fault
from ..inspect.cause import Cause, Diagnosis, fault_words
from ..instruction import (
    AnalogFunction, BinaryStateLong, BinaryStateShort, Context, Event, FunctionControl, Idle, Instruction,
    RestrictedSpeedStep, SpeedControl,
)  # fmt: skip
from ..limits import RECEIVE, Limits
from .columns import milliseconds
from .summary import Summary

__all__ = ["CsvRows", "JsonLines", "Table"]

_COLUMNS = ("start_ns", "end_ns", "what", "address", "instruction", "bytes", "preamble", "cause", "text")

_TIME, _ADDRESS, _BYTES, _GAP = 11, 20, 17, "  "  #: Widths of columns, and the gap between columns.
_WIDE, _WIDE_ADDRESS = 100, 28  #: From this terminal width on, the address column is wider.
_NARROWEST = 60  #: Narrowest table, in columns. Without a terminal, lines are not shortened.

#: Instructions that set a state. A repetition says nothing new.
_STATES = (SpeedControl, RestrictedSpeedStep, FunctionControl, BinaryStateLong, BinaryStateShort, AnalogFunction, Idle)
#: Fields that identify the part of a decoder that an instruction is about.
_PARTS = ("first", "cv", "register", "output", "sub_address", "position")
_AGAIN = 1_000_000_000  #: Other instructions count as repeated only within this time, ns.

_RED, _DIM, _BOLD, _PLAIN = "\x1b[31m", "\x1b[2m", "\x1b[1m", "\x1b[0m"


class Table:
    """Writes events as lines of a table.

    :param write: is called with each line.
    :param limits: the limits used for decoding.
    :param every: True to list repeated packets too.
    :param width: the terminal's width in columns; ``None`` without a terminal.
    :param color: True to show losses in colour.
    :param bytes: True to show each packet's bytes.
    """

    def __init__(
        self, write: Callable[[str], None], *, limits: Limits = RECEIVE, every: bool = False, width: int | None = None,
        color: bool = False, bytes: bool = False,
    ) -> None:  # fmt: skip
        self._write = write
        self._limits = limits
        self._every = every
        self._room = None if width is None else max(width, _NARROWEST)
        self._address = _ADDRESS if width is not None and width < _WIDE else _WIDE_ADDRESS
        self._color = color
        self._bytes = bytes
        self._titled = False
        self._known: dict[Hashable, tuple[Instruction, int]] = {}
        self._again = 0

    def event(self, event: Event, diagnosis: Diagnosis | None = None, listed: bool = True) -> None:
        """Take the next event. ``listed`` is False for one that is not shown, but is known from then on."""
        if not isinstance(event, Instruction):
            if listed:
                self._gap(event, diagnosis)
            return
        new = self._new(event)
        if listed and (new or self._every):
            self._instruction(event)
        elif listed:
            self._again += 1

    def end(self, summary: Summary) -> None:
        """End of the events: write the summary."""
        lines = summary.lines()
        if self._again:
            again = f"{self._again} more instructions say nothing new and are not listed (--every lists them)"
            lines.insert(0, f"again    {again}")
        self._write("")
        for line in lines:
            below = " " * max(9, len(line) - len(line.lstrip()))
            room = len(line) or 1 if self._room is None else self._room
            for part in textwrap.wrap(line, room, subsequent_indent=below):
                self._write(part)

    def _new(self, instruction: Instruction) -> bool:
        """True unless the instruction repeats an earlier one for the same thing."""
        parts = tuple(getattr(instruction, name, None) for name in _PARTS)
        if hasattr(instruction, "state"):
            parts += (getattr(instruction, "number", None),)
        key = (str(instruction.address), type(instruction), parts)
        start = 0 if instruction.packet is None else instruction.packet.start
        before, time = self._known.get(key, (None, 0))
        self._known[key] = instruction, start
        if before != instruction:
            return True
        if (before.repetition, before.context) != (instruction.repetition, instruction.context):
            return True
        return not isinstance(instruction, _STATES) and start - time > _AGAIN

    def _instruction(self, instruction: Instruction) -> None:
        packet = instruction.packet
        start = "" if packet is None else milliseconds(packet.start)
        text = str(instruction) if self._room is None else instruction.brief
        notes = ["service mode"] if instruction.context is Context.SERVICE else []
        notes += [instruction.repetition.value] if instruction.repetition is not None else []
        self._row(start, str(instruction.address), f"{packet}", text, notes)

    def _gap(self, event: Fault | Cutout, diagnosis: Diagnosis | None) -> None:
        if isinstance(event, Cutout):
            self._row(milliseconds(event.start), "cutout", "", str(event), [], _DIM)
            return
        text = fault_words(event, self._limits)
        if diagnosis is not None and diagnosis.cause is not Cause.CUT:
            known = f"{text}; {diagnosis.cause.value}" if diagnosis.cause is Cause.NOT_FOUND else str(diagnosis)
            text = known if self._room is None else diagnosis.brief(self._text_room())
        length = f"{(event.end - event.start) / 1e6:.1f} ms"
        self._row(milliseconds(event.at), f"LOST {length}", event.data.hex(" ").upper(), text, [], _RED)

    def _text_room(self) -> int:
        used = _TIME + self._address + 2 * len(_GAP) + (_BYTES + len(_GAP)) * self._bytes
        return 10_000 if self._room is None else self._room - used

    def _row(self, time: str, address: str, data: str, text: str, notes: list[str], color: str = "") -> None:
        if not self._titled:
            self._titled = True
            self._row("time ms", "address", "bytes", "instruction", [], _BOLD)
        room = self._text_room() - max(len(address) - self._address, 0)
        for note in notes:
            if len(text) + len(note) + 2 <= room:
                text += "; " + note
        text = text if len(text) <= room else text[: room - 2].rstrip(" ,;") + ".."
        cells = [time.rjust(_TIME), address.ljust(self._address), *[data.ljust(_BYTES)] * self._bytes, text]
        line = _GAP.join(cells).rstrip()
        self._write(f"{color}{line}{_PLAIN}" if self._color and color else line)


class JsonLines:
    """Writes each event's ``as_dict()`` as a line, and a summary as the last line."""

    def event(self, event: Event, diagnosis: Diagnosis | None, listed: bool) -> None:
        """Take the next event. A diagnosis is written after its fault."""
        if listed:
            print(json.dumps(event.as_dict()))
            if diagnosis is not None:
                print(json.dumps(diagnosis.as_dict()))

    def end(self, summary: Summary) -> None:
        """End of the events."""
        print(json.dumps(summary.as_dict()))


class CsvRows:
    """Writes a row for each instruction, loss and cutout; times in ns.

    :param limits: the limits used for decoding.
    """

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._put = csv.writer(sys.stdout, lineterminator="\n").writerow
        self._put(_COLUMNS)

    def event(self, event: Event, diagnosis: Diagnosis | None, listed: bool) -> None:
        """Take the next event."""
        if not listed:
            return
        if isinstance(event, Instruction):
            packet = event.packet
            assert packet is not None  # it was decoded, not built by hand
            names = event.address, event.name, packet, packet.preamble
            self._put((packet.start, packet.end, "instruction", *names, "", event))
        elif isinstance(event, Fault):
            cause = "" if diagnosis is None else diagnosis.cause.value
            text = fault_words(event, self._limits) + ("" if diagnosis is None else f"; {diagnosis}")
            self._put((event.start, event.end, "lost", "", "", event.data.hex(" ").upper(), "", cause, text))
        else:
            self._put((event.start, event.end, "cutout", "", "", "", "", "", event))

    def end(self, summary: Summary) -> None:
        """End of the events. The summary is not a row."""
