"""The figures of a capture."""

from __future__ import annotations

from halfbit.edge import edges_from_durations
from halfbit.event import Cutout, Fault, FaultKind, Recovery
from halfbit.instruction import Instruction, instructions
from halfbit.packet import Packet
from halfbit.cli.summary import Summary
from halfbit.stream import decode

from .support_cli import durations_of, packet


def test_figures() -> None:
    summary = Summary(length=100)
    step, two = packet("37 74"), packet("37 90 B0")
    packets = [Packet(step, 14, 0, 10), Packet(two, 14, 20, 35), Packet(step, 14, 40, 50)]
    for event in instructions(packets):
        summary.add(event)
    summary.add(Fault(FaultKind.SHORT, 50, 57, 50))
    summary.add(Fault(FaultKind.SHORT, 60, 62, 60))
    summary.add(Fault(FaultKind.CUT, 70, 71, 70))
    summary.add(Cutout(35, 40))
    assert (summary.packets, summary.distinct_packets, summary.cutouts) == (3, 2, 1)
    assert (summary.faults, summary.wrong) == ({FaultKind.SHORT: 2, FaultKind.CUT: 1}, 3)
    assert (summary.packet_time, summary.fault_time, summary.cutout_time) == (35, 10, 5)
    assert summary.share_decoded == 0.35


def test_nothing() -> None:
    summary = Summary()
    assert (summary.packets, summary.faults, summary.share_decoded) == (0, {}, 0.0)


def test_equal_packets_in_a_row_count_each() -> None:
    step = packet("37 74")
    halves = durations_of([step] * 5)
    events = list(decode(edges_from_durations(halves)))
    assert all(isinstance(event, Instruction) for event in events)
    summary = Summary(length=1000 * sum(halves))
    for event in events:
        summary.add(event)
    assert (summary.packets, summary.distinct_packets, summary.share_decoded) == (5, 1, 1.0)


def test_recovered_packets_are_summed_up_by_what_was_wrong() -> None:
    summary = Summary(length=100)
    for recovered in (Recovery.MISSED_CHANGES, Recovery.MISSED_CHANGES, Recovery.TIMES, None):
        for event in instructions([Packet(packet("37 74"), 14, 0, 10, recovered)]):
            summary.add(event)
    assert summary.recovered == {Recovery.MISSED_CHANGES: 2, Recovery.TIMES: 1}
    assert [line for line in summary.lines() if line.startswith("read ")] == [
        "read        2  packets in spite of missed changes",
        "read        1  packets by the times of all their changes together",
    ]
