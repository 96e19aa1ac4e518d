"""Draws strips as text: the layers one below the other, in bands as wide as the terminal."""

from __future__ import annotations

import textwrap
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate

from ..event import Fault, FaultKind
from ..limits import RECEIVE, US, Limits
from .cause import Cause, Diagnosis, fault_words
from .strips import Mark, Strip, within

__all__ = ["LEAST_WIDTH", "allowed", "drawn", "explained"]

LEAST_WIDTH = 40  #: Narrowest band, in columns.
MARGIN = 8  #: Width of the row names, in columns.
COLUMN = 14_500  #: Time per column, ns. The half of a one gets four columns, the half of a zero seven.
WIDEST = 14  #: Most columns for a stretched zero or a silence.
LABELS = 24  #: Number of columns between time labels.

_LEGEND = "ms: time of the change below; us: durations; half and bit: 1, 0, or ? for one that is faulty"


def allowed(fault: Fault, limits: Limits) -> str:
    """The values that would have been valid instead of a fault; empty if there is nothing to add."""
    ones = f"{_us(limits.one_min)} to {_us(limits.one_max)} us"
    zeros = f"{_us(limits.zero_min)} to {_us(limits.zero_max)} us"
    duration = fault.duration
    if limits.decision == "sum" and duration is not None:
        return f"allowed: {_us(2 * limits.one_min)} to {_us(2 * limits.zero_max)} us for a whole bit"
    if fault.kind in (FaultKind.SHORT, FaultKind.GAP, FaultKind.LONG) and duration is not None:
        bounds = (limits.one_min, limits.one_max, limits.zero_min, limits.zero_max)
        missed = min(abs(bound - duration) for bound in bounds)
        return f"allowed: {ones} (half of a one), {zeros} (of a zero); missed by {_us(missed)} us"
    if same := {FaultKind.UNPAIRED_ONE: ones, FaultKind.UNPAIRED_ZERO: zeros}.get(fault.kind):
        return f"allowed: a second half of the same kind: {same}"
    if fault.difference is not None and limits.one_difference is not None:
        return f"allowed: a difference of {_us(limits.one_difference)} us"
    if fault.one_bits is not None:
        return f"allowed: {limits.preamble_min} one-bits or more"
    if fault.wrong_bits is not None and fault.data:
        return f"the error detection byte of these bytes would be {fault.data[-1] ^ fault.wrong_bits:02X}"
    return ""


def explained(diagnosis: Diagnosis, limits: Limits) -> list[str]:
    """The full text about a loss: what was found, what is allowed, what can be read, the cause, and what to do."""
    fault = diagnosis.fault
    bytes_ = f"readable: {fault.data.hex(' ').upper()}" if fault.data else "readable: no byte"
    lost = f"lost at {fault.at / 1e6:.3f} ms: {fault_words(fault, limits)}"
    lines = [lost, allowed(fault, limits), bytes_, f"cause: {diagnosis}"]
    causes = diagnosis.several or (diagnosis.cause,)
    # A reader of this already looks at the place. Cause.advice would send them there.
    here = {Cause.NOT_FOUND: "more than one thing is wrong there: look for durations of neither a one nor a zero"}
    advice = "; or ".join(dict.fromkeys(here.get(cause, cause.advice) for cause in causes))
    return [*filter(None, lines), f"what to do: {advice}"]


def _us(nanoseconds: int) -> str:
    return f"{nanoseconds / US:g}"


def drawn(strips: Iterable[Strip], width: int, limits: Limits = RECEIVE) -> Iterator[str]:
    """The lines of some strips.

    :param width: width in columns; at least 40 is used.
    :param limits: the limits used for decoding.
    """
    width = max(width, LEAST_WIDTH)
    yield from textwrap.wrap(_LEGEND, width)
    for strip in strips:
        if strip.left_out:
            yield ""
            yield f"... {strip.left_out} durations left out ..."
        yield from _Drawing(strip, width - MARGIN, limits).lines()


