"""Station rules about packets: their times, their order and how often they are sent."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..event import Packet
from ..instruction import (
    AccessoryAddress,
    Address,
    BinaryStateLong,
    BinaryStateShort,
    Context,
    CvAccess,
    DigitalDecoderReset,
    ExtendedAccessoryAddress,
    FactoryReset,
    FunctionExpansion,
    Instruction,
    LongAddress,
    PagePreset,
    RegisterAccess,
    ShortAddress,
)
from .rules import RULES, Finding, Rule, Unit

__all__ = ["PacketAudit"]

_RESET = b"\0\0\0"
_PACKETS_HELD = 10  # S-9.2.1 C
_HELD_BY_TIME = range(100, 128)  # S-9.2 B
_HELD_BY_COUNT = range(112, 128)  # S-9.2.1 C
_TIME_HELD = 20_000_000


class _Score:
    """The counts for one rule."""

    def __init__(self, rule: Rule) -> None:
        self.rule = rule
        self.kept = self.broken = self.unclear = 0
        self.worst: tuple[int, int] | None = None  # value and time

    def add(self, value: int, at: int, sure: bool = True, allowed: int = 0) -> None:
        """Note a value in the rule's unit (times in ns).

        :param sure: False if packets may have been missed; a value out of bounds is then unclear.
        :param allowed: the value may be out of bounds by this much before the rule counts as broken.
        """
        miss = self.rule.misses(value)
        if miss == 0:
            self.kept += 1
        elif sure and miss > allowed:
            self.broken += 1
        else:
            self.unclear += 1
            return
        lowest = self.rule.least is not None
        if self.worst is None or (value < self.worst[0] if lowest else value > self.worst[0]):
            self.worst = value, at

    def finding(self, allowed: int) -> Finding:
        """The finding of this rule."""
        value, at = self.worst or (None, None)
        return Finding(self.rule, self.kept, self.broken, self.unclear, value, at, allowed)


@attrs.define(slots=True)
class _Run:
    """A run: the same packet several times in a row."""

    data: bytes
    instruction: Instruction | None  # None for resets
    count: int
    at: int
    #: False if part of the signal was lost in the run or next to it.
    sure: bool
    #: True if the page register was written before it, so this is paged mode.
    paged: bool = False


@attrs.define(slots=True)
class _Sent:
    """A state that must be sent at least twice."""

    value: object
    count: int
    at: int
    losses: int


class PacketAudit:
    """Checks the rules about packets: packets in, findings out."""

    def __init__(self) -> None:
        self._scores = {rule.name: _Score(rule) for rule in RULES}
        self._losses = 0
        self._before: int | None = None  # start bit of the previous packet, ns
        self._end: int | None = None  # end of the previous packet, ns, if nothing was lost since
        self._ends: dict[Address, int] = {}
        self._reset: int | None = None  # end of the last broadcast reset, ns
        self._since_reset: int | None = None  # packets since the last reset of any decoder
        self._since_power: int | None = 0
        self._power_seen = False
        self._runs: list[_Run] = []  # the last two
        self._paged = False
        self._sent: dict[tuple[str, Address, int], _Sent] = {}

    def lost(self, *, power_off: bool) -> None:
        """Note that part of the signal was lost.

        :param power_off: True if the rails had no power.
        """
        self._losses += 1
        self._end = None
        if self._runs:
            self._runs[-1].sure = False
        if power_off:
            self._end_sequence(complete=False)
            self._since_power, self._power_seen = 0, True
            self._before = None

    def packet(self, packet: Packet, start_bit: int, instructions: Sequence[Instruction]) -> None:
        """Take the next packet.

        :param start_bit: the time when its packet start bit began, ns.
        """
        one = instructions[0]
        service = one.context is Context.SERVICE and one.needs_repeat
        self._times(packet, start_bit, one, service)
        self._hold_off(packet, one, service)
        self._sequence(packet, one, service)
        for instruction in instructions:
            self._repeats(instruction, packet.end)
        self._end = packet.end

    def finish(self, jitter: int) -> dict[str, Finding]:
        """End the capture and return the findings by rule name.

        :param jitter: the scatter of the capture, ns.
        """
        self._end_sequence(complete=False)
        for key, sent in self._sent.items():
            self._scores[key[0]].add(sent.count, sent.at, sure=False)
        return {
            name: score.finding(jitter if score.rule.unit in (Unit.US, Unit.MS) else 0)
            for name, score in self._scores.items()
        }

    def _times(self, packet: Packet, start_bit: int, one: Instruction, service: bool) -> None:
        scores, whole = self._scores, self._end == packet.start
        if whole:  # the whole preamble was seen
            scores["long preamble" if service else "preamble"].add(packet.preamble, packet.start)
        if self._before is not None:
            scores["packet rate"].add(start_bit - self._before, self._before, sure=whole)
        self._before = start_bit
        key = _decoder(one.address)
        if key is not None and not service:
            if key in self._ends:
                scores["same decoder"].add(start_bit - self._ends[key], self._ends[key])
            self._ends[key] = packet.end

    def _hold_off(self, packet: Packet, one: Instruction, service: bool) -> None:
        first, end = packet.data[0], packet.end
        if isinstance(one, DigitalDecoderReset):
            self._since_reset = 0
            if packet.data == _RESET:
                self._reset = end
            return
        if service:
            return
        if self._reset is not None:
            if first in _HELD_BY_TIME:
                self._scores["hold-off 20 ms"].add(end - self._reset, self._reset)
            elif end - self._reset < _TIME_HELD:
                self._scores["hold-off 20 ms"].kept += 1
        if self._since_reset is not None:
            if first in _HELD_BY_COUNT:
                self._scores["hold-off 10 packets"].add(self._since_reset, end)
            elif self._since_reset < _PACKETS_HELD:
                self._scores["hold-off 10 packets"].kept += 1
            self._since_reset += 1

    # Service mode

    def _sequence(self, packet: Packet, one: Instruction, service: bool) -> None:
        if service and self._since_power is not None:
            self._scores["power on"].add(self._since_power, packet.end, sure=self._power_seen)
            self._since_power = None
        elif self._since_power is not None:
            self._since_power += 1
        if not service and packet.data != _RESET:
            self._end_sequence(complete=True)
            return
        run = self._runs[-1] if self._runs else None
        if run is not None and run.data == packet.data:
            run.count += 1
            return
        new = _Run(packet.data, one if service else None, 1, packet.end, sure=self._end == packet.start)
        if run is not None:
            self._closed(run, after=new)
        if service:
            before = run.count if run is not None and run.instruction is None else 0
            sure = new.sure and (run is None or run.sure)
            self._scores["resets before"].add(before, packet.end, sure)
        self._runs = [*self._runs[-1:], new]

    def _end_sequence(self, *, complete: bool) -> None:
        """End a service mode sequence: another packet came, the power went off or the capture ended."""
        if self._runs:
            self._runs[-1].sure &= complete
            self._closed(self._runs[-1], after=None)
        self._runs = []
        self._paged = False

    def _closed(self, run: _Run, after: _Run | None) -> None:
        """End a run. Check its length, and the recovery time after the run before it."""
        scores, at = self._scores, run.at
        if run.instruction is None:
            if len(self._runs) > 1 and _writes(self._runs[-2].instruction):
                self._recovered(self._runs[-2], run.count, run.sure and self._runs[-2].sure)
            return
        sure = run.sure and (after is None or after.sure)
        run.paged = self._paged
        not_paged = isinstance(run.instruction, RegisterAccess) and not self._paged
        if not _writes(run.instruction):
            scores["register verifies" if not_paged else "verifies"].add(run.count, at, sure)
            return
        scores["writes"].add(run.count, at, sure)
        if _sets_page(run.instruction):
            self._paged = isinstance(run.instruction, RegisterAccess)
        if after is None or after.instruction is not None:  # no resets follow
            self._recovered(run, 0, sure)

    def _recovered(self, run: _Run, resets: int, sure: bool) -> None:
        """Check the recovery after a run. Writes after the fifth count as recovery, except page register writes."""
        one = run.instruction
        if _sets_page(one):
            self._scores["page recovery"].add(resets, run.at, sure)
            return
        first = isinstance(one, RegisterAccess) and one.register == 1 and not run.paged
        self._scores["address recovery" if first else "recovery"].add(max(run.count - 5, 0) + resets, run.at, sure)

    # States that must be sent at least twice

    def _repeats(self, one: Instruction, at: int) -> None:
        if isinstance(one, FunctionExpansion) and one.first in (13, 21):
            self._state("functions twice", one.address, one.first, one.states, at)
        elif isinstance(one, (BinaryStateShort, BinaryStateLong)):
            self._state("binary states twice", one.address, one.number, one.state, at)
            long = isinstance(one, BinaryStateLong)
            if 1 <= one.number <= 127:
                self._scores["binary short form"].add(int(long), at)

    def _state(self, rule: str, address: Address, number: int, value: object, at: int) -> None:
        sent = self._sent.get((rule, address, number))
        if sent is not None and sent.value == value:
            sent.count += 1
            return
        if sent is not None:
            self._scores[rule].add(sent.count, sent.at, sure=sent.losses == self._losses)
        self._sent[rule, address, number] = _Sent(value, 1, at, self._losses)


def _decoder(address: Address) -> Address | None:
    """The decoder of an address; ``None`` if the address is for several decoders or for no decoder."""
    if isinstance(address, AccessoryAddress):
        return AccessoryAddress(address.board)
    return address if isinstance(address, (ShortAddress, LongAddress, ExtendedAccessoryAddress)) else None


def _sets_page(one: Instruction | None) -> bool:
    return one is not None and one.new_page is not None


def _writes(one: Instruction | None) -> bool:
    return isinstance(one, (PagePreset, FactoryReset)) or (isinstance(one, CvAccess) and one.writes is True)
