"""The summary of a capture: its figures."""

from __future__ import annotations

from collections import Counter

import attrs

from ..capture.filter import FilteredEdges, Removed
from ..event import Cutout, FaultKind, Packet, Recovery
from ..inspect.cause import CAUSE_OF, Cause, Diagnosis
from ..inspect.losses import Durations
from ..inspect.reading import Reading
from ..instruction import Event, Instruction
from .columns import milliseconds
from .options import as_options

__all__ = ["Summary"]

#: How packets were read, if nothing was wrong with their changes.
_RECOVERED = {
    Recovery.TIMES: "by the times of all their changes together",
    Recovery.CUTOUT: "whose end bit runs into a cutout",
}


@attrs.define
class Summary:
    """The figures of a capture, counted while its events come. Times in ns."""

    length: int = 0  #: Time from the first level change to the last.
    half_bits: int = 0  #: Number of half-bits, valid or not: the number of level changes minus one.
    packets: int = 0
    faults: Counter[FaultKind] = attrs.Factory(Counter)  #: Number of stretches lost to each kind of fault.
    causes: Counter[Cause] = attrs.Factory(Counter)  #: Number of diagnosed losses for each cause.
    recovered: Counter[Recovery] = attrs.Factory(Counter)  #: Number of packets that were recovered, by what was wrong.
    wrong: int = 0  #: Number of wrong half-bits and bits in the lost stretches.
    cutouts: int = 0
    packet_time: int = 0  #: Time in packets, including their preambles.
    fault_time: int = 0
    cutout_time: int = 0
    decision: str = "halves"  #: The decision that was used.
    remarks: tuple[str, ...] = ()  #: Remarks on how the capture was read.
    removed: Removed | None = None  #: Counts of what the filter removed, if there was a filter.
    _packet: Packet | None = None
    _distinct: set[bytes] = attrs.Factory(set)

    @property
    def distinct_packets(self) -> int:
        """Number of packets with different bytes."""
        return len(self._distinct)

    @property
    def events(self) -> int:
        """Number of packets, losses and cutouts."""
        return self.packets + sum(self.faults.values()) + self.cutouts

    @property
    def share_decoded(self) -> float:
        """Time in packets as a share of the total time, 0 to 1. The rest is idle one-bits, cutouts and faults."""
        return round(self.packet_time / self.length, 6) if self.length else 0.0

    def add(self, event: Event, diagnosis: Diagnosis | None = None) -> None:
        """Take the next event. Several instructions of one packet count as one packet."""
        if isinstance(event, Instruction):
            packet = event.packet
            if packet is None or packet is self._packet:
                return
            self._packet = packet
            self.packets += 1
            self._distinct.add(packet.data)
            self.packet_time += packet.end - packet.start
            if packet.recovered is not None:
                self.recovered[packet.recovered] += 1
        elif isinstance(event, Cutout):
            self.cutouts += 1
            self.cutout_time += event.end - event.start
        else:
            self.faults[event.kind] += 1
            self.fault_time += event.end - event.start
            self.wrong += event.count
            if diagnosis is not None:
                self.causes[diagnosis.cause] += 1

    def finish(self, reading: Reading, durations: Durations) -> None:
        """End of the events: take what is known of the whole capture."""
        self.length, self.half_bits = durations.now, durations.count
        self.decision = reading.limits.decision
        self.remarks = reading.capture.remarks
        self.removed = reading.edges.removed if isinstance(reading.edges, FilteredEdges) else None

    def as_dict(self) -> dict[str, object]:
        """The summary as an object for JSON. Times in ns."""
        figures = "length half_bits packets distinct_packets share_decoded packet_time fault_time cutout_time cutouts"
        return {
            "type": "summary",
            **{name: getattr(self, name) for name in figures.split()},
            "faults": {kind.name: self.faults[kind] for kind in FaultKind},
            "wrong": self.wrong,
            "causes": {cause.name: self.causes[cause] for cause in Cause},
            "recovered": {way.name: self.recovered[way] for way in Recovery},
            "decision": self.decision,
            "remarks": list(self.remarks),
            "removed": None if self.removed is None else attrs.asdict(self.removed),
        }

    def cause_rows(self) -> list[tuple[str, int, str, str]]:
        """What was wrong, most frequent first: a label, how many, the cause in words, and what to do.

        The label is ``cause`` for losses, and ``read`` for packets that were read all the same.
        """
        causes = [(cause, number) for cause, number in self.causes.most_common() if cause is not Cause.CUT]
        rows = [("cause", number, cause.value, cause.advice) for cause, number in causes]
        for way, number in self.recovered.most_common():
            words = _RECOVERED.get(way, f"in spite of {way.value}")
            rows.append(("read", number, f"packets {words}", CAUSE_OF[way].advice if way in CAUSE_OF else ""))
        return rows

    def lines(self, *, causes: bool = True) -> list[str]:
        """The summary as lines of text.

        :param causes: False to leave out the causes.
        """
        changes = "half-bits" if self.decision != "sequence" else "durations"
        lines = [
            f"length   {milliseconds(self.length)} ms, {self.half_bits} {changes}",
            f"packets  {self.packets}, {self.distinct_packets} of them distinct",
            f"decoded  {self.share_decoded:.2%} of the time is in packets",
        ]
        if self.cutouts:
            lines.append(f"cutouts  {self.cutouts}, {milliseconds(self.cutout_time)} ms")
        count = sum(self.faults.values())
        wrong = "half-bits and bits" if self.decision == "halves" else "bits"
        lines.append(f"lost     {count} stretch{'es' * (count != 1)}, {milliseconds(self.fault_time)} ms")
        if count:
            numbers = ((kind.name.lower().replace("_", " "), self.faults[kind]) for kind in FaultKind)
            kinds = ", ".join(f"{number} {name}" for name, number in numbers if number)
            # By sequence nobody knows how many bits were wrong.
            total = "" if self.decision == "sequence" else f"; {self.wrong} {wrong} wrong in all"
            lines.append(f"         began with: {kinds}{total}")
        for label, number, text, advice in self.cause_rows() if causes else ():
            lines.append(f"{label:<8} {number:>4}  {text}")
            if advice:
                lines.append(f"               {advice}")
        lines += [f"capture  {as_options(remark)}" for remark in self.remarks]
        if self.removed is not None:
            lines.append(f"filter   {_removed(self.removed)}")
        return lines


def _removed(removed: Removed) -> str:
    if removed.first is None or removed.last is None:
        return "nothing to take out"
    counts = f"at {removed.crossings} crossings, and of {removed.spikes} spikes"
    times = f"from {milliseconds(removed.first)} to {milliseconds(removed.last)} ms"
    most = f"up to {removed.longest / 1000:g} us at a time"
    return f"{removed.changes} level changes taken out: {counts}; {times}, {most}"
