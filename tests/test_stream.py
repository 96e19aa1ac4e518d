"""All layers in one: the stream decoder and decode() carry what layer 4 gives, however it is fed."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Sequence

import pytest
from hypothesis import given

from halfbit.event import PacketEvent
from halfbit.edge import Edge, edges_from_durations, edges_from_samples, edges_from_times
from halfbit.error import CaptureError, HalfbitError
from halfbit.event import Cutout, Fault
from halfbit.instruction import Configuration, Context, Instruction, instructions
from halfbit.limits import TRANSMIT, Limits
from halfbit.event import Packet
from halfbit.simulate.signal import packet_durations, with_error_byte
from halfbit.instruction import Event
from halfbit.stream import StreamDecoder, decode
from tests.support import chunks, edges_of, events_of, seed_of, show
from tests.support_strategies import all_limits, signals

US = 1000
DATA = with_error_byte(bytes([0x37, 0x74]))
GOOD = packet_durations(DATA)


def beneath(decoded: Iterable[Event]) -> list[PacketEvent]:
    """The layer 4 events that instructions, faults and cutouts came from."""
    events: list[PacketEvent] = []
    for item in decoded:
        event = item.packet if isinstance(item, Instruction) else item
        assert isinstance(event, (Packet, Fault, Cutout))
        if not events or event != events[-1]:
            events.append(event)
    return events


def whole(decoded: Iterable[Event]) -> list[tuple[object, ...]]:
    """All there is to compare: instructions are equal also where only their packets' times differ."""
    return [
        (item, item.packet, item.packet_context) if isinstance(item, Instruction) else (item,)
        for item in decoded
    ]


def decoded_of(durations: Sequence[int], limits: Limits) -> list[Event]:
    """What a case says, after having been seen to be the same every way."""
    edges = edges_of(durations)
    expected = list(instructions(events_of(durations, limits)))
    cut = random.Random(seed_of(durations))
    ways: dict[str, list[Event]] = {
        "decode, in bulk": list(decode(edges_from_durations(durations, "ns"), limits)),
        "decode, times": list(decode(edges_from_times([e.time for e in edges], "ns"), limits)),
        "decode, live": list(decode(edges_from_durations(iter(durations), "ns"), limits)),
        "decode, edges": list(decode(edges, limits)),
        "decode, other polarity": list(decode(iter(edges_of(durations, level=0)), limits)),
        "fed singly": _fed_singly(edges, limits),
        "fed in pieces of edges": _fed_in_pieces(chunks_of_edges(edges, cut), limits),
        "fed in pieces of durations": _fed_in_pieces(
            [edges_from_durations(piece, "ns") for piece in chunks(durations, cut)], limits
        ),
    }
    for way, decoded in ways.items():
        assert whole(decoded) == whole(expected), (
            f"{way}:\n{show(decoded)}\n  but from layer 4's events:\n{show(expected)}\n"
            f"  Run it again: tests.test_stream.decoded_of({list(durations)}, {limits})"
        )
    return expected


def chunks_of_edges(edges: list[Edge], cut: random.Random) -> Iterator[list[Edge]]:
    at = 0
    while at < len(edges):
        size = cut.randint(0, 30)
        yield edges[at : at + size]
        at += size


def _fed_singly(edges: list[Edge], limits: Limits) -> list[Event]:
    decoder = StreamDecoder(limits)
    decoded = [item for edge in edges for item in decoder.feed(edge)]
    return [*decoded, *decoder.finish()]


def _fed_in_pieces(pieces: Iterable[Iterable[Edge]], limits: Limits) -> list[Event]:
    decoder = StreamDecoder(limits)
    decoded: list[Event] = []
    for piece in pieces:
        decoded += decoder.feed_many(piece)
    return [*decoded, *decoder.finish()]


@given(signals(), all_limits)
def test_every_way_gives_the_same_and_all_of_layer_4(durations: list[int], limits: Limits) -> None:
    assert beneath(decoded_of(durations, limits)) == events_of(durations, limits)


def test_every_packet_gives_an_instruction_that_leads_back_to_it() -> None:
    (instruction,) = decode(edges_from_durations(GOOD, "ns"))
    assert isinstance(instruction, Instruction)
    assert instruction.packet == Packet(DATA, 14, 0, sum(GOOD))


