"""Finds out why a packet was lost: lays each packet received nearby over the lost stretch.

Stations repeat packets, so the lost packet is usually among those received nearby. A packet is laid over the stretch
from both ends: from the run of one-bits before it forwards, and from the run after it backwards, as far as the
durations fit. What fits from neither end is the place of the error. How many durations are there, how many half-bits
should be there, and how long both are, shows the cause.

Two packets of the same length differ in at least two bits in the same column, because the error detection byte is the
XOR of the others (S-9.2 A). These bits are at least nine bits apart. So if a silence hides :data:`HIDDEN` half-bits or
fewer, and all others fit, no other packet was sent. A bit that was read wrong can make one packet out of two others, so
it proves no packet.

If no packet nearby fits, the capture is read by sequence once (see :mod:`halfbit.decision.recovery`), and what it
had to assume is the cause.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise

import attrs

from ..decision import receiver_for
from ..event import Fault, FaultKind, Packet
from ..limits import US, Limits
from .cause import CAUSE_OF, Cause, Diagnosis
from .match import ONES, Halves, Laid, Run, Station, laid, station_of

__all__ = ["LEAD", "PACKETS", "Cause", "Diagnosis", "diagnose"]

#: Most half-bits that a loss of contact may hide; and the same if a packet is to be proposed.
SILENT, HIDDEN = 40, 19
#: Most half-bits that several wrong changes may hide. One of them might also look like a right one.
BURST = 9
#: Longer stretches, in durations, are not compared.
LONGEST = 1500
#: Half-bits before and after the stretch, which hold the one-bits of the preambles.
LEAD = 60
#: Number of packets before and after the loss from which lengths are learned.
PACKETS = 8
#: From this lateness on, ns, half of a zero-bit may look like two halves of ones.
LATE = 16 * US
#: Time before the loss that a reading by sequence takes to learn lengths, ns: some packets.
LEARNED = 40_000 * US
#: How far the durations at an error may be off together, ns.
CLOSE = 9 * US
#: Smaller errors than this do not count, ns.
LEAST = 4 * US


#: The cause, by the number of durations at an error and the number of half-bits that should be there.
_COUNTED = {(1, 2): Cause.MISSED_CHANGE, (1, 3): Cause.TWO_MISSED, (2, 1): Cause.ADDED_CHANGE, (3, 1): Cause.SPIKE}


@attrs.frozen
class _Found:
    """An error that explains the loss."""

    cause: Cause
    #: Index of the change before it.
    at: int
    #: How badly it fits, ns: how far the durations are off, plus more for rarer causes.
    off: int
    packet: bytes | None = None
    #: How many half-bits it hides.
    hidden: int = 0


def diagnose(
    fault: Fault, durations: Sequence[int], start: int, limits: Limits, before: Sequence[Packet] = (),
    after: Sequence[Packet] = (),
) -> Diagnosis:  # fmt: skip
    """Find out why a stretch was lost.

    :param fault: the loss, from :func:`halfbit.decode`.
    :param durations: ns, of the lost stretch with :data:`LEAD` half-bits before and after it or more. Lengths are
        learned from the packets that they hold.
    :param start: the time at which the first duration starts, ns.
    :param before: packets before the loss, in order.
    :param after: packets after the loss.
    """
    times = list(accumulate(durations, initial=start))
    first, last = bisect_left(times, fault.start), bisect_left(times, fault.end)
    if fault.kind is FaultKind.CUT:
        return Diagnosis(fault, Cause.CUT, fault.at)
    if len(times) < 3 or last - first > LONGEST:
        return Diagnosis(fault, Cause.NOT_FOUND, fault.at)
    station = station_of(limits, [*before[-PACKETS:], *after[:PACKETS]], times)
    low, high = max(first - LEAD, 0), min(last + LEAD // 2, len(times) - 1)
    near = times[low : high + 1]
    # The end bit of the packet before counts for the preamble, its data bits do not.
    settled = before[-1].end - 3 * station.lengths.one if before else 0
    runs = [
        (max(run[0], bisect_left(near, settled)), run[1])
        for run in station.runs(near, 0, high - low)
        if run[1] >= first - low - 2 and run[0] <= last - low + 2
    ]
    stretch = _Stretch(fault, near, runs, station, limits)
    found = stretch.errors({packet.data for packet in (*before, *after)})
    if found:
        return _chosen(found, stretch, before, after)
    return _without_packet(stretch, durations, times)


def _chosen(found: Sequence[_Found], stretch: _Stretch, before: Sequence[Packet], after: Sequence[Packet]) -> Diagnosis:
    """The diagnosis for the error that fits best. If another packet fits about as well, none is proposed."""
    fault, late = stretch.fault, stretch.station.late
    best, *others = sorted(found, key=lambda each: each.off)
    at = stretch.times[best.at]
    rivals = [each for each in found if each.packet != best.packet and each.off < best.off + CLOSE]
    if rivals:
        causes = tuple(dict.fromkeys(each.cause for each in (best, *rivals)))
        return Diagnosis(fault, Cause.SEVERAL if len(causes) > 1 else best.cause, at, several=causes)
    alike = dict.fromkeys(each.cause for each in (best, *others) if each.off < best.off + CLOSE + late // 4)
    causes = tuple(alike) if len(alike) > 1 else ()
    earlier = min((fault.start - each.start for each in before if each.data == best.packet), default=None)
    later = min((each.start - fault.start for each in after if each.data == best.packet), default=None)
    if best.cause is Cause.FLIPPED_BIT:
        return Diagnosis(fault, best.cause, at, None, earlier, later, causes, best.packet)
    if best.hidden > (BURST if late else HIDDEN):
        return Diagnosis(fault, best.cause, at, several=causes)
    return Diagnosis(fault, best.cause, at, best.packet, earlier, later, causes)


@attrs.frozen
class _Stretch:
    """A lost stretch, and the runs of one-bits in it and around it."""

    fault: Fault
    times: Sequence[int]
    runs: Sequence[Run]
    station: Station
    limits: Limits

    @property
    def _one(self) -> Halves:
        return ONES[self.station.each]

    def errors(self, packets: set[bytes]) -> list[_Found]:
        """The errors by which one of these packets was lost here."""
        found = []
        begins = set()
        for packet in laid(self.station, self.times, self.runs, packets, SILENT):
            if packet.whole:
                found += self._before_packet(packet)
                continue
            for each in (packet, *self._extended(packet)):
                usual = self.station.usual(each.groups)
                found += self._single_errors(each, usual) or self._bursts(each, usual)
            if (packet.data, packet.changes, packet.begin) not in begins:
                begins.add((packet.data, packet.changes, packet.begin))
                found += self._wrong_bit(packet)
        return found

    def among_ones(self, last: int | None = None) -> _Found | None:
        """The error between two runs of one-bits that are close together; ``None`` if there are no such runs."""
        one = self.station.lengths.of(self._one)
        runs = [run for run in self.runs if last is None or run[1] <= last]
        for (_, begin), (end, _) in pairwise(runs):
            number = round((self.times[end] - self.times[begin]) / one)
            for expected in (number, number - 1, number + 1):
                if 0 < expected <= 4 and end - begin <= 4:
                    error = self._error(begin, end - begin, [one] * expected)
                    if error is not None:
                        return error
        return None

    def _extended(self, packet: Laid) -> Iterator[Laid]:
        """The packet with the one-bits before or after it that an error at its start or end hides, too."""
        times, fits, fits_back = self.times, packet.fits, packet.fits_back
        usual = self.station.usual(packet.groups)
        before = times[packet.end - fits_back] - times[packet.begin] - sum(usual[: len(usual) - fits_back])
        after = times[packet.end] - times[packet.begin + fits] - sum(usual[fits:])
        for off, at_its_end in ((before, False), (after, True)):
            count = round(off / self.station.lengths.of(self._one))
            if 0 < count <= SILENT // 2:
                yield packet.extended((self._one,) * count, at_its_end)

    def _single_errors(self, packet: Laid, usual: Sequence[int]) -> list[_Found]:
        lacking, total = packet.lacking, len(usual)
        shapes = {0: [(1, 1), (2, 2)], -1: [(2, 1)], -2: [(3, 1)]}
        found = []
        for count, number in [(1, lacking + 1)] if lacking > 0 else shapes.get(lacking, []):
            for place in range(max(total - number - packet.fits_back, 0), min(packet.fits, total - number) + 1):
                error = self._error(packet.begin + place, count, usual[place : place + number])
                if error is not None:
                    found.append(attrs.evolve(error, packet=packet.data, hidden=number * self.station.each))
        return found

    def _wrong_bit(self, packet: Laid) -> list[_Found]:
        """A bit of the packet that was read wrong, if all of it fits then."""
        fits = self.station.matched(self.times, packet.begin, packet.halves())
        bit = min(fits * self.station.each // 2, 9 * len(packet.data))
        for place in (bit, bit - 1):
            groups = packet.halves(max(place, 0))
            if self.station.matched(self.times, packet.begin, groups) == len(groups):
                at = packet.begin + max(place, 0) * 2 // self.station.each
                return [_Found(Cause.FLIPPED_BIT, at, 24 * US if self.station.late else 30 * US, packet.data)]
        return []

    def _bursts(self, packet: Laid, usual: Sequence[int]) -> list[_Found]:
        first, last = packet.begin + packet.fits, packet.end - packet.fits_back
        if not 1 < packet.hidden <= BURST // self.station.each or last <= first:
            return []
        off = self.times[last] - self.times[first] - sum(usual[packet.fits : len(usual) - packet.fits_back])
        if abs(off) > CLOSE + self.station.late:
            return []
        return [_Found(Cause.BURST, first, 60 * US, packet.data, packet.hidden * self.station.each)]

    def _error(self, at: int, count: int, usual: Sequence[int]) -> _Found | None:
        """The error by which ``count`` durations are where half-bits of ``usual`` lengths should be.

        :param at: index of the change before them.
        :returns: ``None`` if no single error fits.
        """
        late = self.station.late
        there = [self.times[at + index + 1] - self.times[at + index] for index in range(count)]
        off = sum(there) - sum(usual)
        close = abs(off) <= CLOSE + late + len(usual) * US
        if count == len(usual) == 1:
            by, cost = abs(off), 20 * US if off > 0 else 25 * US
            cause = Cause.STRETCHED_HALF if off > 0 else Cause.SHORTENED_HALF
        elif count == len(usual) == 2:
            moved = (there[0] - usual[0] - there[1] + usual[1]) // 2
            by, cost = abs(moved) if close else 0, 4 * US + abs(off)
            cause = Cause.LATE_CHANGE if moved > 0 else Cause.EARLY_CHANGE
        else:
            counted = _COUNTED.get((count, len(usual)), Cause.NO_CONTACT if count == 1 else None)
            if counted is None or not close:
                return None
            return _Found(counted, at, abs(off) + (14 * US if counted in (Cause.TWO_MISSED, Cause.NO_CONTACT) else 0))
        # Where changes are seen late, the place at which the error is largest is the likeliest.
        return _Found(cause, at, cost + max(late - by, 0)) if by >= LEAST else None

    def _before_packet(self, packet: Laid) -> list[_Found]:
        """Why a packet was lost that lies here whole: its preamble, or halves of a one that differ."""
        times, fault, (first, last) = self.times, self.fault, packet.run
        if fault.kind is FaultKind.UNEQUAL:
            at = bisect_left(times, fault.at) - 1
            late = times[at + 1] - times[at] > times[at + 2] - times[at + 1]
            return [_Found(Cause.LATE_CHANGE if late else Cause.EARLY_CHANGE, at, 0, packet.data)]
        if (packet.begin - first) * self.station.each < 2 * self.limits.preamble_min:
            found = self.among_ones(last) or _Found(Cause.SHORT_PREAMBLE, first, 0)
            return [attrs.evolve(found, packet=packet.data)]
        return []


def _without_packet(stretch: _Stretch, durations: Sequence[int], times: Sequence[int]) -> Diagnosis:
    """The diagnosis if no packet nearby fits."""
    fault, limits, station = stretch.fault, stretch.limits, stretch.station
    found = stretch.among_ones() if station.late < LATE else None
    if found is not None:
        return Diagnosis(fault, found.cause, stretch.times[found.at])
    if not limits.recover and limits.decision != "sequence":
        begin = bisect_left(times, fault.start - LEARNED)
        end = min(bisect_left(times, fault.end) + LEAD, len(durations))
        receiver = receiver_for(attrs.evolve(limits, recover=True), times[begin])
        for event in (*receiver.feed_many(durations[begin:end]), *receiver.finish()):
            if isinstance(event, Packet) and event.end > fault.start and event.start < fault.end:
                found = min(stretch.errors({event.data}), key=lambda each: each.off, default=None)
                if found is not None:
                    return Diagnosis(fault, found.cause, stretch.times[found.at])
                if event.recovered in CAUSE_OF:
                    return Diagnosis(fault, CAUSE_OF[event.recovered], fault.at)
    if fault.count == 1 and fault.one_bits is not None:  # every half-bit is sound
        return Diagnosis(fault, Cause.SHORT_PREAMBLE, fault.at)
    wrong = fault.wrong_bits
    if not station.late and fault.count == 1 and wrong is not None and not wrong & wrong - 1:
        return Diagnosis(fault, Cause.FLIPPED_BIT, fault.at)  # one bit of one column
    longest = max(range(len(durations)), key=lambda at: durations[at] if fault.start <= times[at] < fault.end else 0)
    if durations[longest] >= 3 * station.lengths.zero_first and not station.lengths.stretched:
        # Changes may be missing in it or not.
        return Diagnosis(fault, Cause.NO_CONTACT, times[longest], several=(Cause.NO_CONTACT, Cause.STRETCHED_HALF))
    return Diagnosis(fault, Cause.NOT_FOUND, fault.at)
