"""The summary of a capture: its figures."""

from __future__ import annotations

from collections import Counter

import attrs

from ..capture.filter import Removed
from ..event import Cutout, Fault, FaultKind, Packet, Recovery
from ..inspect.cause import CAUSE_OF, Cause, Diagnosis
from .columns import milliseconds
from ..instruction import Event, Instruction

__all__ = ["Summary", "Tally", "summary_lines"]

#: How packets were read, if nothing was wrong with their changes.
_RECOVERED = {
    Recovery.TIMES: "by the times of all their changes together",
    Recovery.CUTOUT: "whose end bit runs into a cutout",
}


@attrs.frozen(slots=True)
class Summary:
    """The figures of a capture. Times in ns."""

    #: Time from the first level change to the last.
    length: int
    #: Number of half-bits, valid or not: the number of level changes minus one.
    half_bits: int
    packets: int
    #: Number of packets with different bytes.
    distinct_packets: int
    #: Number of stretches lost to each kind of fault.
    faults: dict[FaultKind, int]
    #: Number of wrong half-bits and bits in them.
    wrong: int
    #: Number of diagnosed losses for each cause.
    causes: dict[Cause, int]
    #: Number of packets that were recovered, by what was wrong.
    recovered: dict[Recovery, int]
    cutouts: int
    #: Time in packets, including their preambles.
    packet_time: int
    #: Time in faults.
    fault_time: int
    cutout_time: int
    #: The decision that was used.
    decision: str = "halves"
    #: Remarks on how the capture was read.
    remarks: tuple[str, ...] = ()
    #: Counts of what the filter removed, if there was a filter.
    removed: Removed | None = None

    @property
    def share_decoded(self) -> float:
        """Time in packets as a share of the total time, 0 to 1. The rest is idle one-bits, cutouts and faults."""
        return self.packet_time / self.length if self.length else 0.0

    def as_dict(self) -> dict[str, object]:
        """The summary as an object for JSON. Times in ns."""
        return {
            "type": "summary",
            "length": self.length,
            "half_bits": self.half_bits,
            "packets": self.packets,
            "distinct_packets": self.distinct_packets,
            "share_decoded": round(self.share_decoded, 6),
            "packet_time": self.packet_time,
            "fault_time": self.fault_time,
            "cutout_time": self.cutout_time,
            "cutouts": self.cutouts,
            "faults": {kind.name: self.faults.get(kind, 0) for kind in FaultKind},
            "wrong": self.wrong,
            "causes": {cause.name: self.causes.get(cause, 0) for cause in Cause},
            "recovered": {way.name: self.recovered.get(way, 0) for way in Recovery},
            "decision": self.decision,
            "remarks": list(self.remarks),
            "removed": None if self.removed is None else attrs.asdict(self.removed),
        }


class Tally:
    """Counts decoded events for a summary."""

    def __init__(self) -> None:
        self._packet: Packet | None = None
        self._packets = 0
        self._distinct: set[bytes] = set()
        self._faults: Counter[FaultKind] = Counter()
        self._wrong = 0
        self._causes: Counter[Cause] = Counter()
        self._recovered: Counter[Recovery] = Counter()
        self._cutouts = 0
        self._times = {Packet: 0, Fault: 0, Cutout: 0}

    def add(self, event: Event, diagnosis: Diagnosis | None = None) -> None:
        """Take the next event. Several instructions of one packet count as one packet."""
        if isinstance(event, Instruction):
            packet = event.packet
            if packet is None or packet is self._packet:
                return
            self._packet = packet
            self._packets += 1
            self._distinct.add(packet.data)
            self._times[Packet] += packet.end - packet.start
            if packet.recovered is not None:
                self._recovered[packet.recovered] += 1
            return
        self._times[type(event)] += event.end - event.start
        if isinstance(event, Fault):
            self._faults[event.kind] += 1
            self._wrong += event.count
            if diagnosis is not None:
                self._causes[diagnosis.cause] += 1
        else:
            self._cutouts += 1

    def summary(
        self,
        half_bits: int,
        length: int,
        remarks: tuple[str, ...] = (),
        removed: Removed | None = None,
        decision: str = "halves",
    ) -> Summary:
        """The summary of the events so far.

        :param half_bits: total number of half-bits.
        :param length: their total length, ns.
        :param remarks: remarks on how the capture was read.
        :param removed: counts of what the filter removed.
        :param decision: the decision that was used.
        """
        return Summary(
            length=length,
            half_bits=half_bits,
            packets=self._packets,
            distinct_packets=len(self._distinct),
            faults={kind: self._faults[kind] for kind in FaultKind if self._faults[kind]},
            wrong=self._wrong,
            causes={cause: self._causes[cause] for cause in Cause if self._causes[cause]},
            recovered={way: self._recovered[way] for way in Recovery if self._recovered[way]},
            cutouts=self._cutouts,
            packet_time=self._times[Packet],
            fault_time=self._times[Fault],
            cutout_time=self._times[Cutout],
            decision=decision,
            remarks=remarks,
            removed=removed,
        )


def summary_lines(summary: Summary) -> list[str]:
    """A summary as lines of text."""
    changes = "half-bits" if summary.decision != "sequence" else "durations"
    lines = [
        f"length   {milliseconds(summary.length)} ms, {summary.half_bits} {changes}",
        f"packets  {summary.packets}, {summary.distinct_packets} of them distinct",
        f"decoded  {summary.share_decoded:.2%} of the time is in packets",
    ]
    if summary.cutouts:
        lines.append(f"cutouts  {summary.cutouts}, {milliseconds(summary.cutout_time)} ms")
    count = sum(summary.faults.values())
    wrong = "half-bits and bits" if summary.decision == "halves" else "bits"
    lines.append(f"lost     {count} stretch{'es' * (count != 1)}, {milliseconds(summary.fault_time)} ms")
    if count:
        kinds = ", ".join(f"{number} {kind.name.lower().replace('_', ' ')}" for kind, number in summary.faults.items())
        # By sequence nobody knows how many bits were wrong.
        lines.append(f"         began with: {kinds}" + f"; {summary.wrong} {wrong} wrong in all" * (summary.decision != "sequence"))
    for cause, number in sorted(summary.causes.items(), key=lambda each: -each[1]):
        if cause is not Cause.CUT:
            lines.append(f"cause    {number:>4}  {cause.value}")
            lines.append(f"               {cause.advice}")
    for way, number in sorted(summary.recovered.items(), key=lambda each: -each[1]):
        lines.append(f"read     {number:>4}  packets {_RECOVERED.get(way) or f'in spite of {way.value}'}")
        if way in CAUSE_OF:
            lines.append(f"               {CAUSE_OF[way].advice}")
    lines += [f"capture  {remark}" for remark in summary.remarks]
    if summary.removed is not None:
        lines.append(f"filter   {_removed(summary.removed)}")
    return lines


def _removed(removed: Removed) -> str:
    if removed.first is None or removed.last is None:
        return "nothing to take out"
    return (
        f"{removed.changes} level changes taken out: at {removed.crossings} crossings, and of {removed.spikes} spikes; "
        f"from {milliseconds(removed.first)} to {milliseconds(removed.last)} ms, up to {removed.longest / 1000:g} us at a time"
    )
