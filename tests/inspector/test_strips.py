"""A stretch of a capture at all layers: each fault where it is, each bit and byte under its half-bits."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import accumulate

import pytest
from hypothesis import given

from halfbit.simulate.distort import cutout, flipped_half, lost_edge, one_edge, polled, spike
from halfbit.edge import edges_from_durations
from halfbit.error import HalfbitError
from halfbit.event import Fault, FaultKind
from halfbit.inspect.cause import Cause, fault_words
from halfbit.inspect.strips import KEPT, MOST, Strip, strips
from halfbit.inspect.text import LEAST_WIDTH, allowed, drawn
from halfbit.limits import RECEIVE, Limits
from halfbit.simulate.signal import bit_durations, packet_durations, with_error_byte
from tests.support import examples
from tests.support_strategies import signals

US = 1000

# S-9.2: the idle packet; address 55, forward, step 6 of 28. Between them one to address 3, 128 speed steps (S-9.2.1 C).
IDLE = bytes.fromhex("FF 00 FF")
SPEED_128 = bytes.fromhex("03 3F 85 B9")
SPEED_28 = bytes.fromhex("37 74 43")
#: Index of the first half of SPEED_128's start bit, and of its third bit's.
START = len(packet_durations(IDLE)) + 28
THIRD = START + 6
#: Index of the first half of a one-bit in its second byte.
ONE = START + 2 * (1 + 8 + 1 + 2)


def signal() -> list[int]:
    packets = packet_durations(IDLE) + packet_durations(SPEED_128) + packet_durations(SPEED_28)
    return packets + bit_durations([1] * 12)


def with_duration(index: int, duration: int) -> Callable[[list[int]], list[int]]:
    return lambda durations: [*durations[:index], duration, *durations[index + 1 :]]


def wrong_byte(durations: list[int]) -> list[int]:
    return packet_durations(IDLE) + packet_durations(bytes.fromhex("03 3F 84 B9")) + durations[START + 46 + 28 :]


#: What is done to the packet in the middle, the fault that is then shown, and where: the index of a change.
FAULTS: dict[str, tuple[Callable[[list[int]], list[int]], FaultKind, int]] = {
    "too long for a one": (with_duration(THIRD, 78 * US), FaultKind.GAP, THIRD),
    "too short": (with_duration(THIRD, 40 * US), FaultKind.SHORT, THIRD),
    "too long": (with_duration(THIRD, 10_001 * US), FaultKind.LONG, THIRD),
    "half a zero lost": (lambda durations: flipped_half(durations, THIRD + 1), FaultKind.UNPAIRED_ZERO, THIRD),
    "a spike": (lambda durations: spike(durations, THIRD, 30 * US, 3 * US), FaultKind.SHORT, THIRD),
    "unequal halves": (
        lambda durations: with_duration(ONE, 52 * US)(with_duration(ONE + 1, 64 * US)(durations)),
        FaultKind.UNEQUAL,
        ONE + 1,
    ),
    "a change lost": (lambda durations: lost_edge(durations, THIRD + 1), FaultKind.UNPAIRED_ZERO, -1),
    "a wrong byte": (wrong_byte, FaultKind.ERROR_BYTE, START + 2 * (3 * 9 + 1)),
}


def strips_of(durations: list[int], limits: Limits = RECEIVE, *, at: int | None = None, events: int = 2) -> list[Strip]:
    return list(strips(edges_from_durations(durations, "ns"), limits, at=at, events=events))


def texts(strip: Strip) -> tuple[str, str, list[str]]:
    return (
        "".join(mark.text for mark in strip.half_bits),
        "".join(mark.text for mark in strip.bits),
        [mark.text for mark in strip.parts],
    )


def test_a_sound_packet_is_shown_at_all_layers() -> None:
    durations = signal()
    times = list(accumulate(durations, initial=0))
    (strip,) = strips_of(durations, at=times[START], events=1)
    half_bits, bits, parts = texts(strip)
    assert bits == "1" * 14 + "0" + "00000011" + "0" + "00111111" + "0" + "10000101" + "0" + "10111001" + "1"
    assert half_bits == "".join(2 * bit for bit in bits)
    # Fourteen of the station's own; the end bit of the packet before counts too, and lies in that one's strip (S-9.2 A).
    assert parts == ["preamble 15", "start", "03", "0", "3F", "0", "85", "0", "B9", "end"]
    assert [mark.text for mark in strip.meanings] == ["short 3: 128 speed step control: forward, step 4 of 126 steps"]
    assert strip.faults == []
    assert list(strip.times) == times[START - 28 : START + 74 + 1][: len(strip.times)]
    byte = strip.parts[2]
    assert (byte.start, byte.end) == (times[START + 2], times[START + 18])
    assert strip.level == (1 + START - 28) % 2


@pytest.mark.parametrize("name", list(FAULTS))
def test_a_fault_is_shown_where_it_is(name: str) -> None:
    spoil, kind, change = FAULTS[name]
    durations = spoil(signal())
    times = list(accumulate(durations, initial=0))
    strip = strips_of(durations, events=1)[0]
    assert strip.faults[0].kind is kind
    if change >= 0:
        assert strip.faults[0].at == times[change]
    assert strip.meanings[0].text.startswith("lost: ")
    if kind is not FaultKind.ERROR_BYTE:
        assert "?" in texts(strip)[1]
        marked = next(mark for mark in strip.bits if mark.text == "?")
        assert marked.start <= strip.faults[0].at <= marked.end
    shown = "\n".join(drawn([strip], 100))
    words = " ".join(shown.split())
    assert str(strip.faults[0]) in words
    assert "allowed: " in words or "would be" in words
    assert "^" in shown


#: The band in which a packet is torn, at 72 columns.
GOLDEN = """
ms      7.620                       8.020                     8.398
level   /~~~~~~\\______/~~~~~~\\______/~~~~\\______/~~~~~~\\______/~~~~~~
us       100    100    100    100    78   100    100    100    100
half     0      0      0      0      ?    0      0      0      0
bit     |      0      |      0      | ?  |      0      |      0
meaning .lost: half-bit of 78 us is too long for a one and too short f..
fault                               ^ gap
        ^ 8.020 ms: half-bit of 78 us is too long for a one and too
          short for a zero; allowed: 52 to 64 us (half of a one), 90 to
          10000 us (of a zero); missed by 12 us
