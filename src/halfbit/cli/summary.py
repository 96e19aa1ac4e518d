"""What a capture holds, in figures."""

from __future__ import annotations

from collections import Counter

import attrs

from ..capture.filter import Removed
from ..event import Cutout, Fault, FaultKind
from ..instruction import Instruction
from ..event import Packet
from ..instruction import Event

__all__ = ["Summary", "Tally"]


@attrs.frozen(slots=True)
class Summary:
    """The figures of a capture. Times in ns."""

    #: From the first level change to the last.
    length: int
    #: Half-bits, sound or not: one less than there are level changes.
    half_bits: int
    packets: int
    #: Packets with different bytes.
    distinct_packets: int
    #: How many of each kind that there was.
    faults: dict[FaultKind, int]
    cutouts: int
    #: Time in packets, their preambles included.
    packet_time: int
    #: Time lost to faults.
    fault_time: int
    cutout_time: int
    #: How the capture was read, in words.
    remarks: tuple[str, ...] = ()
    #: What a filter took out, where there was one.
    removed: Removed | None = None

    @property
    def share_decoded(self) -> float:
        """Time in packets as a share of the whole, 0 to 1. The rest is idle one-bits, cutouts, faults."""
        return self.packet_time / self.length if self.length else 0.0


class Tally:
    """Counts what comes out of decoding."""

    def __init__(self) -> None:
        self._packet: Packet | None = None
        self._packets = 0
        self._distinct: set[bytes] = set()
        self._faults: Counter[FaultKind] = Counter()
        self._cutouts = 0
        self._times = {Packet: 0, Fault: 0, Cutout: 0}

    def add(self, event: Event) -> None:
        """Take the next event. Several instructions of one packet count as one packet."""
        if isinstance(event, Instruction):
            packet = event.packet
            if packet is None or packet is self._packet:
                return
            self._packet = packet
            self._packets += 1
            self._distinct.add(packet.data)
            self._times[Packet] += packet.end - packet.start
            return
        self._times[type(event)] += event.end - event.start
        if isinstance(event, Fault):
            self._faults[event.kind] += 1
        else:
            self._cutouts += 1

    def summary(
        self, half_bits: int, length: int, remarks: tuple[str, ...] = (), removed: Removed | None = None
    ) -> Summary:
        """The figures.

        :param half_bits: how many there were in all.
        :param length: what they last together, ns.
        :param remarks: how the capture was read.
        :param removed: what a filter took out.
        """
        return Summary(
            length=length,
            half_bits=half_bits,
            packets=self._packets,
            distinct_packets=len(self._distinct),
            faults={kind: self._faults[kind] for kind in FaultKind if self._faults[kind]},
            cutouts=self._cutouts,
            packet_time=self._times[Packet],
            fault_time=self._times[Fault],
            cutout_time=self._times[Cutout],
            remarks=remarks,
            removed=removed,
        )
