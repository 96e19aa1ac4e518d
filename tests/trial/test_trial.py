"""The trial's own parts held against the standards and against cases made by hand, and a small run of the trial."""

from __future__ import annotations

import random
import re
from functools import cache
from itertools import islice
from pathlib import Path

import pytest

from halfbit.survey import verdict

from .library import AUTO, margin_by_default, with_margin
from .margins import KINDS, Kind, MarginResult, margin_results
from .observer import EVEN, ODD, Loop, Observer
from .page import page
from .report import best, figures_of, kept, long_runs_of, shortfalls
from .rows import ROWS, row_named, rows_named
from .run import Result, made, results, tasks_of
from .score import most_false, score, wilson
from .station import CutoutSeen, Station, bits_of, random_station
from .tears import Tear, TearResult, tear_trial, torn, unseen_ends
from .traffic import IDLE, Engine, distinct_packets, layout_packets, long_address

#: S-9.2 B: address 55, forward, step 6 of 28.
SPEED = bytes.fromhex("37 74 43")


def rng(seed: int = 1) -> random.Random:
    return random.Random(seed)


# The station against the standards.


def test_bits_of_a_packet() -> None:
    """S-9.2 A: preamble, each byte behind a 0, most significant bit first, a 1 at the end."""
    assert bits_of(IDLE, 14) == [int(bit) for bit in "1" * 14 + "0" "11111111" "0" "00000000" "0" "11111111" "1"]


def test_worked_values() -> None:
    """S-9.2 B: address 55, forward, step 6 of 28. S-9.2.2, CV 17 and 18: addresses 1111, 9999, 144."""
    assert Engine([55], 28, 6).speed_packet() == SPEED
    assert [long_address(number) for number in (1111, 9999, 144)] == [[196, 87], [231, 15], [192, 144]]


@pytest.mark.parametrize("packets", [layout_packets, distinct_packets])
def test_packets_are_sound_and_of_all_lengths(packets: object) -> None:
    """S-9.2 A: the error byte is the exclusive or of the others. S-9.2.1: 3 to 6 bytes."""
    sent = list(islice(packets(rng()), 3000))  # type: ignore[operator]
    for packet in sent:
        left = 0
        for byte in packet:
            left ^= byte
        assert left == 0
    assert {len(packet) for packet in sent} == {3, 4, 5, 6}
    # A layout repeats itself, and has news all the time as well.
    if packets is layout_packets:
        assert 150 < len(set(sent)) < 1500
        assert IDLE in sent


