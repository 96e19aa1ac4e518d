"""Audit of a station: checks one capture against all rules, with an allowance for the capture's own errors."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable

import attrs

from ..bit import Bit, bits
from ..edge import Edge
from ..event import Fault, FaultKind, Packet
from ..half_bit import half_bits
from ..instruction import Instruction, InstructionMachine
from ..limits import RECEIVE, US
from ..packet import PacketMachine
from .audit_packets import PacketAudit
from .rules import RULES, Audit, Tally
from .seen import quantile

#: Limits wider than a station may use, so that bits out of bounds are still read. The error detection byte catches
#: wrong readings. Packets longer than those of S-9.2.1 are read too.
WIDE = attrs.evolve(
    RECEIVE, one_min=44 * US, one_max=74 * US, one_difference=None, zero_min=80 * US, zero_total_max=None
)

KEPT_BITS = 2048  #: Most bits kept for one packet. In a long run of ones the oldest are dropped.

POWER_OFF = 30_000_000  #: 30 ms, in ns. Longer than any half-bit (S-9.1 A: 9900 us), so the rails had no power.


class StationAudit:
    """Bits and faults of layer 3 in; the audit at the end."""

    def __init__(self) -> None:
        self._tallies = {rule.name: Tally(rule) for rule in RULES}
        # Differences between neighbouring whole one-bits. A station keeps its widths from one bit to the next, whatever
        # they are, so these differences come from the capture.
        self._scatter: Counter[int] = Counter()
        # First half minus last half, for one-bits and for zero-bits that are not stretched.
        self._leans: dict[int, Counter[int]] = {1: Counter(), 0: Counter()}
        self._machine = PacketMachine(WIDE)
        self._instructions = InstructionMachine()
        self._rules = PacketAudit(self._tallies)
        self._bits: deque[Bit] = deque(maxlen=KEPT_BITS)
        self._packets = self._losses = 0

    def feed(self, event: Bit | Fault) -> None:
        """Take the next bit or fault of layer 3."""
        if isinstance(event, Bit):
            self._bits.append(event)
        for packet in self._machine.feed(event):
            if isinstance(packet, Packet):
                self._packet(packet)
            elif isinstance(packet, Fault):
                self._lost(packet)

    def finish(self) -> Audit:
        """End the capture and return the audit."""
        jitter = quantile(self._scatter, 0.95) or 0
        lean = {value: quantile(counts, 0.5) or 0 for value, counts in self._leans.items()}
        # If the capture sees one polarity late, ones and zeros are unequal by the same amount. If the station sends
        # unequal halves, the amounts can differ.
        alike = abs(lean[1] - lean[0]) <= 2 * jitter + US and self._leans[0]
        asymmetry = abs(lean[1]) if alike else 0
        allowed = {
            "one half": jitter + asymmetry // 2,
            "one difference": 2 * jitter + asymmetry,
            "zero half": jitter + asymmetry // 2,
        }
        self._rules.finish()
        findings = tuple(
            self._tallies[rule.name].finding(allowed.get(rule.name, jitter if rule.is_time else 0)) for rule in RULES
        )
        return Audit(findings, jitter, asymmetry, self._packets, self._losses)

    def _lost(self, fault: Fault) -> None:
        self._losses += 1
        self._rules.lost(power_off=fault.kind is FaultKind.LONG and (fault.duration or 0) >= POWER_OFF)
        while self._bits and self._bits[0].start < fault.end:
            self._bits.popleft()

    def _packet(self, packet: Packet) -> None:
        self._packets += 1
        own = [bit for bit in self._bits if bit.start >= packet.start]
        self._bits.clear()
        for bit in own:
            self._bit(bit)
        for one, other in zip(own, own[1:]):
            if one.value and other.value:
                self._scatter[abs(one.first + one.last - other.first - other.last)] += 1
        instructions = [one for one in self._instructions.feed(packet) if isinstance(one, Instruction)]
        start_bit = own[-(9 * len(packet.data) + 1)].start
        self._rules.packet(packet, start_bit, instructions)

    def _bit(self, bit: Bit) -> None:
        first, last, at = bit.first, bit.last, bit.start
        half = self._tallies["one half" if bit.value else "zero half"]
        half.add(first, at)
        half.add(last, at + first)
        if bit.value:
            self._tallies["one difference"].add(abs(first - last), at)
        else:
            self._tallies["zero total"].add(first + last, at)
        if first + last < 300 * US:
            self._leans[bit.value][first - last] += 1


def audit(edges: Iterable[Edge]) -> Audit:
    """Check a capture against the rules for stations.

    First the scatter of the capture is measured: the difference between neighbouring one-bits. A value out of bounds by
    no more than that is unclear, not broken. A station whose own bits scatter looks like a capture that scatters. If a
    capture sees one polarity late, the halves of ones and zeros differ by the same amount; this is allowed for too.
    With a station that sends unequal halves, the amounts differ.

    :param edges: the level changes of the capture.
    :raises HalfbitError: if a value is not an edge.
    """
    machine = StationAudit()
    for event in bits(half_bits(edges, WIDE), WIDE):
        machine.feed(event)
    return machine.finish()