def test_samples_decode_as_their_changes_do() -> None:
    """A logic analyser's levels at 1 MHz."""
    levels = bytearray()
    for index, duration in enumerate([500 * US, *GOOD, 200 * US]):
        levels += bytes([index % 2]) * (duration // US)
    (instruction, *_) = decode(edges_from_samples(levels))
    assert isinstance(instruction, Instruction)
    assert instruction.packet is not None and instruction.packet.data == DATA


def test_options_reach_the_layers() -> None:
    short = packet_durations(DATA, 12)
    assert len(list(decode(edges_from_durations(short, "ns")))) == 1
    assert not any(
        isinstance(item, Instruction) for item in decode(edges_from_durations(short, "ns"), TRANSMIT)
    )
    service = packet_durations(with_error_byte(bytes([0x7C, 0x00, 0x03])), 20)
    for context in (Context.OPERATIONS, Context.SERVICE):
        for items in (
            list(decode(edges_from_durations(service, "ns"), context=context)),
            StreamDecoder(context=context).feed_many(edges_from_durations(service, "ns")),
        ):
            assert items
            for item in items:
                assert isinstance(item, Instruction) and item.context is context
    plain, known = (
        [*decode(edges_from_durations(GOOD, "ns"), configuration=configuration)]
        for configuration in (None, Configuration(cv29=2))
    )
    assert whole(plain) != whole(known)


def test_a_live_source_is_decoded_as_it_comes() -> None:
    """The instruction is there before the source is asked for more."""
    asked = 0

    def source() -> Iterator[int]:
        nonlocal asked
        for duration in GOOD * 3:
            asked += 1
            yield duration

    decoded = decode(edges_from_durations(source(), "ns"))
    for count in (1, 2, 3):
        next(decoded)
        assert asked == count * len(GOOD)


def test_what_came_before_a_wrong_number_is_decoded() -> None:
    numbers: list[object] = [*GOOD, *GOOD, "x"]
    decoded = decode(edges_from_durations(numbers, "ns"))  # type: ignore[arg-type]
    assert len([next(decoded), next(decoded)]) == 2
    with pytest.raises(CaptureError, match="^item 168: 'x' is not a number$"):
        next(decoded)


@pytest.mark.parametrize("singly", [False, True], ids=["feed_many", "feed"])
@pytest.mark.parametrize("bulk", [False, True], ids=["edges", "durations"])
def test_what_came_before_a_wrong_number_is_fed_out_of_the_next_call(bulk: bool, singly: bool) -> None:
    """So an error in a portion takes nothing with it, however the signal goes on."""
    signal = [half // US for half in GOOD * 3]
    edges = list(edges_from_durations(signal))
    decoder = StreamDecoder()
    wrong = Edge(edges[99].time - 1, 0)
    with pytest.raises(HalfbitError, match="item 99: duration -1|before the one at"):
        decoder.feed_many(edges_from_durations([*signal[:99], -1]) if bulk else [*edges[:100], wrong])
    with pytest.raises(HalfbitError, match="before the one at"):
        decoder.feed(wrong)
    rest = edges[100:]
    decoded = [one for edge in rest for one in decoder.feed(edge)] if singly else decoder.feed_many(rest)
    decoded += decoder.finish()
    assert whole(decoded) == whole(decode(edges))
    assert len(decoded) == 3


def test_what_came_before_a_wrong_number_comes_out_of_finish() -> None:
    decoder = StreamDecoder()
    with pytest.raises(CaptureError, match="item"):
        decoder.feed_many(edges_from_durations([half // US for half in GOOD * 2] + [-1]))
    assert len(decoder.finish()) == 2


def test_time_going_backwards_is_refused() -> None:
    decoder = StreamDecoder()
    decoder.feed(Edge(100, 1))
    with pytest.raises(HalfbitError, match="edge at 99 ns comes before the one at 100 ns"):
        decoder.feed(Edge(99, 0))
    with pytest.raises(HalfbitError, match="edge at 99 ns comes before"):
        decoder.feed_many([Edge(99, 0)])
    assert decoder.feed(Edge(100, 0)) == ()


@pytest.mark.parametrize("fed", [[], [Edge(0, 1)], edges_of(GOOD)])
def test_a_finished_decoder_takes_no_more(fed: list[Edge]) -> None:
    decoder = StreamDecoder()
    decoder.feed_many(fed)
    decoder.finish()
    for again in (
        lambda: decoder.feed(Edge(10**10, 1)),
        lambda: decoder.feed_many([]),
        lambda: decoder.feed_many([Edge(10**10, 1)]),
        lambda: decoder.feed_many(edges_from_durations([5])),
        decoder.finish,
    ):
        with pytest.raises(HalfbitError, match="the decoder is finished"):
            again()


def test_nothing_gives_nothing() -> None:
    assert list(decode([])) == []
    assert list(decode([Edge(0, 1)])) == []
    assert list(decode(edges_from_times([]))) == []
    assert StreamDecoder().finish() == ()