def halves_by_bit(station: Station, chance: random.Random) -> list[tuple[int, float, float]]:
    """Bits that a station sends with their halves, without the packets that the capture cuts."""
    signal = station.signal(islice(layout_packets(chance), 60), chance)
    found: list[tuple[int, float, float]] = []
    for sent in signal.packets:
        halves = signal.durations[sent.first : sent.last]
        bits = bits_of(sent.data, (len(halves) - 2 * (9 * len(sent.data) + 1)) // 2)
        assert len(bits) * 2 == len(halves)
        found += zip(bits, halves[::2], halves[1::2])
    return found


@pytest.mark.parametrize("stretched", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("seed", range(4))
def test_a_station_keeps_its_windows(seed: int, stretched: float) -> None:
    """S-9.1 A, table 1, the station's column; S-9.2 A: at least 14 one-bits."""
    chance = rng(seed)
    station = random_station(chance, stretched=stretched)
    assert station.preamble[0] >= 14
    longest = 0.0
    for bit, first, last in halves_by_bit(station, chance):
        if bit:
            assert 55 <= first <= 61 and 55 <= last <= 61 and abs(first - last) <= 3
        else:
            assert 95 <= first <= 9900 and 95 <= last <= 9900 and first + last <= 12000.000001
            longest = max(longest, first + last)
    assert (longest > 1000) == (stretched > 0)


def test_every_row_is_of_a_sound_station() -> None:
    """S-9.1 A, table 1; and no two rows have one name."""
    assert len({row.name for row in ROWS}) == len(ROWS)
    for row in ROWS:
        for index in range(5):
            station = row.scene(rng(index), index).station
            assert all(55 <= half <= 61 for half in station.one) and abs(station.one[0] - station.one[1]) <= 3
            assert all(95 <= half <= 120 for half in station.zero) and 14 <= station.preamble[0] <= station.preamble[1]


@pytest.mark.parametrize(
    ("seen", "low", "high", "parts"),
    [
        (CutoutSeen.TWO_PARTS, 422, 462, 2),
        (CutoutSeen.ONE_PART, 454, 488, 1),
        (CutoutSeen.WITH_END_BIT, 512, 546, 0),
        (CutoutSeen.WITH_NEXT_BIT, 512, 546, 2),
    ],
)
def test_cutouts(seen: CutoutSeen, low: float, high: float, parts: int) -> None:
    """S-9.3.2, RCN-217 (from memory): from 26 to 32 us after the end bit to 454 to 488 us after it."""
    signal = Station(cutout=seen, preamble=(18, 18)).signal([SPEED] * 20, rng())
    long = [duration for duration in signal.durations if duration > 200]
    assert len(long) == 19 and all(low <= duration <= high for duration in long)
    between = [after.first - before.last for before, after in zip(signal.packets, signal.packets[1:])]
    assert set(between) == {parts}
    # The cutout is in place of four preamble bits.
    assert {sent.last - sent.first for sent in signal.packets} == {2 * (14 + 3 * 9 + 1)}


# The boards.


def captured(observer: Observer, station: Station = Station(), packets: int = 200, seed: int = 1) -> list[int]:
    chance = rng(seed)
    return observer.capture(station.signal(islice(layout_packets(chance), packets), chance), chance).durations


def test_an_exact_board_notes_what_is_sent() -> None:
    """S-9.1 A: nominal halves of 58 and 100 us."""
    assert set(captured(Observer())) == {58_000, 100_000}
    assert set(captured(Observer(clock=0.92))) <= {53_359, 53_360, 53_361, 91_999, 92_000, 92_001}
    assert {duration % 4_000 for duration in captured(Observer(tick=4))} == {0}


def test_a_loop_is_late_by_less_than_a_turn() -> None:
    exact, seen = captured(Observer()), captured(Observer(loop=Loop(period=20, jitter=0.2)))
    late, before = 0, []
    for true, noted in zip(exact, seen):
        late += noted - true
        before.append(late)
    # Lateness is measured against the first change's own, so it ranges over one turn in all.
    assert 15_000 < max(before) - min(before) <= 20_000
    assert abs(len(seen) - len(exact)) <= 1


def test_a_change_within_one_turn_leaves_no_trace() -> None:
    loop = Loop(period=10, jitter=0, one_in=50, long=130)
    assert len(captured(Observer(loop=loop))) < len(captured(Observer())) - 100
    assert len(captured(Observer(loop=Loop(period=57, jitter=0)))) == pytest.approx(len(captured(Observer())), abs=1)


def test_changes_missed_and_noted_again_come_at_their_rates() -> None:
    exact = len(captured(Observer()))
    assert exact * 0.985 > len(captured(Observer(missed=0.02))) > exact * 0.975
    twice = captured(Observer(doubled=0.02))
    assert exact * 1.015 < len(twice) < exact * 1.025
    assert sum(duration <= 3_000 for duration in twice) == len(twice) - exact
    thrice = captured(Observer(tripled=0.02))
    assert exact * 1.03 < len(thrice) < exact * 1.05 and (len(thrice) - exact) % 2 == 0


@pytest.mark.parametrize("seed", range(4))
def test_one_edge(seed: int) -> None:
    """S-9.1 A: starts of bits are 116 or 200 us apart; within the bits, half a bit and half of the next.

    Half of the captures begin in the middle of a bit. Of these the wrong changes were kept once.
    """
    even, odd = (set(captured(Observer(edges=edges), seed=seed)) for edges in (EVEN, ODD))
    assert (even, odd) == ({116_000, 200_000}, {116_000, 158_000, 200_000})


def test_one_direction_late() -> None:
    assert set(captured(Observer(one_way_late=15))) == {43_000, 73_000, 85_000, 115_000}


# The score.

SENT = [(SPEED, 0, 5_000_000), (IDLE, 5_000_000, 10_000_000), (SPEED, 10_000_000, 15_000_000)]


def test_all_right() -> None:
    found = score(SENT, [(data, start + 40_000, end - 40_000) for data, start, end in SENT])
    assert (found.right, found.false, found.lost, found.worst) == (3, (), (), 40_000)


def test_a_packet_that_was_not_sent_is_false() -> None:
    reset = bytes.fromhex("7F 00 7F")
    found = score(SENT, [SENT[0], (reset, 5_000_000, 10_000_000), SENT[2]])
    assert (found.right, found.lost) == (2, (1,))
    assert [(false.data, false.sent) for false in found.false] == [(reset, IDLE)]


@pytest.mark.parametrize(
    ("given", "right", "false"),
    [
        ([(SPEED, 5_000_000, 10_000_000)], 0, 1),  # sent, but not then
        ([SENT[0], SENT[0]], 1, 1),  # sent once, given twice
        ([SENT[1], SENT[0]], 1, 1),  # in another order
        ([(IDLE, 0, 7_500_000)], 0, 1),  # between two packets
        ([(SPEED, 0, 6_000_001)], 0, 1),  # too far off
        ([(SPEED, 0, 6_000_000)], 1, 0),
        ([(SPEED, 16_000_000, 21_000_000)], 0, 1),  # after the last one
        ([], 0, 0),
    ],
)
def test_when_and_how_often_matter(given: list[tuple[bytes, int, int]], right: int, false: int) -> None:
    found = score(SENT, given)
    assert (found.right, len(found.false), len(found.lost)) == (right, false, 3 - right)


def test_bounds() -> None:
    # R. G. Newcombe, Two-sided confidence intervals for the single proportion, Stat. Med. 17, 1998, table I
    # (from memory).
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=1e-4)
    assert wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=1e-4)
    # The rule of three, and the chance of 0 or 1 of 50 worked out by hand.
    assert most_false(0, 100_000) == pytest.approx(1 - 0.05 ** (1 / 100_000), rel=1e-6)
    rate = most_false(1, 50)
    assert (1 - rate) ** 50 + 50 * rate * (1 - rate) ** 49 == pytest.approx(0.05, rel=1e-6)


