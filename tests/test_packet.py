"""Layer 4 as it is seen from outside: packets, and one fault for each stretch that was lost."""

from __future__ import annotations

import pytest

from halfbit.event import PacketEvent
from halfbit.bit import Bit, bits
from halfbit.event import Cutout, Fault, FaultKind, Layer
from halfbit.half_bit import half_bits
from halfbit.limits import RECEIVE, Limits
from halfbit.packet import PacketMachine, packets
from halfbit.event import Packet
from halfbit.simulate.signal import bit_durations, packet_bits, packet_durations, with_error_byte
from tests.support import edges_of, events_of, packets_of

US = 1000
DATA = bytes([0x37, 0x74, 0x43])
OTHER = bytes([0xFF, 0x00, 0xFF])
GOOD = packet_durations(DATA)
NEXT = packet_durations(OTHER, 10)
LENGTH = sum(GOOD)


def brief(events: list[PacketEvent]) -> list[str]:
    return [
        event.kind.name if isinstance(event, Fault) else type(event).__name__ for event in events
    ]


def test_a_packet() -> None:
    (packet,) = events_of(GOOD)
    assert packet == Packet(DATA, 14, 0, LENGTH)
    assert str(packet) == "37 74 43"


def test_the_end_bit_counts_as_a_preamble_bit() -> None:
    """S-9.2 A allows it: nine one-bits of its own are enough, eight are not."""
    nine, eight = packet_durations(OTHER, 9), packet_durations(OTHER, 8)
    assert events_of(GOOD + nine)[1:] == [Packet(OTHER, 10, LENGTH, LENGTH + sum(nine))]
    (_, fault) = events_of(GOOD + eight)
    assert isinstance(fault, Fault)
    assert (fault.kind, fault.one_bits) == (FaultKind.SHORT_PREAMBLE, 9)
    assert (fault.start, fault.at) == (LENGTH + 16 * 58 * US, LENGTH + 16 * 58 * US)


def test_the_data_bits_before_a_good_end_bit_do_not_count() -> None:
    ones = with_error_byte(bytes([0, 255]))
    assert packets_of(packet_durations(ones) + packet_durations(OTHER, 8)) == [ones]


def test_the_bits_before_a_wrong_end_do_count() -> None:
    """S-9.2 A: an error byte that disagrees may have been the next preamble's first bits."""
    wrong = packet_durations(bytes([0, 0, 255]))
    assert packets_of(wrong + packet_durations(OTHER, 1)) == [OTHER]
    assert packets_of(wrong + packet_durations(OTHER, 0)) == []


#: What is lost: durations between a good packet and the next preamble, and what is said of it.
LOSSES: dict[str, tuple[list[int], list[str]]] = {
    "error byte": (packet_durations(bytes([3, 2, 2])), ["ERROR_BYTE"]),
    "few bytes": (packet_durations(bytes([7, 7])), ["FEW_BYTES"]),
    "many bytes": (packet_durations(bytes(16)), ["MANY_BYTES"]),
    "torn": ([*packet_durations(DATA)[:80], 77 * US], ["GAP"]),
    "torn by silence": ([*packet_durations(DATA)[:80], 50_000 * US], ["LONG"]),
    "torn by a spike": ([*packet_durations(DATA)[:80], 40 * US, 3 * US, 57 * US], ["SHORT"]),
    "one lost half": (packet_durations(DATA)[:77] + packet_durations(DATA)[78:], ["UNPAIRED_ZERO"]),
    "noise between packets": ([20 * US, 300 * US, 77 * US, 11_000 * US], ["SHORT"]),
    "short preamble": (packet_durations(DATA, 5), ["SHORT_PREAMBLE"]),
}


@pytest.mark.parametrize("name", LOSSES)
def test_one_fault_for_each_loss(name: str) -> None:
    """However much is wrong in it; it reaches to the next preamble, and names the first thing wrong."""
    lost, kinds = LOSSES[name]
    events = events_of(GOOD + lost + NEXT)
    assert brief(events) == ["Packet", *kinds, "Packet"]
    first, fault, second = events
    assert isinstance(fault, Fault) and isinstance(second, Packet)
    assert second.data == OTHER
    assert fault.end == second.start
    assert first.end <= fault.start <= fault.at <= fault.end


def test_a_torn_packet_s_fault_says_all_it_can() -> None:
    torn = [*GOOD[:76], 77 * US]  # preamble, 0, a byte, 0, a byte, 0, 5 bits of a byte
    lead = bit_durations([1] * 20)
    (fault, packet) = events_of(torn + lead + NEXT)
    assert fault == Fault(
        FaultKind.GAP,
        start=0,
        end=sum(torn),
        at=sum(torn[:-1]),
        detail=77 * US,
        data=DATA[:2],
    )
    assert isinstance(packet, Packet) and packet.preamble == 30


