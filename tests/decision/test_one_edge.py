"""Captures of one edge with many stretched zeros: the times alone leave several packets possible."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise

import pytest

from halfbit import Limits
from halfbit.decision.costs import CLEAR
from halfbit.decision.lengths import ALL, WITHIN, Lengths, bits_of, groups_of, learned
from halfbit.decision.reader import MARGIN, SequenceReader
from halfbit.simulate.signal import with_error_byte

US = 1000
LENGTHS = Lengths(58 * US, 100 * US, 100 * US, 0, 0.4)
#: By how much a zero's half is longer than a one's.
MORE = 42 * US

#: If the last bit of both bytes is a zero, it stands between zeros. So it may be a one between stretched zeros.
OLD, NEW = (with_error_byte(bytes(data)) for data in ([0x58, 0xB4], [0x59, 0xB5]))
#: The last bits of both bytes. The durations before and after them show what they are.
FIRST, SECOND = 8, 17


def both(first: int, second: int) -> dict[int, int]:
    """By how much the durations beside the last bits of both bytes are stretched, ns."""
    return {FIRST: first, FIRST + 1: first + 70 * US, SECOND: second, SECOND + 1: second + 90 * US}


def within(packets: Iterable[tuple[bytes, Mapping[int, int]]]) -> list[int]:
    """The durations between the changes within bits.

    :param packets: with the durations that are stretched, by their number from the start bit on, and by how much, ns.
    """
    bits: list[int] = []
    longer: dict[int, int] = {}
    for data, stretched in packets:
        bits += [1] * 16
        longer |= {len(bits) + place: more for place, more in stretched.items()}
        bits += bits_of(data)
    bits += [1] * 40
    halves = [LENGTHS.half(bit, 0) for bit in bits]
    return [before + after + longer.get(at, 0) for at, (before, after) in enumerate(pairwise(halves), 1)]


def given(packets: Iterable[tuple[bytes, Mapping[int, int]]], lengths: Lengths = LENGTHS) -> list[bytes]:
    reader = SequenceReader(Limits.for_one_edge(1), lengths, 2 * US)
    for duration in within(packets):
        reader.feed(duration)
    reader.finish()
    return [found.data for found in reader.found if found.margin >= MARGIN]


TORN = OLD, both(300 * US, 170 * US)


def test_a_packet_that_was_clear_before_is_likelier() -> None:
    """Two stretched zeros may hide a one between them, once more in the error detection byte. Half of all lost packets
    of one edge were lost so."""
    assert given([TORN]) == given([TORN, TORN]) == []
    assert given([(OLD, {}), TORN]) == [OLD, OLD]


def test_a_packet_that_was_clear_before_counts_against_another() -> None:
    """A function was on and goes off: the times are for the new packet, but not as clearly as the old one is likely."""
    assert given([(NEW, {}), TORN]) == [NEW]
    # Both were clear, so either may be a repeat.
    assert given([(OLD, {}), (NEW, {}), TORN]) == [OLD, NEW]


@pytest.mark.parametrize(("others", "known"), [(CLEAR - 1, True), (CLEAR, False)])
def test_how_many_clear_packets_are_remembered(others: int, known: bool) -> None:
    between = [with_error_byte(bytes([1 + number, 0x3F, 0x85])) for number in range(others)]
    packets = [(OLD, {}), *((data, {}) for data in between for _ in range(2)), TORN]
    assert given(packets).count(OLD) == 1 + known


def test_stretched_zeros_that_are_alike_end_by_chance_where_a_change_is_expected() -> None:
    """A station stretched zeros by two times, one twice the other, and both may stand for another bit.

    Each chance counted as if stretches of all lengths were alike frequent, and a packet was given that was not sent.
    """
    hidden = NEW, {FIRST: 2 * MORE, FIRST + 1: 2 * MORE, SECOND: MORE, SECOND + 1: MORE}
    assert given([hidden], LENGTHS._replace(alike=0.5)) == []
    assert given([(NEW, {})], LENGTHS._replace(alike=0.5)) == [NEW]


@pytest.mark.parametrize(
    ("stretches", "alike"), [((50,), 1.0), ((50, 100, 200), 1 / 3), (tuple(range(50, 250, 2)), 0.0)]
)
def test_how_many_stretched_zeros_are_alike_is_learned(stretches: tuple[int, ...], alike: float) -> None:
    pieces = []
    for number, stretch in enumerate(stretches * (300 // len(stretches))):
        groups = groups_of([1] * 13 + bits_of(with_error_byte(bytes([number % 256, 0x55]))), WITHIN)
        longer = {13 + 9: stretch * US}  # the start bit of the second byte
        pieces.append([(LENGTHS.of(halves) + longer.get(at, 0), halves) for at, halves in enumerate(groups)])
    lengths = learned(pieces, 2 * US)
    assert lengths is not None
    assert lengths.alike == pytest.approx(alike, abs=0.02)
    assert lengths.towards(lengths).alike == pytest.approx(lengths.alike)
    unstretched = [(LENGTHS.of(halves), halves) for halves in groups_of([1] * 13 + bits_of(OLD), ALL)]
    assert learned([unstretched], 2 * US).alike == 0.0  # type: ignore[union-attr]
