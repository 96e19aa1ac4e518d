"""Runs rows of the table: captures are made, read and scored, each by itself, so that two processors can share them."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from multiprocessing import Pool
from typing import Any

import attrs

from .library import AUTO, read, with_margin
from .observer import Capture
from .rows import Row, Scene, row_named
from .score import most_false, score, wilson
from .traffic import distinct_packets, layout_packets

__all__ = ["CAPTURE", "Result", "Task", "made", "results"]

#: Packets of a capture.
CAPTURE = 150
#: False packets kept as examples.
EXAMPLES = 5


@attrs.frozen
class Task:
    """One capture of a row, read in one way."""

    row: str
    way: str
    index: int
    packets: int = CAPTURE
    seed: int = 1
    #: Fields of the limits to set otherwise.
    changes: Mapping[str, Any] = attrs.field(factory=dict)
    #: Another margin than the way's own.
    margin: float | None = None


@attrs.define
class Result:
    """What came of the captures of a row in one way."""

    row: str
    way: str
    sent: int = 0
    right: int = 0
    false: int = 0
    #: Half-bits sent; processor time for decoding and for surveys, s.
    half_bits: int = 0
    seconds: float = 0.0
    survey_seconds: float = 0.0
    #: Furthest end of a right packet from its place, ns.
    worst: int = 0
    #: Surveys' answers, and how often; how packets were recovered, and how many.
    notes: dict[str, int] = attrs.field(factory=dict)
    recovered: dict[str, int] = attrs.field(factory=dict)
    examples: list[str] = attrs.field(factory=list)

    def add(self, other: Result) -> None:
        self.sent += other.sent
        self.right += other.right
        self.false += other.false
        self.half_bits += other.half_bits
        self.seconds += other.seconds
        self.survey_seconds += other.survey_seconds
        self.worst = max(self.worst, other.worst)
        self.notes = dict(Counter(self.notes) + Counter(other.notes))
        self.recovered = dict(Counter(self.recovered) + Counter(other.recovered))
        self.examples = (self.examples + other.examples)[:EXAMPLES]

    @property
    def share(self) -> float:
        return self.right / self.sent if self.sent else 0.0

    @property
    def bounds(self) -> tuple[float, float]:
        """95 % bounds of the share read right."""
        return wilson(self.right, self.sent)

    @property
    def false_bound(self) -> float:
        """The highest rate of false packets that 95 % sure leaves."""
        return most_false(self.false, self.sent)

    @property
    def microseconds(self) -> float:
        """Processor time for decoding a half-bit."""
        return self.seconds / self.half_bits * 1e6 if self.half_bits else 0.0


def made(row: Row, index: int, packets: int, seed: int) -> tuple[Scene, Capture]:
    """The capture of a row with this number: the same for the same numbers, in all ways."""
    rng = random.Random(f"{row.name} {index} {seed}")
    scene = row.scene(rng, index)
    source = distinct_packets(rng) if scene.distinct else layout_packets(rng)
    # Two more: the first and the last are cut.
    signal = scene.station.signal(islice(source, packets + 2), rng)
    return scene, scene.observer.capture(signal, rng)


def run(task: Task) -> Result:
    """One capture, read in one way."""
    scene, capture = made(row_named(task.row), task.index, task.packets, task.seed)
    with with_margin(task.way, task.margin):
        given = read(capture.durations, task.way, scene.observer, task.changes)
    found = score(capture.packets, given.packets)
    examples = [
        f"capture {task.index}, {false.end / 1e6:.3f} ms: given {false.data.hex(' ')}, "
        f"sent {false.sent.hex(' ') or '-'}; {given.recovered.get(false.end, 'not recovered')}"
        for false in found.false[:EXAMPLES]
    ]
    return Result(
        task.row,
        task.way,
        found.sent,
        found.right,
        len(found.false),
        capture.half_bits,
        given.seconds,
        given.survey_seconds,
        found.worst,
        {given.note: 1} if given.note else {},
        dict(Counter(given.recovered.values())),
        examples,
    )


def results(tasks: Iterable[Task], jobs: int = 1) -> Iterator[Result]:
    """Run tasks; give one result for each row and way when its captures are done. Tasks of one are in a row."""
    if jobs > 1:
        with Pool(jobs) as pool:
            yield from _together(pool.imap(run, tasks))
    else:
        yield from _together(map(run, tasks))


def _together(parts: Iterable[Result]) -> Iterator[Result]:
    whole: Result | None = None
    for part in parts:
        if whole is not None and (whole.row, whole.way) == (part.row, part.way):
            whole.add(part)
            continue
        if whole is not None:
            yield whole
        whole = part
    if whole is not None:
        yield whole


def tasks_of(
    rows: Iterable[Row], packets: int, limits: str, size: int, seed: int, changes: Mapping[str, Any]
) -> Iterator[Task]:
    """The tasks that give a number of packets for each row.

    :param limits: a way, ``best`` for all but auto, ``all`` for both.
    """
    for row in rows:
        ways = {"best": row.ways, "all": (AUTO, *row.ways)}.get(limits, (limits,))
        for way in ways:
            for index in range(max(round(packets / size), 1)):
                yield Task(row.name, way, index, size, seed, changes)