def test_a_fault_counts_what_was_wrong() -> None:
    noise = [20 * US] * 7
    (_, fault, _) = events_of(GOOD + noise + NEXT)
    assert isinstance(fault, Fault) and fault.count == 7


@pytest.mark.parametrize("first", range(len(GOOD)))
def test_a_capture_that_starts_anywhere(first: int) -> None:
    """Before ten one-bits of the preamble have gone by: the packet; after: what is left of it is cut."""
    events = events_of(GOOD[first:] + NEXT)
    if first <= 8:
        assert brief(events) == ["Packet", "Packet"]
        assert events[0].start == 0
    elif first < len(GOOD) - 6:
        assert brief(events) == ["CUT", "Packet"]
        assert events[0].start == 0
        assert events[0].end == events[1].start
    else:  # the last two data bits and the end bit are ones, as a preamble is
        assert brief(events) == ["Packet"]


@pytest.mark.parametrize("last", range(1, len(GOOD)))
def test_a_capture_that_ends_anywhere(last: int) -> None:
    """Inside a packet: what there is of it is cut, with the bytes that were complete."""
    end = sum(GOOD[:last])
    (packet, *rest) = events_of(GOOD + GOOD[:last])
    assert packet == Packet(DATA, 14, 0, LENGTH)
    if last < 2 * 14 + 2:
        # Among one-bits nothing has begun; a single half more may be of anything.
        assert brief(rest) in ([], ["CUT"])
    else:
        (fault,) = rest
        assert isinstance(fault, Fault)
        complete = DATA[: max(0, (last - 30)) // 2 // 9 + ((last - 30) // 2 % 9 == 8)]
        assert (fault.kind, fault.layer, fault.data) == (FaultKind.CUT, Layer.PACKET, complete)
        assert (fault.start, fault.end) == (LENGTH, LENGTH + end)


def test_nothing_but_ones_is_nothing() -> None:
    assert events_of(bit_durations([1] * 100)) == []
    assert events_of(bit_durations([1] * 100)[1:]) == []
    assert events_of([]) == []


def test_nothing_but_noise_is_one_fault() -> None:
    (fault,) = events_of([20 * US, 30 * US, 300_000 * US, 58 * US])
    assert isinstance(fault, Fault)
    assert (fault.kind, fault.start, fault.end) == (FaultKind.SHORT, 0, 300_108 * US)


@pytest.mark.parametrize("halves", [[29, 435], [464], [470], [29, 425], [522], [26, 460]])
def test_a_cutout_is_no_fault(halves: list[int]) -> None:
    """S-9.3.2, RCN-217, from memory: as each rail and polarity shows it, after a packet's end."""
    between = [half * US for half in halves]
    (first, cutout, second) = events_of(GOOD + between + NEXT)
    assert cutout == Cutout(LENGTH, LENGTH + sum(between))
    assert isinstance(first, Packet) and isinstance(second, Packet)
    assert second.start == cutout.end


def test_the_same_stretch_elsewhere_is_a_fault() -> None:
    lead = bit_durations([1] * 3)
    assert brief(events_of(GOOD + lead + [29 * US, 435 * US] + NEXT)) == ["Packet", "SHORT", "Packet"]
    assert brief(events_of(GOOD + [29 * US, 300 * US] + NEXT)) == ["Packet", "SHORT", "Packet"]
    assert brief(events_of(GOOD + [29 * US, 700 * US] + NEXT)) == ["Packet", "SHORT", "Packet"]


def test_events_come_as_soon_as_they_are_certain() -> None:
    """A packet with its last bit; a fault when the tenth one-bit behind it stands complete."""
    bits = packet_bits(DATA)
    machine = PacketMachine()
    time = 0
    given = []
    for bit in bits:
        given.append(machine.feed(Bit(bit, time, 58_000, 58_000)))
        time += 116_000
    assert [len(events) for events in given] == [0] * (len(bits) - 1) + [1]
    noise = Fault(FaultKind.SHORT, time, time + 5, time, 5)
    assert machine.feed(noise) == ()
    time += 5
    counts = [len(machine.feed(Bit(1, time + 116_000 * n, 58_000, 58_000))) for n in range(12)]
    assert counts == [0] * 9 + [1, 0, 0]
    assert machine.finish() == ()


def test_no_bits_give_no_events() -> None:
    assert list(packets([])) == []
    assert PacketMachine().finish() == ()
