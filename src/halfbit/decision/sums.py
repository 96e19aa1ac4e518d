"""Decision by sum: both halves of a bit together, against the middle of what ones and zeros of this station last.

A loop that looks at the level every so often sees each change up to one period late. The time between two changes is then
wrong by up to a period either way, and a half of a one and a half of a zero are about 42 us apart: beyond periods of 21 us
single halves cannot be told apart. Whole bits are 84 us apart: the change in their middle cancels out, and they can be told
apart up to periods of 42 us.

What is lost is the phase: which change starts a bit showed in single halves. So two lanes run side by side, one for each
phase. The wrong one reads nonsense, which one time in some hundreds is framed as a packet is, with an error byte that agrees.
So a packet counts only if all its changes fit its bits: with the true bits, no change is seen more than one period later or
earlier than any other, counted from where the bits say it should be. In the wrong lane a bit between a one and a zero is in
truth half of each; whichever it is taken for, some 40 us are wrong from there on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate

import attrs

from ..event import Cutout, Packet, PacketEvent
from ..ledger import Ledger, long_as_cutout
from ..limits import US, Limits
from .guess import guessed, ones_of
from .lane import Lane
from .lengths import NOMINAL, PREAMBLE, Lengths, Piece, bits_of, fits, learned, piece_of, whole_piece

__all__ = ["SumReceiver"]

#: Durations from which lengths are learned: some twelve packets.
FIRST = 1500
#: Durations without a packet after which lengths are taken to be wrong. Twice as many each time that does not help.
NO_PACKET = 3000
#: Of so many packets one teaches; after so many these are learned from.
SOME = 4
MANY = 64
#: Fewest packets to learn from.
FEWEST = 2
#: A zero's half beyond a one's, to begin with, ns: the middle of what stations send (S-9.1 A, table 1).
BEYOND = 42 * US
#: How badly lengths that a single packet taught may fit another one, beside latency, ns.
ROUGH = 15 * US
#: By how much more than they may changes are late, as long as lengths are not exact, ns.
TOLERANCE = 5 * US
#: Durations that are kept: a packet of the longest kind lasts 274 half-bits.
KEPT = 2048
#: Half-bits of a byte, and of a preamble, and those that may come until a packet is given.
PER_BYTE = 18
BACK = 80


@attrs.frozen
class _Held:
    """A packet, and the lane that read it."""

    packet: Packet
    turn: int


class SumReceiver:
    """Durations in; packets, and a fault for each stretch that was lost, out, by sums.

    A packet comes out with its end bit, or if the other phase is amid a packet then, when that has ended too. Memory and
    work for one duration are bounded.

    :param start: the time of the first change, ns.
    """

    def __init__(self, limits: Limits, start: int = 0) -> None:
        self._limits = limits
        self._latency = limits.latency_max + TOLERANCE
        #: How long half-bits are, once some were read.
        self.lengths: Lengths | None = None
        self._lanes: tuple[Lane, ...] = ()
        self._turn = 0
        self._halves: list[int] = []  # the last durations, ns
        self._reach = Ledger.history(limits)
        self._start = start
        self._settled = start  # how far the events given reach
        self._given = 0  # the lane that gave the last packet
        self._held: _Held | None = None
        self._packets = 0
        self._pieces: list[Piece] = []
        self._since, self._again = 0, NO_PACKET  # durations since the last packet or guess, and after how many to guess
        #: The time of the last change, ns.
        self.now = start
        # For the packet begun in each lane: own strain, other's strain, and the past, at its start bit.
        self._marks = [(0, 0, 0), (0, 0, 0)]

    def feed(self, duration: int) -> list[PacketEvent]:
        """Take one duration, ns."""
        self.now += duration
        if self._lanes is not None:
            return self._take(duration, self._lanes)
        self._halves.append(duration)
        if self.lengths is None:
            return self._begin() if len(self._halves) >= FIRST else []
        if len(self._halves) > 2 * KEPT:
            del self._halves[:-KEPT]
        self._since += 1
        if self._since > self._again:
            self._guess_again()
        return self._read()

    def feed_many(self, durations: Sequence[int], scale: int = 1) -> list[PacketEvent]:
        """Take many durations, each of so many counts of ``scale`` ns."""
        events: list[PacketEvent] = []
        for duration in durations:
            events += self.feed(duration * scale)
        return events

    def finish(self) -> list[PacketEvent]:
        """The capture is over: a packet that has begun is cut, a loss ends here."""
        events = self._begin() if self.lengths is None else []
        if self._held is not None:
            events += self._give(self._held)
        for lane in self._lanes:
            lane.finish(self.now)
        # Before the first packet no lane is known to be right: the one that lost less speaks.
        lane = self._lanes[self._given]
        if self._settled == self._start:
            lane = min(self._lanes, key=lambda lane: 0 if lane.lost is None else lane.lost.end - lane.lost.start)
        return events + self._losses(lane, self.now)

    def _begin(self) -> list[PacketEvent]:
        """Learn the lengths from what has come so far, then read it."""
        durations, self._halves, self.now = self._halves, [], self._start
        self.lengths = self._guess(durations) or NOMINAL
        self._lanes = tuple(Lane(self._limits, self.lengths, self._start) for _ in range(2))
        return self.feed_many(durations)

    def _guess(self, durations: Sequence[int]) -> Lengths | None:
        lengths = first_lengths(durations, self._limits)
        found = None if lengths else guessed(durations, self._limits, self._limits.latency_max)
        return lengths if found is None else found.lengths

    def _guess_again(self) -> None:
        """No packet for long: the lengths may be wrong."""
        self._since, self._again = 0, 2 * self._again
        lengths = self._guess(self._halves[-FIRST:])
        if lengths is not None:
            self.lengths = lengths
            for lane in self._lanes:
                lane.learn(lengths)

    def _read(self) -> list[PacketEvent]:
        """Take the last two durations as a bit of the lane whose turn it is."""
        if len(self._halves) < 2:
            return []
        self._turn = turn = 1 - self._turn
        lane = self._lanes[turn]
        packet = lane.feed(self._halves[-2], self._halves[-1], self.now, self._halves)
        if packet is not None and lane.opened >= self._settled:
            return self._offer(packet, turn)
        return [] if self._held is None or self._undecided(self._held) else self._give(self._held)

    def _offer(self, packet: Packet, turn: int) -> list[PacketEvent]:
        """A lane has read a packet."""
        lane = self._lanes[turn]
        if not self._fits(packet):
            lane.refuse(packet)
            return []
        held, self._held = self._held, _Held(packet, turn)
        events: list[PacketEvent] = []
        if held is not None:
            if held.packet.end <= lane.opened or held.packet.data == packet.data:
                events = self._give(held)
            else:
                # Both lanes' packets fit: nothing tells which one was sent.
                self._held = None
                lane.refuse(packet)
                self._lanes[held.turn].refuse(held.packet)
                return []
        if self._settled > lane.opened:
            self._held = None
        elif self._held is not None and not self._undecided(self._held):
            events += self._give(self._held)
        return events

    def _undecided(self, held: _Held) -> bool:
        """Whether the other lane may still read a packet in place of this one."""
        other = self._lanes[1 - held.turn]
        return other.inside and other.opened < held.packet.end

    def _fits(self, packet: Packet) -> bool:
        """Whether all changes of the packet that ends with the last duration fit its bits."""
        assert self.lengths is not None
        bits = bits_of(packet.data)
        durations = self._halves[-2 * len(bits) :]
        if packet.end < self.now:  # its last half runs into a cutout
            durations[-1] -= self.now - packet.end
        return len(durations) == 2 * len(bits) and fits(bits, durations, self.lengths, self._latency)

    def _give(self, held: _Held) -> list[PacketEvent]:
        self._held = None
        self._since, self._again = 0, NO_PACKET
        packet, lane = held.packet, self._lanes[held.turn]
        events = self._losses(lane, packet.start)
        start = max(packet.start, self._settled) if events else self._settled
        self._settled = packet.end
        self._given = held.turn
        self._learn(packet)
        events.append(Packet(packet.data, packet.preamble, start, packet.end))
        return events

    def _losses(self, lane: Lane, end: int) -> list[PacketEvent]:
        """What the lane lost since the last packet, without what the other lane made of it."""
        lost = lane.lost
        for each in self._lanes:
            each.lost = None
        if lost is None or min(lost.end, end) <= self._settled:
            return []
        start = max(lost.start, self._settled)
        # With a cutout the phase may change, and the lane that goes on knows nothing of the packet before.
        after_packet = start == self._settled > self._start
        self._settled = min(lost.end, end)
        if isinstance(lost, Cutout) or after_packet and long_as_cutout(self._settled - start, self._limits):
            return [Cutout(start, self._settled)]
        return [attrs.evolve(lost, start=start, end=self._settled, at=max(lost.at, start))]

    def _learn(self, packet: Packet) -> None:
        """Some packets of many teach how long half-bits are."""
        self._packets += 1
        if self._packets % SOME or self.lengths is None:
            return
        recent = self._halves[-BACK - PER_BYTE * len(packet.data) :]
        times = list(accumulate(recent, initial=self.now - sum(recent)))
        self._pieces += whole_piece(packet.data, packet.preamble, packet.end, times)
        if self._packets % MANY == 0:
            new = learned(self._pieces, self._latency)
            self._pieces.clear()
            if new is not None:
                self.lengths = self.lengths.towards(new)
                for lane in self._lanes:
                    lane.learn(self.lengths)


def first_lengths(durations: Sequence[int], limits: Limits) -> Lengths | None:
    """The lengths behind some hundreds of durations; None if no packet can be read by sum.

    Each packet that a lane reads says what the lengths would be. The true ones fit most of the others.
    """
    latency = limits.latency_max + TOLERANCE
    one = ones_of(durations, latency, 1)[0]
    if not one:
        return None
    read = list(_read_by(Lengths(one, one + BEYOND, one + BEYOND), durations, limits))
    best: list[Piece] = []
    for piece in read:
        lengths = learned([piece], latency)
        voters = [other for other in read if lengths is not None and _fit(other, lengths, latency + ROUGH)]
        best = max(best, voters, key=len)
    lengths = learned(best, latency) if len(best) >= FEWEST else None
    return lengths and learned([piece for piece in best if _fit(piece, lengths, latency)], latency)


def _read_by(lengths: Lengths, durations: Sequence[int], limits: Limits) -> Iterator[Piece]:
    """What both lanes take for packets, with the ones before it."""
    lanes = [Lane(limits, lengths, 0), Lane(limits, lengths, 0)]
    reach, now = Ledger.history(limits), 0
    for at in range(1, len(durations)):
        now += durations[at]
        packet = lanes[at & 1].feed(durations[at - 1], durations[at], now, durations[max(at - reach, 0) : at + 1])
        if packet is not None:
            bits = [1] * min(packet.preamble - 1, PREAMBLE) + bits_of(packet.data)
            start = at + 1 - 2 * len(bits)
            if start >= 0:
                yield piece_of(bits, durations[start : at + 1])


def _fit(piece: Piece, lengths: Lengths, latency: int) -> bool:
    return fits([halves[0][0] for _, halves in piece[::2]], [duration for duration, _ in piece], lengths, latency)
