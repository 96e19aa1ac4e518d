"""Value change dumps (VCD, IEEE 1364): one signal, or two as the two rails.

The declarations at the head are read with the package pyvcd. The value changes, which make up nearly all
of a file, are words between spaces. They are read here, many at a time.

Values other than 0 and 1 (x, z) are not levels. The level stays the same until the next 0 or 1, and a remark
gives the number of such values. Several changes at the same time count as one: the last value counts. A real
value is compared with a threshold. It holds until the next value, so times are not interpolated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing
from functools import cache

import attrs

from ..batch import Batch
from ..edge_samples import SAME
from ..error import AmbiguousError, CaptureError, HalfbitError
from ..unit import Number
from .capture_edges import CaptureEdges
from .lines import complaint, quoted, unfinished
from .samples import Finder, Samples, changes
from .options import Options
from .source import Source
from .threshold import Threshold, threshold_of
from .vcd_head import Head, Variable, choose, read_head

__all__ = ["read_vcd"]

_DUMPS = frozenset((b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$end"))

_LEVELS = {**dict.fromkeys(b"0lL", 0), **dict.fromkeys(b"1hH", 1)}  # L and H: the weak levels of nine-valued logic
_STATES = frozenset(b"01xXzZuUwWlLhH-")

_LONGEST = 1 << 20  #: Longest word in bytes. A longer one cannot be a value change.


def read_vcd(source: Source, options: Options) -> CaptureEdges:
    """The edges of a signal in a VCD file.

    :raises CaptureError: if it is not a VCD file, or if the signal does not exist.
    :raises HalfbitError: if the package pyvcd is not installed.
    """
    with closing(source.look()) as chunks:
        head = read_head(chunks)
    rails = [choose(head.variables, options.signal)]
    if options.other_rail is not None:
        rails.append(choose(head.variables, str(options.other_rail), "other_rail"))
        if (rails[0].code, rails[0].bit) == (rails[1].code, rails[1].bit):
            raise CaptureError("signal and other_rail are the same signal")
        if rails[0].real != rails[1].real:
            raise CaptureError("signal and other_rail: one is real, the other is not")
    unit = head.unit if options.unit is None else options.unit
    if unit is None:
        raise AmbiguousError("declares no time scale: say which with unit=us, or another", "unit")
    threshold: Threshold | None = None
    if rails[0].real:
        with closing(source.look()) as chunks:
            found = _Reader(head, rails, options.take_last).samples(chunks)
            threshold = threshold_of((samples.volts for samples in found), options.threshold, options.hysteresis)
    elif options.threshold is not None or options.hysteresis is not None:
        raise HalfbitError("threshold and hysteresis: mean nothing to a signal of levels")
    name = " less ".join(rail.name if rail.bit is None else f"{rail.name}, bit {rail.bit}" for rail in rails)
    last = _Reader(head, rails, options.take_last)

    def remarks() -> tuple[str, ...]:
        said = [f"signal {name}" + (f"; {threshold}" if threshold else "")]
        if last.unknown:
            said.append(f"{last.unknown} values x or z: the level was taken to stay")
        return tuple(said)

    def edges() -> Iterator[Batch]:
        nonlocal last
        last = _Reader(head, rails, options.take_last)
        rows = last.samples(source.chunks())
        if threshold is not None:
            rows = (attrs.evolve(some, levels=threshold.levels(some.volts)) for some in rows)
        return changes(rows, Finder(None))

    return CaptureEdges(source.name, edges, words="value changes", unit=unit, remarks=remarks)


class _Reader:
    """Reads the value changes of one or two variables as they arrive."""

    def __init__(self, head: Head, rails: Sequence[Variable], take_last: bool) -> None:
        self._head = head
        self._take_last = take_last
        self._real = rails[0].real
        self.unknown = 0  #: Number of values that were neither 0 nor 1. Values before the first 0 or 1 are not counted.
        self._values: list[Number | None] = [None] * len(rails)  # present value of each rail
        self._seen = [False] * len(rails)
        self._bits = {
            code: [(i, rail.bit or 0) for i, rail in enumerate(rails) if rail.code == code]
            for code in {rail.code for rail in rails}
        }
        self._codes = {variable.code for variable in head.variables}
        self._time: int | None = None
        self._changed = False
        self._open = b""  # the value of a vector, whose code comes next, or $comment, whose end comes

    def samples(self, chunks: Generator[bytes, None, None]) -> Iterator[Samples]:
        """The values of the rails, each time one of them has changed.

        :raises CaptureError: if a word is not valid in a VCD file. The samples before it come out first.
        """
        skip = self._head.bytes
        line = 1 + self._head.lines
        rest = b""
        for chunk in chunks:
            if skip:
                chunk, skip = chunk[skip:], max(skip - len(chunk), 0)
            text = rest + chunk
            end = max((text.rfind(space) for space in (b"\n", b" ", b"\t", b"\r")), default=-1) + 1
            rest = text[end:]
            if len(rest) > _LONGEST:
                raise CaptureError(f"more than {_LONGEST} bytes without a space", f"line {line}")
            if end:
                yield from self._block(text[:end], line)
                line += text.count(b"\n", 0, end)
        if rest and not self._take_last:
            yield from self._block(b"\n", line)
            raise unfinished(rest, line)
        yield from self._block(rest + b"\n", line, ends=True)

    def _block(self, text: bytes, line: int, ends: bool = False) -> Iterator[Samples]:
        found: list[tuple[int, Number, int]] = []  # times, values, and the words at which they are known
        wrong: CaptureError | None = None
        index = 0
        try:
            for index, word in enumerate(text.split()):
                if self._open:
                    self._close(word)
                elif word[0] == 35:  # '#'
                    time = self._later(word)
                    if self._changed:
                        found += self._settled(index)
                    self._time = time
                else:
                    self._take(word)
        except CaptureError as error:
            wrong = error.at(_places(text, line, [index])(0))
        if (ends or wrong is not None) and self._changed:
            found += self._settled(index)
        if found:
            times, values, at = zip(*found)
            place = _places(text, line, at)
            yield Samples(times, b"", place, values) if self._real else Samples(times, bytes(values), place)
        if wrong is not None:
            raise wrong

    def _settled(self, index: int) -> list[tuple[int, Number, int]]:
        """The level or real value of the rails at the present time; a level that is not known yet is SAME."""
        self._changed = False
        one, other = self._values[0], self._values[-1]
        value = one
        if one is None or other is None:
            value = None if self._real else SAME
        elif len(self._values) == 2:
            value = one - other if self._real else SAME if one == other else one
        return [] if self._time is None or value is None else [(self._time, value, index)]

    def _later(self, word: bytes) -> int:
        digits = word[1:]
        if not digits.isdigit() or len(digits) > 30:
            raise CaptureError(f"{quoted(word)} is no time")
        time = int(digits)
        if self._time is not None and time < self._time:
            raise CaptureError(f"time goes backwards, from {self._time} to {time}")
        return time

    def _close(self, word: bytes) -> None:
        """Take the word that goes with the one before: a vector's code, or one of a comment."""
        opened, self._open = self._open, b""
        if opened == b"$comment":
            self._open = b"" if word == b"$end" else opened
            return
        if word not in self._codes:
            raise CaptureError(f"{quoted(word)} stands for no declared signal")
        for rail, bit in self._bits.get(word, ()):
            self._set(rail, _real(opened) if opened[:1] in b"rR" else _bit(opened, bit))

    def _take(self, word: bytes) -> None:
        """Take a word that is not a time. A scalar change is one word: a character and a code."""
        if word[0] in _STATES and word[1:] in self._codes:
            for rail, _ in self._bits.get(word[1:], ()):
                self._set(rail, _LEVELS.get(word[0]))
        elif word[:1] in (b"b", b"B", b"r", b"R", b"s", b"S"):
            self._open = word
            if word[:1] in b"bB" and not _STATES.issuperset(word[1:]):
                raise CaptureError(f"{quoted(word)} is no value of a vector")
            if word[:1] in b"rR":
                _real(word)
        elif word == b"$comment":
            self._open = word
        elif word not in _DUMPS:
            raise CaptureError(complaint(word) or f"{quoted(word)} is no value change of a declared signal")

    def _set(self, rail: int, value: Number | None) -> None:
        if value is None:
            self.unknown += self._seen[rail]
            if len(self._values) == 1:
                return
        else:
            self._seen[rail] = True
        self._values[rail] = value
        self._changed = True


def _bit(vector: bytes, bit: int) -> int | None:
    """One bit of a vector's value. Repeated leading bits may be left out in the file (IEEE 1364)."""
    states = vector[1:] or b"0"
    padded = states.rjust(bit + 1, b"0" if states[:1] == b"1" else states[:1])
    return _LEVELS.get(padded[-1 - bit])


def _real(word: bytes) -> float:
    try:
        value = float(word[1:])
    except ValueError:
        raise CaptureError(f"{quoted(word)} is no real value") from None
    if not math.isfinite(value):
        raise CaptureError(f"{quoted(word)} is not a finite number")
    return value


def _places(text: bytes, first: int, words: Sequence[int]) -> Callable[[int], str]:
    """The line numbers of some words in a text. Computed only when needed."""

    @cache
    def lines() -> list[int]:
        return [*(line for line, row in enumerate(text.split(b"\n"), first) for _ in row.split()), first]

    return lambda index: f"line {lines()[words[index]]}"
