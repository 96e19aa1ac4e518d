"""How a station keeps to the rules: one capture against all of them, its own inexactness allowed for."""

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
from .rules import RULES, Audit, Finding, Rule

__all__ = ["StationAudit", "audit"]

#: Wider than any station may send, so that bits out of bounds can be seen; a wrong reading does not pass the error
#: detection byte. Packets longer than those of S-9.2.1 are read too.
WIDE = attrs.evolve(
    RECEIVE, one_min=44 * US, one_max=74 * US, one_difference=None, zero_min=80 * US, zero_total_max=None
)

#: How many bits of a long run of ones are kept.
KEPT_BITS = 2048

#: No station's half-bit is as long (S-9.1 A: 9900 us); the rails had no power.
POWER_OFF = 30_000_000

_TIMED = ("one half", "one difference", "zero half", "zero total")


class _Widths:
    """How often which duration came, and where the extremes were."""

    def __init__(self) -> None:
        self.counts: Counter[int] = Counter()
        self.places: dict[bool, tuple[int, int]] = {}  # of the least and the most: value and time

    def add(self, value: int, at: int) -> None:
        if value > 200 * US:
            value = value // US * US  # stretched zeros: to the us, so that memory stays flat
        self.counts[value] += 1
        least, most = self.places.get(False), self.places.get(True)
        if least is None or value < least[0]:
            self.places[False] = value, at
        if most is None or value > most[0]:
            self.places[True] = value, at

    def share(self, part: float) -> int:
        """The value below which that part of all values lies."""
        left = part * sum(self.counts.values())
        for value in sorted(self.counts):
            left -= self.counts[value]
            if left <= 0:
                return value
        return 0

    def finding(self, rule: Rule, allowed: int) -> Finding:
        """Count the values. Those out of bounds by no more than ``allowed`` are unclear."""
        misses = [(rule.misses(value), number) for value, number in self.counts.items()]
        kept = sum(number for miss, number in misses if miss == 0)
        broken = sum(number for miss, number in misses if miss > allowed)
        unclear = sum(number for _, number in misses) - kept - broken
        if not self.places:
            return Finding(rule)
        worst, at = max(self.places.values(), key=lambda place: _strain(rule, place[0]))
        return Finding(rule, kept, broken, unclear, worst, at, allowed)


def _strain(rule: Rule, value: int) -> int:
    """How far a value leans towards a bound or beyond it."""
    below = -(10**12) if rule.least is None else rule.least - value
    return max(below, -(10**12) if rule.most is None else value - rule.most)


class StationAudit:
    """Bits and their faults in; the audit at the end."""

    def __init__(self) -> None:
        self._widths = {name: _Widths() for name in _TIMED}
        # By how much a whole one-bit differs from the one before it: whatever widths a station has, it keeps to them
        # from one bit to the next, so this is the capture's.
        self._scatter = _Widths()
        # First half less last half: of one-bits, and of zero-bits that are not stretched.
        self._leans = {1: _Widths(), 0: _Widths()}
        self._machine = PacketMachine(WIDE)
        self._instructions = InstructionMachine()
        self._rules = PacketAudit()
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
        """The capture is over; what it says."""
        jitter = self._scatter.share(0.95)
        lean = {value: widths.share(0.5) for value, widths in self._leans.items()}
        # A capture that sees one polarity late leans ones and zeros alike; a station need not.
        alike = abs(lean[1] - lean[0]) <= 2 * jitter + US and self._leans[0].counts
        asymmetry = abs(lean[1]) if alike else 0
        allowed = {
            "one half": jitter + asymmetry // 2,
            "one difference": 2 * jitter + asymmetry,
            "zero half": jitter + asymmetry // 2,
            "zero total": jitter,
        }
        found = self._rules.finish(jitter)
        findings = tuple(
            self._widths[rule.name].finding(rule, allowed[rule.name]) if rule.name in allowed else found[rule.name]
            for rule in RULES
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
                self._scatter.add(abs(one.first + one.last - other.first - other.last), other.start)
        instructions = [one for one in self._instructions.feed(packet) if isinstance(one, Instruction)]
        start_bit = own[-(9 * len(packet.data) + 1)].start
        self._rules.packet(packet, start_bit, instructions)

    def _bit(self, bit: Bit) -> None:
        first, last, at = bit.first, bit.last, bit.start
        if bit.value:
            self._widths["one half"].add(first, at)
            self._widths["one half"].add(last, at + first)
            self._widths["one difference"].add(abs(first - last), at)
        else:
            self._widths["zero half"].add(first, at)
            self._widths["zero half"].add(last, at + first)
            self._widths["zero total"].add(first + last, at)
        if first + last < 300 * US:
            self._leans[bit.value].add(first - last, at)


def audit(edges: Iterable[Edge]) -> Audit:
    """Hold a capture against the rules for stations.

    The capture's own scatter is measured first: by how much one one-bit differs from the next. A value out of bounds by
    no more than that is unclear, not broken. A station whose own bits scatter looks like a capture that scatters. A
    capture that sees one polarity late makes ones and zeros lean alike; a station with unequal halves does not.

    :raises HalfbitError: if a value is not an edge.
    """
    machine = StationAudit()
    for event in bits(half_bits(edges, WIDE), WIDE):
        machine.feed(event)
    return machine.finish()
