"""Station rules about packets: their times, their order and how often they are sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from ..event import Packet
from ..instruction import (
    Address, BinaryStateLong, BinaryStateShort, Context, CvAccess, DigitalDecoderReset, FactoryReset, FunctionExpansion,
    Instruction, PagePreset, RegisterAccess,
)  # fmt: skip
from ..instruction.context import HOLD, PACKET_TIMES, RESET, WAIT_PACKETS, WAIT_TIME, decoder_of
from .rules import Tally


@attrs.define(slots=True)
class _Run:
    """A run: the same packet several times in a row."""

    data: bytes
    instruction: Instruction | None  # None for resets
    count: int
    at: int
    sure: bool  #: False if part of the signal was lost in the run or next to it.
    paged: bool = False  #: True if the page register was written before it, so this is paged mode.


@attrs.define(slots=True)
class _Sent:
    """A state that must be sent at least twice."""

    value: object
    count: int
    at: int
    losses: int


class PacketAudit:
    """Checks the rules about packets.

    :param tallies: by name of the rule; this counts in those of the rules about packets.
    """

    def __init__(self, tallies: Mapping[str, Tally]) -> None:
        self._tallies = tallies
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
        self._after_reset(packet, one, service)
        self._sequence(packet, one, service)
        for instruction in instructions:
            self._repeats(instruction, packet.end)
        self._end = packet.end

    def finish(self) -> None:
        """End the capture."""
        self._end_sequence(complete=False)
        for (rule, *_), sent in self._sent.items():
            self._tallies[rule].add(sent.count, sent.at, sure=False)

    def _times(self, packet: Packet, start_bit: int, one: Instruction, service: bool) -> None:
        tallies, whole = self._tallies, self._end == packet.start
        if whole:  # the whole preamble was seen
            tallies["long preamble" if service else "preamble"].add(packet.preamble, packet.start)
        if self._before is not None:
            tallies["packet rate"].add(start_bit - self._before, self._before, sure=whole)
        self._before = start_bit
        key, everyone = decoder_of(one.address)
        if key is not None and key != everyone and not service:
            if key in self._ends:
                tallies["same decoder"].add(start_bit - self._ends[key], self._ends[key])
            self._ends[key] = packet.end

    def _after_reset(self, packet: Packet, one: Instruction, service: bool) -> None:
        first, end, reset, since = packet.data[0], packet.end, self._reset, self._since_reset
        if isinstance(one, DigitalDecoderReset):
            self._since_reset = 0
            if packet.data == RESET:
                self._reset = end
        elif not service:
            time, count = self._tallies["20 ms after reset"], self._tallies["10 packets after reset"]
            if reset is not None and first in WAIT_TIME:
                time.add(end - reset, reset)
            elif reset is not None and end - reset < HOLD:
                time.keep()
            if since is not None and first in WAIT_PACKETS:
                count.add(since, end)
            elif since is not None and since < PACKET_TIMES:
                count.keep()
            self._since_reset = None if since is None else since + 1

    # Service mode

    def _sequence(self, packet: Packet, one: Instruction, service: bool) -> None:
        if service and self._since_power is not None:
            self._tallies["power on"].add(self._since_power, packet.end, sure=self._power_seen)
            self._since_power = None
        elif self._since_power is not None:
            self._since_power += 1
        if not service and packet.data != RESET:
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
            self._tallies["resets before"].add(before, packet.end, sure)
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
        tallies, at = self._tallies, run.at
        if run.instruction is None:
            if len(self._runs) > 1 and _writes(self._runs[-2].instruction):
                self._recovered(self._runs[-2], run.count, run.sure and self._runs[-2].sure)
            return
        sure = run.sure and (after is None or after.sure)
        run.paged = self._paged
        not_paged = isinstance(run.instruction, RegisterAccess) and not self._paged
        if not _writes(run.instruction):
            tallies["register verifies" if not_paged else "verifies"].add(run.count, at, sure)
            return
        tallies["writes"].add(run.count, at, sure)
        if _sets_page(run.instruction):
            self._paged = isinstance(run.instruction, RegisterAccess)
        if after is None or after.instruction is not None:  # no resets follow
            self._recovered(run, 0, sure)

    def _recovered(self, run: _Run, resets: int, sure: bool) -> None:
        """Check the recovery after a run. Writes after the fifth count as recovery, except page register writes."""
        one = run.instruction
        if _sets_page(one):
            self._tallies["page recovery"].add(resets, run.at, sure)
            return
        first = isinstance(one, RegisterAccess) and one.register == 1 and not run.paged
        self._tallies["address recovery" if first else "recovery"].add(max(run.count - 5, 0) + resets, run.at, sure)

    # States that must be sent at least twice

    def _repeats(self, one: Instruction, at: int) -> None:
        if isinstance(one, FunctionExpansion) and one.first in (13, 21):
            self._state("functions twice", one.address, one.first, one.states, at)
        elif isinstance(one, (BinaryStateShort, BinaryStateLong)):
            self._state("binary states twice", one.address, one.number, one.state, at)
            if 1 <= one.number <= 127:
                self._tallies["binary short form"].add(int(isinstance(one, BinaryStateLong)), at)

    def _state(self, rule: str, address: Address, number: int, value: object, at: int) -> None:
        sent = self._sent.get((rule, address, number))
        if sent is not None and sent.value == value:
            sent.count += 1
            return
        if sent is not None:
            self._tallies[rule].add(sent.count, sent.at, sure=sent.losses == self._losses)
        self._sent[rule, address, number] = _Sent(value, 1, at, self._losses)


def _sets_page(one: Instruction | None) -> bool:
    return one is not None and one.new_page is not None


def _writes(one: Instruction | None) -> bool:
    return isinstance(one, (PagePreset, FactoryReset)) or (isinstance(one, CvAccess) and one.writes is True)