# Tears.


def test_a_tear_touches_what_it_changes_and_nothing_else() -> None:
    station = Station()
    signal = station.signal([SPEED] * 8, rng())
    whole = signal.packets[2]
    for tear, halves in ((Tear.LOST, -1), (Tear.ADDED, 1), (Tear.SPIKE, 2), (Tear.STRETCHED, 0), (Tear.FLIPPED, 0)):
        made = torn(signal, {whole.first + 40: tear}, station, rng())
        assert made.touched == {2}
        assert len(made.signal.durations) == len(signal.durations) + halves
        shift = sum(made.signal.durations) - sum(signal.durations)
        assert [sent.start for sent in made.signal.packets[:3]] == [sent.start for sent in signal.packets[:3]]
        for after, before in zip(made.signal.packets[3:], signal.packets[3:]):
            assert after.end - before.end == pytest.approx(shift)
        assert (abs(shift) > 1) == (tear in (Tear.STRETCHED, Tear.FLIPPED))
    # The change between two packets is of both.
    assert torn(signal, {whole.last - 1: Tear.LOST}, station, rng()).touched == {2, 3}


@cache
def small_tear_trial(way: str, tear: Tear) -> TearResult:
    return tear_trial(way, tear, 12, every={"receive": 3, "sum": 9, "sequence": 17}[way])


EACH_TEAR = pytest.mark.parametrize(
    ("way", "tear"), [(way, tear) for way in ("receive", "sum", "sequence") for tear in Tear]
)


