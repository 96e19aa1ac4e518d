"""The figures of a capture."""

from __future__ import annotations

from halfbit.edge import edges_from_durations
from halfbit.event import Cutout, Fault, FaultKind, Layer
from halfbit.instruction import Instruction, instructions
from halfbit.packet import Packet
from halfbit.cli.summary import Summary, Tally
from halfbit.stream import decode

from .support_cli import durations_of, packet


def test_figures() -> None:
    tally = Tally()
    step, two = packet("37 74"), packet("37 90 B0")
    packets = [Packet(step, 14, 0, 10), Packet(two, 14, 20, 35), Packet(step, 14, 40, 50)]
    for event in instructions(packets):
        tally.add(event)
    tally.add(Fault(FaultKind.SHORT, 50, 57, 50))
    tally.add(Fault(FaultKind.SHORT, 60, 62, 60))
    tally.add(Fault(FaultKind.CUT, 70, 71, 70))
    tally.add(Cutout(35, 40))
    assert tally.summary(200, 100) == Summary(
        length=100,
        half_bits=200,
        packets=3,
        distinct_packets=2,
        faults={FaultKind.SHORT: 2, FaultKind.CUT: 1},
        wrong=3,
        causes={},
        recovered={},
        cutouts=1,
        packet_time=35,
        fault_time=10,
        cutout_time=5,
    )
    assert tally.summary(200, 100).share_decoded == 0.35


def test_nothing() -> None:
    summary = Tally().summary(0, 0)
    assert (summary.packets, summary.faults, summary.share_decoded) == (0, {}, 0.0)


def test_equal_packets_in_a_row_count_each() -> None:
    step = packet("37 74")
    halves = durations_of([step] * 5)
    tally = Tally()
    events = list(decode(edges_from_durations(halves)))
    assert all(isinstance(event, Instruction) for event in events)
    for event in events:
        tally.add(event)
    summary = tally.summary(len(halves), 1000 * sum(halves))
    assert (summary.packets, summary.distinct_packets, summary.share_decoded) == (5, 1, 1.0)
