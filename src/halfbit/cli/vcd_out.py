"""``decode --vcd``: writes the signal, its bits, packets and meanings as a value change dump (IEEE 1364)."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import nullcontext
from typing import Any

from ..error import HalfbitError
from ..event import Packet
from ..inspect.reading import Reading
from ..inspect.strips import strips

__all__ = ["write_vcd"]

_ROWS = ("bit", "packet", "meaning")  #: Rows besides the signal. Their text is shown until the next one.


def write_vcd(path: str, reading: Reading, count: int) -> None:
    """Write a capture with its decoded bits, packets and meanings.

    :param path: ``-`` for standard output.
    :param count: number of its packets, losses and cutouts.
    :raises HalfbitError: if pyvcd is not installed, the capture can be read only once, or the file cannot be written.
    """
    try:
        from vcd import VCDWriter
    except ImportError:
        raise HalfbitError("writing VCD files takes the package pyvcd: pip install 'halfbit[vcd]'") from None
    try:
        output = nullcontext(sys.stdout) if path == "-" else open(path, "w")
        with output as file, VCDWriter(file, timescale="1 ns", comment="written by halfbit") as writer:
            wires = ("signal", "bit_start")  # this toggles with each bit: a viewer shows equal bits in a row as one
            rows: dict[str, Any] = {name: writer.register_var("track", name, "wire", size=1, init=0) for name in wires}
            rows |= {name: writer.register_var("track", name, "string", init="") for name in _ROWS}
            for time, name, value in sorted(_changes(reading, count), key=lambda change: change[0]):
                writer.change(rows[name], time, value)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise HalfbitError(f"{path}: cannot be written: {error.strerror or error}") from None


def _changes(reading: Reading, count: int) -> Iterator[tuple[int, str, str | int]]:
    now, level = 0, 1
    yield 0, "signal", 1
    for row, scale in reading.edges._rows():
        for duration in filter(None, row):
            now, level = now + duration * scale, 1 - level
            yield now, "signal", level
    if not count:
        return
    turned = 0
    for strip in strips(reading.edges, reading.limits, at=0, events=count):
        for name, marks in (("bit", strip.bits), ("packet", strip.parts), ("meaning", strip.meanings)):
            ends = {mark.start for mark in marks}
            for mark in marks:
                if name == "bit":
                    turned = 1 - turned
                    yield mark.start, "bit_start", turned
                yield mark.start, name, mark.text.replace(" ", "_")
                if mark.end not in ends:
                    yield mark.end, name, ""
        if isinstance(strip.event, Packet):
            yield strip.event.end, "meaning", ""