@EACH_TEAR
def test_no_packet_is_lost_to_a_tear_beside_it(way: str, tear: Tear) -> None:
    found = small_tear_trial(way, tear)
    assert found.tears > 30 and found.untouched > found.tears
    assert found.lost == 0, found.examples


def test_a_loop_may_not_see_the_end_of_a_packet_before_a_short_part() -> None:
    """Both changes in one turn: the packet is touched, though the tear is behind it. An exact input sees both."""
    station = Station()
    signal = station.signal([SPEED] * 8, rng())
    short = {sent.last: Tear.SHRUNK for sent in signal.packets}
    for observer, low, high in ((Observer(), 0, 0), (Observer(loop=Loop(period=42)), 1, 6)):
        made = torn(signal, short, station, rng())
        assert low <= len(unseen_ends(observer.capture(made.signal, rng()), observer)) <= high
        assert not unseen_ends(observer.capture(signal, rng()), observer)


@pytest.mark.parametrize("way", ["sum", "sequence"])
@pytest.mark.parametrize("tear", [Tear.LOST, Tear.ADDED, Tear.SHRUNK])
def test_no_packet_is_lost_to_a_tear_beside_it_on_a_loop(way: str, tear: Tear) -> None:
    """A run of ones that began in a torn packet once hid the next packet's start bit from the sequence."""
    found = tear_trial(way, tear, 24, every=21, seed=201, observer=Observer(loop=Loop(period=30)))
    assert found.tears > 90 and found.untouched > found.tears
    assert (found.lost, found.false) == (0, 0), found.examples


@EACH_TEAR
def test_no_tear_makes_a_packet(way: str, tear: Tear) -> None:
    assert small_tear_trial(way, tear).false == 0


# A small run of the table.

#: Row, way, and packets: what can be done in some seconds.
GATE = [
    ("exact, any station", AUTO, 150),
    ("exact, 100% of zeros stretched", "receive", 150),
    ("clock at 108%, any station", AUTO, 100),
    ("one direction 15 us late, any station", AUTO, 100),
    ("loops of 10 to 42 us, nothing repeats", AUTO, 150),
    ("loop of 20 us, zeros of 106 us", "sum", 450),
    ("loops of 10 to 42 us, any equal halves", "sum", 450),
    ("loops of 10 to 42 us, one zero in ten stretched", "sum", 450),
    ("timer input, 1 change in 100 missed", AUTO, 50),
    ("timer input, 1 change in 100 noted twice", AUTO, 50),
    ("one edge at the bits' starts, all zeros 100 + 500 us", AUTO, 100),
    ("1 change in 100 missed, nothing repeats", AUTO, 60),
    ("loop of 20 us, one turn in 100 of 120 us", AUTO, 60),
    ("cutouts with the end bit, exact", AUTO, 100),
    ("loop of 48 us, zeros of 116 us", "period", 50),
    ("loops of 60 to 70 us, ones of 58 us", AUTO, 60),  # no packet is asked for, and no false one may come
]


@pytest.mark.parametrize(("name", "way", "packets"), GATE)
def test_gate(name: str, way: str, packets: int) -> None:
    row = row_named(name)
    (found,) = results(tasks_of([row], packets, way, min(packets, 150), 1, {}))
    assert found.sent == packets
    assert found.false == 0, found.examples
    assert found.share >= (row.possible or 0) - 0.03


def test_the_same_numbers_give_the_same_capture() -> None:
    row = rows_named("1 change in 1000 missed, 1 twice")[0]
    assert made(row, 1, 20, 1) == made(row, 1, 20, 1)
    assert made(row, 1, 20, 1)[1] != made(row, 2, 20, 1)[1] != made(row, 2, 20, 2)[1]


def test_two_processors_give_what_one_gives() -> None:
    tasks = list(tasks_of(rows_named("1 change in 100 missed"), 40, "receive", 20, 1, {}))
    counts = [[(found.row, found.sent, found.right, found.false) for found in results(tasks, jobs)] for jobs in (1, 2)]
    assert counts[0] == counts[1] and len(counts[0]) > 1


