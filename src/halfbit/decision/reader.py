"""Finds the likeliest bits for a row of changes, when single half-bits cannot be told apart.

A capture shows when each change was *seen*: at its true time or up to ``late`` after it. A reading of the bits gives
the distances between the true times. So each change must have happened at most ``late`` before it was seen, and at
the right distance after the change before. Together these narrow down the true times. After the ones of a preamble
they are known to a few microseconds. The halves of a one and a zero differ by about 40 us. So a wrong reading soon
needs a change that was seen before it happened, or too late, and is dropped.

Several readings are followed in parallel. Each has a cost (:mod:`.costs`). If a change fits no half-bit that may
follow, the reading assumes an error, which adds to its cost: an extra change; one or two missing changes; a change
seen early or late; a stretched zero. Readings that break the framing (:mod:`.steps`) or end with a wrong error
detection byte are dropped.

A packet is given if no other packet was nearly as likely, if no reading with a wrong error detection byte was much
likelier, and if it does not assume too many errors.
"""

from __future__ import annotations

from collections import deque
from functools import reduce
from math import inf, log
from operator import xor

from ..ledger import CUTOUT_BEGINS, CUTOUT_MAX, CUTOUT_MIN
from ..limits import US, Limits
from .costs import (
    ADRIFT, CHANCE, CLEAR, COST, COST_HALF_STRETCHED, MANY, NARROW, POLLED, REPEATED, RIVAL, RIVAL_ONE_EDGE,
    SURELY, How, costs_of,
)  # fmt: skip
from .lengths import SLACK, SOME, Lengths
from .ones import Ones
from .paths import (
    LOGS, Found, Reading, Trail, and_assumed, and_dropped, and_found, by_cost, distinct, has, to_follow, widened,
)  # fmt: skip
from .steps import END, RUN, WITHIN_END_BIT, Step, Steps

__all__ = ["Found", "SequenceReader"]

#: Number of one-halves in a row after which a preamble may have begun, even if the best reading is inside a packet.
BEGUN = 8
#: Number of one-halves at its start that may be halves of a zero. They would be wrong about the lateness.
OUTSIDE = 2
#: How much more every other packet must cost than the best one, nepers.
MARGIN = 4.0
#: The same for captures of one edge with stretched zeros, because many readings fit these; and for long turns.
MARGIN_ONE_EDGE = 5.0
MARGIN_TURNS = 4.75
#: A change narrows down the possible lateness, which adds to the cost. If it adds at least the cost of a late change
#: minus this, nepers, the change may also be late.
PERHAPS = 3.0
#: Number of changes after which a packet is decided, even if other readings may still become packets.
WAIT = 24
#: Up to this latency, ns, a missing change is considered even if the times fit without it.
EXACT = 8 * US
#: Shortest time, ns, in which a missing change is possible.
TWO = 95 * US
#: ns: longest time between a change and its second record; longest spike; latest that a change can be seen.
DOUBLED = 10 * US
SPIKE = 35 * US
LATEST = 110 * US