class _Drawing:
    """Draws one strip in bands."""

    def __init__(self, strip: Strip, width: int, limits: Limits) -> None:
        self._strip = strip
        self._limits = limits
        self._width = width
        self._texts = [_microseconds(duration) for duration in strip.durations]
        drawn_as = zip(strip.durations, self._texts)
        self._wide = [max(min(round(duration / COLUMN), WIDEST), len(text) + 1) for duration, text in drawn_as]
        self._columns = list(accumulate(self._wide, initial=0))

    def lines(self) -> Iterator[str]:
        first, last = 0, len(self._wide)
        while first < last:
            after = self._break(first)
            yield ""
            yield from self._band(first, after)
            first = after

    def _break(self, first: int) -> int:
        """Index of the change that ends the band: the last that fits, at the start of a bit if possible."""
        columns = self._columns
        after = max(bisect_right(columns, columns[first] + self._width) - 1, first + 1)
        if after == len(columns) - 1:
            return after
        starts = {mark.start for mark in self._strip.bits}
        least = bisect_left(columns, columns[first] + self._width * 2 // 3)
        near = range(after, max(first, least - 1), -1)
        return next((change for change in near if self._strip.times[change] in starts), after)

    def _band(self, first: int, after: int) -> Iterator[str]:
        strip = self._strip
        low, high = self._columns[first], self._columns[after]
        start, end = strip.times[first], strip.times[after]
        faults = [fault for fault in strip.faults if start <= fault.at < end]
        lost = any(mark.text.startswith("lost: ") for mark in strip.meanings)
        rows = {
            "ms": self._times(first, after),
            "change" if strip.level is None else "level": self._levels(first, after),
            "us": "".join(f" {text}".ljust(wide) for text, wide in zip(self._texts[first:after], self._wide[first:])),
            "half": self._marks(strip.half_bits, start, end, low, high, bar=" "),
            "bit": self._marks(strip.bits, start, end, low, high),
            "packet": self._marks(strip.parts, start, end, low, high),
            "meaning": "" if lost and first and not faults else self._marks(strip.meanings, start, end, low, high),
            "fault": self._places(faults, low, high),
            "cause": "",
        }
        found = strip.diagnosis
        if found is not None and found.is_at_one_place and start <= found.at < end:
            place, name = self._column(found.at) - low, found.cause.value
            beside = f"{' ' * place}^ {name}" if place + 2 + len(name) <= self._width else f"{name} ^".rjust(place + 1)
            rows["cause"] = beside
        for name, row in rows.items():
            if row.strip():
                yield f"{name:<{MARGIN}}{row}".rstrip()
        for fault in faults:
            words = f"{fault.at / 1e6:.3f} ms: {fault_words(fault, self._limits)}"
            text = "; ".join(filter(None, (words, allowed(fault, self._limits))))
            first_line, below = f"{'^':>{MARGIN + 1}} ", " " * (MARGIN + 2)
            yield from textwrap.wrap(text, self._width + MARGIN, initial_indent=first_line, subsequent_indent=below)

    def _times(self, first: int, after: int) -> str:
        row = ""
        low = self._columns[first]
        for change in range(first, after):
            place = self._columns[change] - low
            label = f"{self._strip.times[change] / 1e6:.3f}"
            if (not row or place >= len(row) + LABELS - len(label)) and place + len(label) <= self._width:
                row = row.ljust(place) + label
        return row

    def _levels(self, first: int, after: int) -> str:
        level = self._strip.level
        signs = (("|", " "), ("|", " ")) if level is None else (("\\", "_"), ("/", "~"))
        low_or_high = (signs[((level or 0) + index) % 2] for index in range(first, after))
        return "".join(change.ljust(wide, flat) for (change, flat), wide in zip(low_or_high, self._wide[first:]))

    def _marks(self, marks: Sequence[Mark], start: int, end: int, low: int, high: int, bar: str = "|") -> str:
        """Each mark's text after a bar at its start. If a band cuts a mark, its text follows a dot in the next."""
        row = [" "] * (high - low)
        for mark in within(marks, start, end):
            left = max(self._column(mark.start), low) - low
            right = min(self._column(mark.end), high) - low
            if left >= right:
                continue
            row[left] = bar if mark.start >= start else "."
            room = right - left - 1
            if mark is marks[-1] and mark in self._strip.meanings:
                room = self._width - left - 1  # nothing follows it
            text = mark.text if len(mark.text) <= room else mark.text[: max(room - 2, 0)] + ".."[:room]
            if len(mark.text) <= 2 and bar == "|":
                text = text.center(room)
            row[left + 1 : left + 1 + len(text)] = text  # text beyond the row's end makes the row longer
        return "".join(row)

    def _places(self, faults: Sequence[Fault], low: int, high: int) -> str:
        row = [" "] * (high - low)
        for fault in faults:
            row[self._column(fault.at) - low] = "^"
        for fault in reversed(faults):
            place = self._column(fault.at) - low + 2
            name = fault.kind.name.lower().replace("_", " ")
            if place + len(name) <= len(row) and set(row[place - 1 : place + len(name) + 1]) <= {" "}:
                row[place : place + len(name)] = name
        return "".join(row)

    def _column(self, time: int) -> int:
        """The column of a time; between two changes it is interpolated."""
        times, columns = self._strip.times, self._columns
        index = min(max(bisect_right(times, time) - 1, 0), len(times) - 2)
        passed = (time - times[index]) / ((times[index + 1] - times[index]) or 1)
        return columns[index] + round(min(max(passed, 0), 1) * (columns[index + 1] - columns[index]))


def _microseconds(nanoseconds: int) -> str:
    return f"{nanoseconds / 1000:.0f}" if nanoseconds < 100_000_000 else f"{nanoseconds / 1e6:.0f}ms"