"""


def test_a_band_looks_so() -> None:
    strip = strips_of(with_duration(THIRD, 78 * US)(signal()), events=1)[0]
    bands = "\n".join(drawn([strip], 72)).split("\n\n")
    assert GOLDEN.strip() in bands


def test_a_torn_packet_shows_how_far_it_came() -> None:
    durations = with_duration(START + 40, 78 * US)(signal())
    strip = strips_of(durations, events=1)[0]
    assert texts(strip)[2] == ["preamble 14", "start", "03", "0", "3F"]


def test_a_wrong_error_byte_is_shown_with_the_right_one() -> None:
    strip = strips_of(wrong_byte(signal()), events=1)[0]
    assert texts(strip)[2][-1] == "B9, not B8"  # 03 xor 3F xor 84


def test_the_first_fault_is_shown_unless_a_time_is_given() -> None:
    durations = with_duration(THIRD, 78 * US)(signal())
    assert strips_of(durations)[0].meanings[0].text.startswith("lost")
    assert strips_of(durations, at=0)[0].meanings[0].text == "idle"
    assert strips_of(signal())[0].meanings[0].text == "idle"  # no fault, so from the start
    assert len(strips_of(signal(), events=3)) == 3
    assert strips_of([]) == []


def test_by_sum_the_packets_bits_are_shown_where_they_were_read() -> None:
    durations = polled(signal(), (30 * US, 36 * US), random.Random(1))
    found = strips_of(durations, Limits.for_sampling_period(36), events=3)
    assert [texts(strip)[2] for strip in found][1] == ["preamble 15", "start", "03", "0", "3F", "0", "85", "0", "B9", "end"]
    for strip in found:
        assert strip.half_bits == []
        assert {mark.start for mark in strip.bits} <= set(strip.times)
        for mark in strip.bits:
            assert (mark.end - mark.start <= 158 * US) == (mark.text == "1")


@pytest.mark.parametrize("phase", [0, 1])
def test_of_one_edge_bits_are_shown_as_long_as_they_are_sent(phase: int) -> None:
    found = strips_of(one_edge(signal(), phase), Limits.for_one_edge(), events=3)
    assert texts(found[1])[2][1:] == ["start", "03", "0", "3F", "0", "85", "0", "B9", "end"]
    assert found[1].level is None
    changes = set(found[1].times)
    split = [mark for mark in found[1].bits if mark.start not in changes]
    assert (len(split) > 30) == (phase == 1)
    assert "change" in "\n".join(drawn(found, 80))


def test_long_losses_and_preambles_are_shown_in_part() -> None:
    quiet = bit_durations([1] * 3_000)
    durations = packet_durations(IDLE) + quiet + packet_durations(SPEED_28) + quiet
    found = strips_of(durations, events=2, at=0)
    assert len(found[1].times) < 150
    assert found[1].left_out == len(quiet) + 28 - 44
    assert "durations left out" in "\n".join(drawn(found, 80))
    rng = random.Random(1)
    noise = packet_durations(IDLE) + [rng.randint(1, 40 * US) for _ in range(2_000)]
    assert len(strips_of(noise, events=1)[0].times) <= MOST + 1


def test_memory_is_bounded() -> None:
    """A loss longer than what is kept is shown from what is left of it."""
    durations = packet_durations(IDLE) + [20 * US] * (3 * KEPT) + signal()
    strip = strips_of(durations, events=1)[0]
    assert strip.meanings[0].text.startswith("lost: half-bit of 20 us is too short")


def test_a_cutout_is_shown_as_such() -> None:
    # S-9.3.2, from memory: the rails are shorted from 29 to 464 us after the end bit.
    durations = signal()
    spoilt = cutout(durations, len(packet_durations(IDLE)))
    found = strips_of(spoilt, events=2, at=sum(packet_durations(IDLE)) + US)
    assert found[0].meanings[0].text.startswith("cutout of")


@pytest.mark.parametrize(("at", "events", "words"), [(0, 0, "events: 0"), (-1, 1, "at: -1"), (10**12, 1, "at: nothing was decoded")])
def test_wrong_use_is_refused(at: int, events: int, words: str) -> None:
    with pytest.raises(HalfbitError, match=words):
        strips_of(signal(), at=at, events=events)


@examples(25)
@given(signals())
def test_whatever_comes_can_be_shown(durations: list[int]) -> None:
    for limits in (RECEIVE, Limits.for_sampling_period(36)):
        found = strips_of(durations, limits, events=4)
        for strip in found:
            inside = [mark for marks in (strip.half_bits, strip.bits, strip.parts) for mark in marks]
            assert all(mark.start < mark.end or 0 in durations for mark in inside)
        for width in (LEAST_WIDTH, 80, 140):
            assert all(len(line) <= width for line in drawn(found, width))


def test_the_cause_is_marked_in_its_place_and_the_strip_is_about_it() -> None:
    data = with_error_byte(b"\x37\x74")
    durations = packet_durations(data) * 4 + bit_durations([1] * 20)
    torn = lost_edge(durations, 2 * 42 + 2 * 20)  # a packet has 42 bits
    (strip,) = strips(edges_from_durations(torn, "ns"), events=1, reach=20, causes=True)
    found = strip.diagnosis
    assert found is not None and found.cause is Cause.MISSED_CHANGE and found.packet == data
    assert strip.times[0] < found.at < strip.times[-1]
    (line,) = (line for line in drawn([strip], 100) if line.startswith("cause"))
    assert line.endswith("^ a change was missed")
    (plain,) = strips(edges_from_durations(torn, "ns"), events=1, reach=20)
    assert plain.diagnosis is None and not any(line.startswith("cause") for line in drawn([plain], 100))


def test_by_sums_words_speak_of_bits() -> None:
    sums = Limits.for_sampling_period(34)
    fault = Fault(FaultKind.SHORT, 0, 10, 0, 80_000)
    assert fault_words(fault, RECEIVE) == "half-bit of 80 us is too short"
    assert fault_words(fault, sums) == "bit of 80 us is too short"
    assert allowed(fault, sums) == f"allowed: {2 * sums.one_min // 1000} to 20068 us for a whole bit"