class SequenceReader:
    """Takes durations and puts packets into :attr:`found`. Memory, and work per duration, are bounded.

    :param lengths: lengths of the station's half-bits.
    :param late: longest time from a change until it is seen, minus the shortest, ns.
    :param start: the time of the first change, ns.
    :param slack: how far a half-bit may be from these lengths, ns.
    """

    def __init__(self, limits: Limits, lengths: Lengths, late: int, start: int = 0, slack: int = SLACK) -> None:
        #: Half-bits in each duration.
        self._each = 2 if limits.one_edge else 1
        self._late = late + abs(lengths.one_difference) // 2
        self._rare = limits.latency_rare
        self._exact = self._late < EXACT and not self._rare
        # A loop without long turns: no change is late, but after stretched zeros it may seem so.
        self._polled = self._late >= POLLED and not self._rare
        self._need = 2 * limits.preamble_min
        self._shortest, self._too_long = limits.packet_min, 2 << 8 * limits.packet_max
        self._slack = slack * self._each
        #: Packets found so far. The caller removes them.
        self.found: list[Found] = []
        self._unit = self._each * lengths.one
        self._clear: deque[bytes] = deque(maxlen=CLEAR)  # the last packets that were clear and not repeated
        self.restart(start)
        self.learn(lengths)

    def restart(self, start: int, after_packet: bool = False) -> None:
        """Start again at a change, and forget everything before it.

        :param start: time of the change, ns.
        :param after_packet: True if a packet ended there. Its end bit counts for the next preamble (S-9.2 A).
        """
        #: The time of the last change, ns.
        self.now: int = start
        self._ones = Ones(self._each, self._late, self._unit, self._slack, start)
        self._readings: list[Reading] = [(0.0, RUN, 2, start - self._late, start, Trail(start))] if after_packet else []
        self._before: list[Reading] = []  # the readings before the last change
        self._duration = self._waited = 0  # the last one; changes since a packet could be decided
        self._mixed = False  # True if two readings may differ only in what they assume
        self._dropped = SURELY  # least cost above the best of any reading dropped since the last packet
        self._refused = (inf, start)  # the lowest cost with a wrong error detection byte, and its time
        self.found.clear()

    def learn(self, lengths: Lengths) -> None:
        """Continue with other lengths."""
        each, late, slack = self._each, self._late, self._slack
        self._stretches = min(lengths.stretched / MANY, 1.0)
        # With one edge, many stretched zeros make many readings possible.
        self._ambiguous = each > 1 and lengths.stretched > MANY
        self._margin = MARGIN_ONE_EDGE if self._ambiguous else MARGIN_TURNS if self._rare else MARGIN
        self._one, self._unit = lengths.one, each * lengths.one
        self._costs = costs_of(self._rare, late, lengths.stretched)
        self._cheapest = self._costs.cheapest()
        # What a stretched zero costs that ends just where another reading expects a change.
        self._stretched = self._costs.stretched - log(max((late + US) / CHANCE, lengths.alike)) * self._ambiguous
        self._ones.unit = self._unit
        self._steps, self._missed = Steps(each, lengths, slack), Steps(2 * each, lengths, 2 * slack)
        self._missed_twice = Steps(3 * each, lengths, 2 * slack) if each == 1 else None
        self._turns = Steps(5, lengths, 2 * slack) if self._rare and each == 1 else None

    def feed(self, duration: int) -> None:
        """Take one duration, ns."""
        self._duration = duration
        self.now = now = self.now + duration
        early = now - self._late
        self._ones.feed(now, early)
        readings, steps, too_long, mixed = self._readings, self._steps, self._too_long, self._ambiguous
        after: list[Reading] = []
        surprised: list[Reading] = []
        for reading in readings:
            cost, place, value, was_low, was_high, trail = reading
            fits = False
            for least, most, then, shift, bits, ones, _ in steps[place]:
                low, high = was_low + least, was_high + most
                if low > now or high < early:
                    continue
                total, path = cost, trail
                if low >= early and high <= now:
                    fits = True
                else:
                    wide = LOGS[(high - low) // US]
                    high = high if high <= now else now
                    narrower = wide - LOGS[(high - (low if low > early else early)) // US]
                    total += narrower
                    fits = fits or narrower < NARROW
                    if low < early:
                        if narrower < self._costs.late - PERHAPS:
                            low = early
                        else:
                            path = and_assumed(trail, How.LATE)
                if place and then < END:
                    bits |= value << shift
                    if bits < too_long:
                        after.append((total, then, bits, low, high, path))
                else:
                    mixed = True
                    self._leave(after, (total, place, value, low, high, path), then, shift, bits, ones)
            if not fits:
                surprised.append(reading)
                continue
            # Even if a change fits, another may be missing before it, or it may be the end of a stretched zero.
            if self._exact and now - was_low >= 2 * self._unit - self._slack:
                mixed = True
                self._skip(after, reading, self._missed, self._costs.missed, How.MISSED)
            if self._ambiguous:
                self._stretch(after, reading, self._stretched)
        if surprised:
            self._assume(after, surprised)
            mixed = True
        self._readings = self._best_of(after, early, mixed) if len(after) > 1 else after
        self._before, self._mixed = readings, mixed
        if self._ones.count >= BEGUN and (not self._ones.count % BEGUN or self._ones.count == self._need):
            self._begin()
        if self._readings and self._readings[0][5].found:
            self._decide()
        else:
            self._waited = 0
            if len(self._readings) == 1 and self._readings[0][1] == RUN:
                self._dropped = SURELY  # all others ended before this run, so those dropped would have too

    def finish(self) -> None:
        """End of the changes: decide all packets."""
        while self._readings and self._readings[0][5].found:
            self._waited = WAIT
            self._decide()

    def rest(self) -> tuple[int, bool]:
        """Start of the one-bits that last until now, ns; and True if the best reading is inside a packet instead."""
        for _, place, _, _, _, trail in self._readings[:1]:
            if place != RUN:
                return self.now, True
            if not trail.how:
                return trail.run_start, False
        return self._ones.start, False

    def _begin(self) -> None:
        """Start a reading if a preamble may have begun and no reading without errors follows it.

        After an error, a reading may be so wrong about the lateness of the changes that it misses the start bit. So
        after a preamble, each reading allows for all that the changes of this preamble leave possible.
        """
        run = self._ones.count
        _, low, high, _ = self._ones.back(min(run, self._need) // self._each - OUTSIDE)
        if run >= self._need:
            self._readings = [widened(each, low, high) for each in self._readings]
        if any(each[1] == RUN and not each[5].how for each in self._readings):
            return
        best = self._readings[0] if self._readings else None
        trail = Trail(self._ones.start, found=best[5].found if best else ())
        self._readings.append((best[0] + ADRIFT if best else 0.0, RUN, run, low, high, trail))
        self._mixed = True

    def _leave(self, after: list[Reading], reading: Reading, then: int, shift: int, bits: int, ones: int) -> None:
        """Keep a reading that continues a run, starts a packet or ends one."""
        cost, place, value, low, high, trail = reading
        if then == RUN:
            after.append((cost, RUN, value + ones, low, high, trail))
        elif place == RUN:
            if value + ones >= self._need:
                trail = Trail(trail.run_start, min((value + ones) // 2, 255), trail.how, cost, *trail[4:])
                after.append((cost, then, 1 << shift | bits, low, high, trail))
        else:
            # The end bit counts for the next preamble (S-9.2 A).
            end = self.now - ones * self._one
            self._end(after, (cost, RUN, 2 + ones, low, high, trail), value << shift | bits, end, end)

    def _end(self, after: list[Reading], reading: Reading, value: int, end: int, run_start: int) -> None:
        """Keep a reading that ended a packet, unless that is too short or its error detection byte is wrong.

        :param end: end of the end bit, ns.
        """
        cost, trail = reading[0], reading[5]
        data = value.to_bytes(value.bit_length() // 8 + 1, "big")[1:]
        if len(data) < self._shortest:
            return
        if not reduce(xor, data):
            cost -= REPEATED * (data in self._clear)
            found = Found(data, trail.preamble, trail.run_start, end, trail.how, cost - trail.cost, cost)
            after.append((cost, *reading[1:5], and_found(trail, run_start, found)))
        elif cost < self._refused[0] or self.now - self._refused[1] > WAIT * 2 * self._one:
            self._refused = (cost, self.now)

    def _assume(self, after: list[Reading], surprised: list[Reading]) -> None:
        """Keep the readings that the change does not fit, with an assumed error."""
        costs, now, duration = self._costs, self.now, self._duration
        limit = SURELY + min(min(map(by_cost, after), default=inf), surprised[0][0] + costs.late)
        stretched = self._stretched if after else costs.stretched
        for reading in surprised:
            cost, place, _, low, high, trail = reading
            if place == WITHIN_END_BIT:
                self._cut_out(after, reading)
            if cost + self._cheapest > limit:
                continue
            self._stretch(after, reading, stretched)
            self._move_late(after, reading, limit)
            # This change is an extra one.
            extra = cost + (costs.doubled if duration <= DOUBLED else costs.spike)
            if extra <= limit and now < high + 2 * self._unit + self._late:
                after.append((extra, *reading[1:5], and_assumed(trail, How.DOUBLED)))
            if now - low < TWO:
                continue
            # One, two or four changes are missing before it.
            if cost + costs.missed <= limit:
                self._skip(after, reading, self._missed, costs.missed, How.MISSED)
            if self._missed_twice is not None and cost + costs.turn <= limit:
                how = How.TURN if self._rare else How.MISSED
                self._skip(after, reading, self._missed_twice, costs.turn, how)
                if self._turns is not None and cost + costs.turns <= limit:
                    self._skip(after, reading, self._turns, costs.turns, how)
                    self._skip_late(after, reading, self._missed_twice)
        if surprised[0] is not self._readings[0]:
            return
        # The change before was also an extra one, or it was seen so late or early that it was taken for another change.
        for reading in self._before:
            if reading[0] + costs.spike <= limit and duration < SPIKE:
                after.append((reading[0] + costs.spike, *reading[1:5], and_assumed(reading[5], How.SPIKE)))
            if reading[0] + costs.late <= limit:
                self._skip(after, reading, self._missed, costs.late, How.LATE)

    def _stretch(self, after: list[Reading], reading: Reading, cost: float) -> None:
        """Assume that a zero is stretched."""
        now, early = self.now, self.now - self._late
        for step in self._steps[reading[1]]:
            if step.zeros and reading[4] + step.most < early:
                # Of two zeros, either may be the stretched one.
                self._move(after, reading[0] + cost - log(step.zeros), reading, step, early, now, How.STRETCHED)

    def _move_late(self, after: list[Reading], reading: Reading, limit: float) -> None:
        """Assume that the change is seen earlier or later than usual."""
        now, early, rare = self.now, self.now - self._late, self._rare
        cost, place, _, was_low, was_high, _ = reading
        cost += self._costs.late if self._duration >= rare - self._late else self._costs.late_short
        if cost > limit:
            return
        for step in self._steps[place]:
            low, high = was_low + step.least, was_high + step.most
            if high < early and now - low < (rare or LATEST) + self._late or low > now > was_low and not rare:
                self._move(after, cost, reading, step, low, high, How.LATE)

    def _skip(self, after: list[Reading], reading: Reading, steps: Steps, cost: float, how: int) -> None:
        """Assume that changes are missing before this one, or that the change before it is wrong."""
        now, early = self.now, self.now - self._late
        for step in steps[reading[1]]:
            low, high = reading[3] + step.least, reading[4] + step.most
            if low <= now and high >= early:
                inside = max(low, early), min(high, now)
                narrower = LOGS[(high - low) // US] - LOGS[(inside[1] - inside[0]) // US]
                self._move(after, reading[0] + cost + narrower, reading, step, *inside, how)

    def _skip_late(self, after: list[Reading], reading: Reading, steps: Steps) -> None:
        """Assume that two changes were missed in a long turn, and the next was seen late in another turn after it."""
        early, slack = self.now - self._late, self._slack
        for step in steps[reading[1]]:
            low, high = reading[3] + step.least - slack, reading[4] + step.most + slack
            if early - self._rare < high < early:
                self._move(after, reading[0] + self._costs.turn_late, reading, step, low, high, How.TURN | How.LATE)

    def _move(
        self, after: list[Reading], cost: float, reading: Reading, step: Step, low: int, high: int, how: int
    ) -> None:
        """Keep a reading that went one step further with an assumed error."""
        _, place, value, _, _, trail = reading
        trail = and_assumed(trail, how)
        if place == RUN or step.place in (RUN, END):
            self._leave(after, (cost, place, value, low, high, trail), step.place, step.shift, step.bits, step.ones)
            return
        value = value << step.shift | step.bits
        if value < self._too_long:
            after.append((cost, step.place, value, low, high, trail))

    def _cut_out(self, after: list[Reading], reading: Reading) -> None:
        """Assume that the end bit's last half runs into a cutout: the change is at its end or a one-bit later.

        With one edge, the change may also be at the cutout's start.
        """
        cost, _, value, _, _, trail = reading
        cost, now = cost + self._costs.cutout, self.now
        end = now - self._duration + self._one
        at_start = self._each > 1 and self._duration < TWO
        least, most = CUTOUT_BEGINS if at_start else (CUTOUT_MIN, CUTOUT_MAX + 2 * self._one)
        if least - self._late <= now - end <= most + self._late:
            self._end(after, (cost, RUN, 0, now - self._late, now, and_assumed(trail, How.CUTOUT)), value, end, now)

    def _best_of(self, readings: list[Reading], early: int, mixed: bool) -> list[Reading]:
        """The likeliest readings, the best one first. The others are dropped.

        :param mixed: False if they all went one step further inside a packet. Then they differ as they did before.
        """
        readings.sort(key=by_cost)
        if mixed or self._mixed:
            readings = distinct(readings, early)
        kept = to_follow(readings, RIVAL_ONE_EDGE if self._ambiguous else RIVAL)
        if kept < len(readings):
            dropped = readings[kept][0]
            self._dropped = min(self._dropped, dropped - readings[0][0])
            del readings[kept:]
            if self._ambiguous:  # most readings stay possible to the end, so the dropped one may rival any of them
                readings = [and_dropped(reading, dropped) for reading in readings]
        return readings

    def _decide(self) -> None:
        """Decide the best reading's packet once no other reading can still become a packet, or after WAIT changes."""
        self._waited += 1
        least, *_, trail = self._readings[0]
        packet = trail.found[0]
        rivals = [reading for reading in self._readings if not has(reading, packet)]
        known = packet.data in self._clear
        dropped = min(self._dropped, trail.dropped) + REPEATED * known
        margin = min(dropped, min(map(by_cost, rivals), default=inf) - least)
        if margin < self._margin and self._waited < WAIT and any(reading[1] != RUN for reading in rivals):
            return
        self._waited, self._dropped = 0, SURELY
        if margin < self._margin or self._is_doubtful(packet):
            margin = 0.0
        self.found.append(packet._replace(margin=margin))
        if margin:
            if self._ambiguous and not known:
                self._clear.append(packet.data)
            readings = [each for each in self._readings if has(each, packet)]
        else:  # the packet may have been wrong about the lateness, and so may the run after it
            readings = [widened(each, self.now - self._late, self.now) for each in self._readings]
        self._readings = [(*each[:5], each[5]._replace(found=each[5].found[1:], dropped=SURELY)) for each in readings]
        self._before, self._mixed = [], True

    def _is_doubtful(self, packet: Found) -> bool:
        """True if a packet assumes too much, or if a reading with a wrong error detection byte was much likelier."""
        refused, when = self._refused
        if abs(when - packet.end) <= WAIT * self._one and packet.total - refused > self._costs.refused:
            return True
        errors = packet.how & ~(How.STRETCHED | How.CUTOUT)
        if errors and (self._ambiguous or self._polled and self._stretches):
            return True
        if packet.how & How.STRETCHED and errors & ~How.LATE and MANY * self._stretches <= SOME:
            return True
        more = 0.0 if self._rare else COST_HALF_STRETCHED * self._stretches / self._each
        return packet.cost > COST + (self._costs.per_half + more) * (18 * len(packet.data) + 2)
