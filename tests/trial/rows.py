"""The rows of the table: which station, which board, and what is asked of the decoder there.

Where chance has a say, each capture of a row is of another station and another board: `scene` draws them.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import attrs

from .observer import EVEN, ODD, Loop, Observer
from .station import CutoutSeen, Station, random_station

__all__ = ["ROWS", "Row", "Scene", "group_of", "row_named", "rows_named"]


@attrs.frozen
class Scene:
    """One station, one board."""

    station: Station
    observer: Observer
    #: Whether no packet is sent twice, so that repeats can be no help.
    distinct: bool = False


@attrs.frozen(kw_only=True)
class Row:
    """A row of the table."""

    name: str
    #: From chance and the number of the capture to what is captured.
    scene: Callable[[random.Random, int], Scene]
    #: Ways to read it besides ``auto``.
    ways: tuple[str, ...]
    #: Share of packets that can be read, by a search that knows the noise; None where nobody has measured it.
    possible: float | None = None
    #: Whether the sum is asked to get 99.9 % of it, and nothing false in 10^5.
    by_sum: bool = False


LOOP = ("period", "sequence")
SUM_LOOP = ("sum", "period", "sequence")
TIMER = ("receive", "fitted", "sum", "sequence")
ONE_EDGE = ("one edge", "sequence")


def _fixed(station: Station, observer: Observer) -> Callable[[random.Random, int], Scene]:
    return lambda rng, index: Scene(station, observer)


def _random(observer: Observer, **fields: object) -> Callable[[random.Random, int], Scene]:
    """Any sound station, the same board."""
    return lambda rng, index: Scene(random_station(rng, **fields), observer)  # type: ignore[arg-type]


def _loop(period: float, one_in: int = 0, long: float = 0.0, **fields: float) -> Observer:
    return Observer(loop=Loop(period=period, one_in=one_in, long=long), **fields)  # type: ignore[arg-type]


def loops_between(
    low: float, high: float, *, distinct: bool = False, equal: bool = True, **station: object
) -> Callable[[random.Random, int], Scene]:
    """Loops from period to period, zeros of 95 to 120 us. The index goes through both: few captures cover them."""

    def scene(rng: random.Random, index: int) -> Scene:
        period = low + (high - low) * (index * 0.618034 % 1)
        loop = Loop(period=period, jitter=rng.choice((0.0, 0.02, 0.1, 0.2)), drift=rng.choice((0.0, 0.05)))
        made = random_station(rng, equal=equal, **station)
        if equal:
            zero = 95 + 25 * (index * 0.754878 % 1)
            made = attrs.evolve(made, zero=(zero, zero))
        return Scene(made, Observer(loop=loop, tick=rng.choice((0.0, 1.0, 4.0))), distinct)

    return scene


def _one_in(rate: float) -> str:
    return f"1 change in {round(1 / rate)}"


PLAIN = Station()


def _row(name: str, scene: Callable[[random.Random, int], Scene], ways: tuple[str, ...], possible: float | None) -> Row:
    return Row(name=name, scene=scene, ways=ways, possible=possible)


def _hard() -> Iterator[Row]:
    """Captures on which the library was seen to fail, with the share that a search which knew the noise could read."""
    for missed, possible in ((1e-3, 1.0), (1e-2, 0.99)):
        timer = _fixed(PLAIN, Observer(missed=missed, tick=1))
        yield _row(f"timer input, {_one_in(missed)} missed", timer, TIMER, possible)
    yield _row("timer input, 1 change in 100 noted twice", _fixed(PLAIN, Observer(doubled=1e-2, tick=1)), TIMER, 1.0)
    jitter = Observer(jitter=2, tail=True, missed=1e-3, tick=1)
    yield _row("jitter of 2 us with a tail, 1 change in 1000 missed", _fixed(PLAIN, jitter), TIMER, 1.0)
    for period, possible in ((5, 0.59), (10, 0.86), (20, 0.97), (40, 0.99)):
        name = f"loop of {period} us, one turn in 100 of 120 us"
        yield _row(name, _fixed(PLAIN, _loop(period, 100, 120)), LOOP, possible)
    for edges, phase, possible in ((EVEN, "at the bits' starts", 1.0), (ODD, "within the bits", 0.997)):
        some = _fixed(Station(stretched=0.2), Observer(edges=edges))
        yield _row(f"one edge {phase}, 20 % of zeros stretched", some, ONE_EDGE, possible)
        for first, last in ((100, 500), (300, 300), (100, 2000)):
            alike = Station(stretched=1, stretch=(first, last))
            name = f"one edge {phase}, all zeros {first} + {last} us"
            yield _row(name, _fixed(alike, Observer(edges=edges)), ONE_EDGE, 1.0)
    two_parts = Station(cutout=CutoutSeen.TWO_PARTS, preamble=(18, 18))
    yield _row("loop of 45 us, cutouts that read low", _fixed(two_parts, _loop(45)), LOOP, 0.98)
    ended = Station(cutout=CutoutSeen.WITH_END_BIT, preamble=(18, 18))
    yield _row("cutouts with the end bit, exact", _fixed(ended, Observer()), TIMER, 1.0)
    yield _row("loop of 56 us, timer of 10 us", _fixed(PLAIN, _loop(56, tick=10)), LOOP, 1.0)
    for zero in (104, 116):
        yield _row(f"loop of 48 us, zeros of {zero} us", _fixed(Station(zero=(zero, zero)), _loop(48)), LOOP, 1.0)


def _sums() -> Iterator[Row]:
    """Uniform loops up to 42 us, which the sum must read, whatever a sound station sends."""
    kinds: tuple[tuple[str, Callable[[random.Random, int], Scene]], ...] = (
        ("any equal halves", loops_between(10, 42)),
        ("one zero in ten stretched", loops_between(10, 42, stretched=0.1)),
        ("unequal halves", loops_between(10, 42, equal=False)),
        ("nothing repeats", loops_between(10, 42, distinct=True)),
        ("half of the zeros stretched", loops_between(10, 42, stretched=0.5)),
        ("all zeros stretched", loops_between(10, 42, stretched=1.0)),
    )
    for name, scene in kinds:
        yield Row(name=f"loops of 10 to 42 us, {name}", scene=scene, ways=SUM_LOOP, possible=1.0, by_sum=True)
    worst = _fixed(Station(zero=(106, 106)), _loop(20))
    yield Row(name="loop of 20 us, zeros of 106 us", scene=worst, ways=SUM_LOOP, possible=1.0, by_sum=True)


def _loops() -> Iterator[Row]:
    yield _row("loops of 5 to 12 us, any station", loops_between(5, 12, equal=False), LOOP, 1.0)
    yield _row("loops of 42 to 50 us, any station", loops_between(42, 50, equal=False), LOOP, None)
    yield _row("loops of 50 to 56 us, ones of 58 us", _fixed_ones(50, 56), LOOP, None)
    yield _row("loops of 60 to 70 us, ones of 58 us", _fixed_ones(60, 70), LOOP, None)
    for period in (5, 10, 20, 30, 40, 48):
        scene = _random(_loop(period, 500, 80))
        yield _row(f"loop of {period} us, one turn in 500 of 80 us, any station", scene, LOOP, None)
    for period in (20, 40):
        scene = _random(_loop(period, 100, 120))
        yield _row(f"loop of {period} us, one turn in 100 of 120 us, any station", scene, LOOP, None)
    for tick in (1, 4, 10):
        yield _row(f"loop of 30 us, timer of {tick} us, any station", _random(_loop(30, tick=tick)), SUM_LOOP, 1.0)
    for clock in (0.92, 1.08):
        yield _row(f"loop of 30 us, clock at {clock:.0%}, any station", _random(_loop(30, clock=clock)), SUM_LOOP, 1.0)
    for cutout in CutoutSeen:
        scene = _random(_loop(20), cutout=cutout, preamble=(16, 20))
        yield _row(f"loop of 20 us, cutouts {cutout.value}", scene, SUM_LOOP, 1.0)


def _fixed_ones(low: float, high: float) -> Callable[[random.Random, int], Scene]:
    any_loop = loops_between(low, high)

    def scene(rng: random.Random, index: int) -> Scene:
        made = any_loop(rng, index)
        return attrs.evolve(made, station=attrs.evolve(made.station, one=(58.0, 58.0)))

    return scene


def _timers() -> Iterator[Row]:
    """Inputs that note every change, or nearly."""
    halves = ("receive", "fitted", "sum", "sequence")
    yield _row("exact, any station", _random(Observer()), halves, 1.0)
    for share in (0.1, 0.5, 1.0):
        yield _row(f"exact, {share:.0%} of zeros stretched", _random(Observer(), stretched=share), halves, 1.0)
    for first, last in ((100, 500), (300, 300), (100, 2000)):
        alike = _random(Observer(), stretched=1.0, stretch=(first, last))
        yield _row(f"exact, all zeros {first} + {last} us", alike, halves, 1.0)
    for tick in (1, 4, 10):
        yield _row(f"timer of {tick} us, any station", _random(Observer(tick=tick)), halves, 1.0)
    for cutout in CutoutSeen:
        if cutout is not CutoutSeen.WITH_END_BIT:  # among the hard ones
            scene = _random(Observer(), cutout=cutout, preamble=(16, 20))
            yield _row(f"cutouts {cutout.value}, exact", scene, halves, 1.0)
    for clock in (0.92, 0.96, 1.04, 1.08):
        yield _row(f"clock at {clock:.0%}, any station", _random(Observer(clock=clock)), halves, 1.0)
    for late in (5, 10, 15):
        yield _row(f"one direction {late} us late, any station", _random(Observer(one_way_late=late)), halves, 1.0)
    # What a nominal station's captures showed possible holds for others: among exact times their halves are as plain.
    for rate, possible in ((1e-4, 1.0), (1e-3, 1.0), (1e-2, 0.99)):
        yield _row(f"{_one_in(rate)} missed, any station", _random(Observer(missed=rate)), TIMER, possible)
        yield _row(f"{_one_in(rate)} noted twice, any station", _random(Observer(doubled=rate)), TIMER, 1.0)
    tripled = _random(Observer(tripled=1e-2))
    yield _row("1 change in 100 noted three times, any station", tripled, TIMER, 1.0)
    both = Observer(missed=1e-3, doubled=1e-3, jitter=1, tick=1)
    yield _row("1 change in 1000 missed, 1 twice, jitter of 1 us", _random(both), TIMER, None)
    distinct = Observer(missed=1e-2)
    yield _row(
        "1 change in 100 missed, nothing repeats",
        lambda rng, index: Scene(random_station(rng), distinct, True),
        TIMER,
        0.99,
    )
    for sigma in (1, 2, 4):
        observer = Observer(jitter=sigma, tail=True)
        yield _row(f"jitter of {sigma} us with a tail, any station", _random(observer), TIMER, None)


def _one_edge() -> Iterator[Row]:
    """Captures of one edge.

    ``possible`` of all such rows, those among the hard ones too: a search over 1,500 packets a row that knows the
    station's lengths, the share and the law of its stretches, and the board's noise to the ns. It adds up the
    probabilities of all readings of a packet that fit the framing and the error byte (S-9.2 A), and refuses the most
    doubtful packets until at most 1 packet in 10,000 is expected to be false. None was.
    """
    for edges, phase, possible in ((EVEN, "at the bits' starts", 1.0), (ODD, "within the bits", 0.924)):
        yield _row(f"one edge {phase}, exact", _random(Observer(edges=edges)), ONE_EDGE, 1.0)
        yield _row(f"one edge {phase}, jitter of 2 us", _random(Observer(edges=edges, jitter=2)), ONE_EDGE, 1.0)
        half = _random(Observer(edges=edges), stretched=0.5)
        yield _row(f"one edge {phase}, half of the zeros stretched", half, ONE_EDGE, possible)
        yield _row(f"one edge {phase}, timer of 4 us", _random(Observer(edges=edges, tick=4)), ONE_EDGE, 1.0)
        cut = _random(Observer(edges=edges), cutout=CutoutSeen.TWO_PARTS, preamble=(18, 20))
        yield _row(f"one edge {phase}, cutouts two parts", cut, ONE_EDGE, 1.0)
        missed = _random(Observer(edges=edges, missed=1e-3))
        yield _row(f"one edge {phase}, 1 change in 1000 missed", missed, ONE_EDGE, 1.0)


#: All rows, in the table's order.
ROWS = (*_hard(), *_sums(), *_loops(), *_timers(), *_one_edge())


def group_of(row: Row) -> str:
    """The kind of board."""
    if row.ways == ONE_EDGE:
        return "One edge"
    return "Loops" if "period" in row.ways else "Inputs that note each change"


def row_named(name: str) -> Row:
    """The row of this name."""
    (row,) = (row for row in ROWS if row.name == name)
    return row


def rows_named(text: str) -> list[Row]:
    """The rows with this in their names."""
    return [row for row in ROWS if text in row.name]
