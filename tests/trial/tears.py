"""Single tears at named places: ``python -m tests.trial --tears``. Packets that no tear touched must all be read.

A capture holds many tears, each with whole packets between it and the next, so that every half-bit of some hundred
packets can be torn in every way in bearable time.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from enum import Enum
from itertools import accumulate, islice
from multiprocessing import Pool
from typing import Any

import attrs

from .library import read
from .observer import Capture, Observer
from .score import score
from .station import Sent, Signal, Station
from .traffic import layout_packets

__all__ = ["TEAR_HEAD", "Tear", "TearResult", "Torn", "tear_results", "tear_trial", "torn", "unseen_ends"]

#: One packet in four has a tear. Those before and after it are whole.
SPACING = 4
#: By how much a half is stretched or shrunk, us. It always stays a half that can be seen.
STRETCH, SHRINK = (8.0, 300.0), (8.0, 50.0)


class Tear(Enum):
    """What happens to one half-bit."""

    LOST = "edge lost"
    ADDED = "edge added"
    SPIKE = "spike"
    STRETCHED = "half stretched"
    SHRUNK = "half shrunk"
    FLIPPED = "bit flipped"


@attrs.frozen
class Torn:
    """A signal with tears, and which of its packets were touched, by index."""

    signal: Signal
    touched: frozenset[int]


def torn(signal: Signal, tears: Mapping[int, Tear], station: Station, rng: random.Random) -> Torn:
    """Tear half-bits of a signal.

    :param tears: what happens to which half-bit; an edge lost is the one that ends it.
    """
    old, new = signal.durations, []
    starts = []  # of the old half-bits, in the torn signal
    changed: set[int] = set()
    now, index = 0.0, 0
    while index < len(old):
        tear = tears.get(index)
        taken = 2 if tear is Tear.LOST and index + 1 < len(old) or tear is Tear.FLIPPED else 1
        if tear is Tear.FLIPPED:
            halves = [*(station.zero if old[index] <= 61 else station.one)]  # S-9.1 A: a one's half is 61 us at most
        else:
            halves = _torn_half(old[index : index + taken], tear, rng)
        if tear is not None:
            changed.update(range(index, index + taken))
        starts.append(now)
        if taken == 2:
            starts.append(now + (halves[0] if tear is Tear.FLIPPED else old[index]))
        new += halves
        now += sum(halves)
        index += taken
    starts.append(now)
    packets = [attrs.evolve(sent, start=starts[sent.first], end=starts[sent.last]) for sent in signal.packets]
    touched = (n for n, sent in enumerate(packets) if not changed.isdisjoint(range(sent.first, sent.last)))
    return Torn(Signal(new, packets), frozenset(touched))


def _torn_half(halves: list[float], tear: Tear | None, rng: random.Random) -> list[float]:
    half = halves[0]
    if tear is Tear.LOST:
        return [sum(halves)]
    if tear is Tear.ADDED:
        at = half * rng.uniform(0.05, 0.95)
        return [at, half - at]
    if tear is Tear.SPIKE:
        width = rng.uniform(0.2, 5.0)
        at = rng.uniform(1.0, half - width - 1.0)
        return [at, width, half - width - at]
    if tear is Tear.STRETCHED:
        return [half + rng.uniform(*STRETCH)]
    if tear is Tear.SHRUNK:
        return [half - rng.uniform(SHRINK[0], min(SHRINK[1], half - 2))]
    return [half]


@attrs.define
class TearResult:
    """What came of a kind of tear, in one way."""

    way: str
    tear: Tear
    #: Tears made; packets that no tear touched, and of these the lost ones; touched ones read right; false ones.
    tears: int = 0
    untouched: int = 0
    lost: int = 0
    touched: int = 0
    recovered: int = 0
    false: int = 0
    examples: list[str] = attrs.field(factory=list)

    def __str__(self) -> str:
        return (
            f"{self.way:9} {self.tear.value:15} {self.tears:7} {self.untouched:9} {self.lost:5} "
            f"{self.touched:8} {self.recovered:9} {self.false:6}"
        )


TEAR_HEAD = (
    f"{'way':9} {'tear':15} {'tears':>7} {'untouched':>9} {'lost':>5} {'touched':>8} {'recovered':>9} {'false':>6}"
)


def tear_trial(
    way: str,
    tear: Tear,
    packets: int,
    *,
    station: Station = Station(),
    observer: Observer = Observer(),
    every: int = 1,
    seed: int = 1,
    changes: Mapping[str, Any] | None = None,
) -> TearResult:
    """Tear every half-bit of some packets, one after the other, in one way.

    :param every: tear every third half-bit only (3), for a quick look.
    :param changes: fields of the limits to set otherwise.
    """
    rng = random.Random(f"tears {seed}")
    signal = station.signal(islice(layout_packets(rng), packets + 2), rng)
    result = TearResult(way, tear)
    for number, tears in enumerate(_rounds(signal, tear, every)):
        chance = random.Random(f"tears {seed} {tear.value} {number}")
        made = torn(signal, tears, station, chance)
        capture = observer.capture(made.signal, chance)
        found = score(capture.packets, read(capture.durations, way, observer, changes).packets)
        touched = made.touched | unseen_ends(capture, observer)
        lost = [index for index in found.lost if index not in touched]
        result.tears += len(tears)
        result.untouched += len(made.signal.packets) - len(touched)
        result.lost += len(lost)
        result.touched += len(touched)
        result.recovered += len(touched.difference(found.lost))
        result.false += len(found.false)
        result.examples += [_lost_example(made.signal.packets, index, tears) for index in lost[:1]]
    return result


def unseen_ends(capture: Capture, observer: Observer) -> set[int]:
    """The packets whose last change the board did not see: a loop sees no two changes in one turn.

    So a short part behind a packet touches that packet too.
    """
    late = round(1000 * ((observer.loop.period if observer.loop else 0) + observer.tick)) + 1
    times = list(accumulate(capture.durations, initial=0))
    unseen = set()
    for index, (_, _, end) in enumerate(capture.packets):
        after = bisect_left(times, end - 1)
        if after == len(times) or times[after] > end + late:
            unseen.add(index)
    return unseen


def tear_results(
    ways: Iterable[str],
    packets: int,
    every: int,
    seed: int,
    changes: Mapping[str, Any],
    observer: Observer,
    jobs: int = 1,
) -> Iterator[TearResult]:
    """All kinds of tears, in these ways."""
    tasks = [(way, tear, packets, every, seed, dict(changes), observer) for way in ways for tear in Tear]
    if jobs > 1:
        with Pool(jobs) as pool:
            yield from pool.imap(_task, tasks)
    else:
        yield from map(_task, tasks)


def _task(task: tuple[str, Tear, int, int, int, dict[str, Any], Observer]) -> TearResult:
    way, tear, packets, every, seed, changes, observer = task
    return tear_trial(way, tear, packets, every=every, seed=seed, changes=changes, observer=observer)


def _rounds(signal: Signal, tear: Tear, every: int) -> Iterator[dict[int, Tear]]:
    """The places of tears, capture by capture, so that in the end each half-bit of each packet was torn once."""
    step = every * 2 if tear is Tear.FLIPPED else every  # a bit is two halves
    most = max(sent.last - sent.first for sent in signal.packets)
    for offset in range(0, most, step):
        for phase in range(SPACING):
            places = (sent.first + offset for sent in signal.packets[phase::SPACING] if sent.first + offset < sent.last)
            tears = dict.fromkeys(places, tear)
            if tears:
                yield tears


def _lost_example(packets: list[Sent], index: int, tears: Mapping[int, Tear]) -> str:
    sent = packets[index]
    before = max((place for place in tears if place < sent.first), default=-1)
    after = min((place for place in tears if place >= sent.last), default=-1)
    behind = f"{sent.first - before} half-bits after a tear" if before >= 0 else "before any tear"
    ahead = f", {after - sent.last + 1} before the next" if after >= 0 else ""
    return f"packet {index} ({sent.data.hex(' ')}) lost: it begins {behind}{ahead}"