def test_what_falls_short_is_named() -> None:
    name = "loop of 20 us, zeros of 106 us"
    auto, by_sum = Result(name, AUTO, 10_000, 9_800, 0), Result(name, "sum", 10_000, 10_000, 1)
    assert list(shortfalls([Result(name, "sum", 10_000, 10_000, 0)])) == []
    assert [text.rpartition(": ")[2] for text in shortfalls([by_sum])] == ["1 false of 10000"]
    period = Result(name, "period", 10_000, 10_000, 0)
    assert [text.rpartition(": ")[2] for text in shortfalls([auto, period])] == ["auto reads 98.00%, period 100.00%"]
    # One false packet outweighs more right ones.
    assert best([auto, Result(name, "sum", 10_000, 9_850, 1)]) == auto


def test_the_page_quotes_what_a_survey_says() -> None:
    page_words = " ".join(page([Result("loops of 60 to 70 us, ones of 58 us", AUTO, 150, 0, 0)]).split())
    source = re.sub(r'"\s+f?"', "", Path(verdict.__file__).read_text("utf-8"))
    said = re.findall(r'"([a-z ]+)"', page_words[page_words.index("``halfbit survey`` says") :])
    assert len(said) == 3
    assert [words for words in said if words not in source] == []


def test_the_page_says_what_the_figures_say() -> None:
    name = "1 change in 100 missed, any station"
    text = page([Result(name, AUTO, 3_000, 2_700, 0), Result(name, "sum", 3_000, 2_900, 2)])
    table = text[text.index(".. list-table") :]
    cells = f"* - {name}", "- 90.0%", "- 96.7% (sum)", "- 0 / 2", "- 1 in 1002", "- 99%", "- not safe"
    assert "\n     ".join(cells) in table


@pytest.mark.parametrize(("way", "margin"), [("sum", 10_000), ("sequence", 99), ("one edge", 99)])
def test_a_margin_that_is_never_reached_gives_no_packet(way: str, margin: float) -> None:
    """With it every packet is held or unclear; afterwards the library has its own margin again."""
    kind = Kind(way, ())
    row = next(kind.rows())
    own = margin_by_default(way)
    (found,) = results(kind.tasks(row, 8, 7, margin))
    assert (found.right, found.false) == (0, 0)
    assert margin_by_default(way) == own
    (found,) = results(kind.tasks(row, 8, 7, own))
    assert found.right >= 7


def test_margins_have_the_librarys_among_them() -> None:
    for kind in KINDS:
        assert margin_by_default(kind.way) in kind.values
        assert len(list(kind.rows())) > 5
    with with_margin("one edge", 0):
        assert margin_by_default("one edge") == margin_by_default("sequence") == 0


def test_long_runs_have_a_table_of_their_own(tmp_path: Path) -> None:
    path = tmp_path / "figures.json"
    short, long = Result(ROWS[0].name, AUTO, 150, 150, 0), Result(ROWS[0].name, "sum", 60_000, 59_940, 1)
    kept(path, [short], 1)
    kept(path, [long], 2, long_runs=True)
    assert (figures_of(path), long_runs_of(path)) == ([short], [long])
    text = page(figures_of(path), long_runs=long_runs_of(path))
    assert f"* - {ROWS[0].name}\n     - 60000\n     - 99.90%\n     - 1\n     - 1 in 12648" in text


def test_the_page_shows_what_a_margin_costs() -> None:
    (found,) = margin_results(4, 7, kinds=[Kind("sum", (margin_by_default("sum"),))])
    assert found.sent == 4 * len(list(KINDS[0].rows()))
    row = Result(ROWS[0].name, AUTO, 150, 150, 0)
    text = page([row], [found, MarginResult("sequence", 1, 1000, 998, 3)])
    assert f"- **{found.margin:g}**" in text
    assert "- 1\n     - 1000\n     - 99.80%\n     - 3" in text
