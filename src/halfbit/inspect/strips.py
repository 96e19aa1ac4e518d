"""Strips: a stretch of a capture at all layers, to see why a packet was lost."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import accumulate

import attrs

from ..bit import Bit, bits
from ..edge import Edge, Edges
from ..error import HalfbitError
from ..event import Cutout, Fault, FaultKind, Layer, Packet, PacketEvent
from ..half_bit import HalfBit, HalfBitKind, half_bits
from ..instruction import STANDARD, Configuration, Context, Event, Instruction, InstructionMachine, Registry
from ..limits import PREAMBLE_MIN, RECEIVE, US, Limits
from ..simulate.signal import packet_bits
from .cause import Cause, Diagnosis, fault_words
from .losses import Diagnoser, Durations, events_of

__all__ = ["Mark", "Strip", "strip_of", "strips", "within"]

MOST = 400  #: Most durations shown of an event.
LEAD = 44  #: The same of a preamble, and before a fault's place.
KEPT = 1 << 17  #: Number of durations kept, so that memory is constant. A longer event is shown without its start.


@attrs.frozen(slots=True)
class Mark:
    """A labelled period. Times are ns from the capture's start."""

    start: int
    end: int
    text: str


@attrs.frozen
class Strip:
    """A stretch of a capture. Times are ns from the capture's start."""

    times: Sequence[int]  #: Times of the level changes: one more than the number of durations.
    level: int | None  #: Level after the first change, if the capture's first is to 1; ``None`` for one edge only.
    #: Layer 2: ``"1"``, ``"0"``, or ``"?"`` for a faulty half-bit. Empty if bits are not decided by halves.
    half_bits: Sequence[Mark]
    bits: Sequence[Mark]  #: Layer 3: ``"1"``, ``"0"``, ``"?"``. By sum and sequence only the bits of packets.
    #: Layer 4: ``"preamble 14"``, ``"start"``, each byte in hexadecimal, ``"0"`` between bytes, ``"end"``.
    #: For a wrong error detection byte also the right value.
    parts: Sequence[Mark]
    meanings: Sequence[Mark]  #: Layer 5: the packets' instructions in words, and the losses with their reasons.
    #: Faults of layers 2 and 3, and the packet's (at a wrong error detection byte). By sum and sequence: the losses.
    faults: Sequence[Fault]
    event: PacketEvent  #: The packet, fault or cutout that the strip shows.
    left_out: int = 0  #: Number of durations left out between the strip before and this one.
    diagnosis: Diagnosis | None = None  #: Why it was lost, if that was asked for and ``event`` is a fault.

    @property
    def durations(self) -> list[int]:
        """The durations between the changes, ns."""
        return [after - before for before, after in zip(self.times, self.times[1:])]


def strips(
    edges: Edges, limits: Limits = RECEIVE, *, at: int | None = None, events: int = 2, reach: int | None = None,
    causes: bool = False, registry: Registry = STANDARD, configuration: Configuration | None = None,
    context: Context | None = None,
) -> Iterator[Strip]:  # fmt: skip
    """The strips of consecutive packets and faults, one strip for each.

    :param at: time of the first packet or fault to show, ns. ``None``: the first fault after a packet; if there is no
        such fault, the first fault; if there are no faults, the first packet.
    :param events: number of strips, from 1 up.
    :param reach: number of durations shown on each side of a fault's place, and of ``at``; ``None`` for all that
        matter.
    :param causes: True to find the cause of each loss. This reads further, up to 64 packets behind the loss.
    :raises HalfbitError: if ``events`` is less than 1, or if ``at`` is outside the capture.
    """
    if events < 1:
        raise HalfbitError(f"events: {events} is less than 1")
    if at is not None and at < 0:
        raise HalfbitError(f"at: {at} ns is before the capture's start")
    machine = InstructionMachine(registry, configuration, context)
    durations = Durations(KEPT)
    chosen: list[tuple[Strip, int]] = []
    fallback: list[tuple[Strip, int]] = []
    end = 0
    diagnoser: Diagnoser[PacketEvent] = Diagnoser(
        limits, durations, wanted=lambda fault: causes and _wanted(fault, at or 0)
    )
    for event, diagnosis in diagnoser.through(events_of(edges, limits, durations)):
        end = event.end
        decoded = machine.feed(event)
        kept = chosen if chosen or _wanted(event, at) else fallback
        if len(kept) < events:
            place = at if at is not None and event.start <= at < end else None
            kept.append(strip_of(event, durations, limits, decoded, diagnosis, place, reach))
        if len(chosen) == events:
            break
    if at is not None and not chosen:
        raise HalfbitError(f"at: nothing was decoded at {at / 1e6:g} ms; the last ends at {end / 1e6:g} ms")
    shown = None
    for strip, first in chosen or fallback:
        yield attrs.evolve(strip, left_out=0 if shown is None else first - shown)
        shown = first + len(strip.durations)


def _wanted(event: PacketEvent, at: int | None) -> bool:
    if at is not None:
        return event.end > at
    return isinstance(event, Fault) and event.kind is not FaultKind.CUT


def strip_of(
    event: PacketEvent, kept: Durations, limits: Limits, decoded: Sequence[Event] = (),
    diagnosis: Diagnosis | None = None, place: int | None = None, reach: int | None = None,
) -> tuple[Strip, int]:  # fmt: skip
    """The strip of an event, shortened if it is long; and the capture index of its first duration.

    :param kept: the durations of the capture, up to the event's end or further.
    :param decoded: the instructions of a packet.
    :param place: the time that must be shown, ns; ``None`` for a loss's cause, or its place.
    :param reach: number of durations shown on each side of the place; ``None`` for all that matter.
    """
    durations, start, index = kept.between(event.start, event.end)
    times = list(accumulate(durations, initial=start))
    if limits.decision == "halves":
        halves, pairs, faults = _layers(times, limits)
    else:
        halves, faults = [], []
        pairs = _bits_of(event, limits, times) if isinstance(event, Packet) else []
    if isinstance(event, Fault) and (event.layer is Layer.PACKET or not halves):
        faults.append(event)
    parts = _parts(event, pairs)
    if isinstance(event, Fault) and event.kind is FaultKind.ERROR_BYTE and parts:
        faults[-1] = attrs.evolve(event, at=parts[-1].start)  # show the packet's fault at the error detection byte
    if isinstance(event, Packet):
        words = [_words(each) for each in decoded if isinstance(each, Instruction)]
        words += [f"recovered: {event.recovered.value}"] if event.recovered else []
    else:
        words = [f"lost: {fault_words(event, limits)}" if isinstance(event, Fault) else str(event)]
    low, high = _clip(event, times, parts)
    if place is None and isinstance(event, Fault):
        place = event.at if diagnosis is None or diagnosis.cause is Cause.NOT_FOUND else diagnosis.at
    if reach is not None and place is not None:
        middle = bisect_left(times, place)
        low, high = max(low, middle - reach), min(high, middle + reach + 1)
    begin, end = times[low], times[high]
    level = None if limits.one_edge else (1 + index + low) % 2
    meaning = Mark(times[0], times[-1], "; ".join(words))
    strip = Strip(
        times[low : high + 1], level, within(halves, begin, end), within(pairs, begin, end), within(parts, begin, end),
        [meaning], [fault for fault in faults if begin <= fault.at < end], event, diagnosis=diagnosis,
    )  # fmt: skip
    return strip, index + low


def _words(instruction: Instruction) -> str:
    address, words = str(instruction.address), str(instruction)
    return words if words.startswith(address) else f"{address}: {words}"


def within(marks: Sequence[Mark], start: int, end: int) -> list[Mark]:
    """The marks of which some part is in a period."""
    return [mark for mark in marks if mark.end > start and mark.start < end]


def _clip(event: PacketEvent, times: Sequence[int], parts: Sequence[Mark]) -> tuple[int, int]:
    """The range of changes to show. A long preamble or loss is shown only in part."""
    last = len(times) - 1
    if last <= MOST:
        return 0, last
    if isinstance(event, Packet) and parts:
        return max(bisect_left(times, parts[0].end) - LEAD, 0), last
    low = max(bisect_left(times, event.at) - LEAD, 0) if isinstance(event, Fault) else 0
    return low, min(low + MOST, last)


def _layers(times: Sequence[int], limits: Limits) -> tuple[list[Mark], list[Mark], list[Fault]]:
    """Layers 2 and 3, from their own machines: half-bits, bits, and faults."""
    layer_2 = list(half_bits((Edge(time, index % 2) for index, time in enumerate(times)), limits))
    layer_3 = list(bits(layer_2, limits))
    kinds = {HalfBitKind.ONE: "1", HalfBitKind.ZERO: "0"}
    halves = [Mark(each.start, each.end, kinds[each.kind] if isinstance(each, HalfBit) else "?") for each in layer_2]
    pairs = [Mark(each.start, each.end, str(each.value) if isinstance(each, Bit) else "?") for each in layer_3]
    return halves, pairs, [each for each in layer_3 if isinstance(each, Fault)]


def _bits_of(packet: Packet, limits: Limits, times: Sequence[int]) -> list[Mark]:
    """The bits of a packet with their times: by sum two durations per bit, else nominal lengths before its end."""
    values = packet_bits(packet.data, packet.preamble)
    if limits.decision == "sum":
        bounds = times[::-1][::2]
    else:
        nominal = (200 * US, 116 * US)  # S-9.1 A, table 1
        bounds = list(accumulate((-nominal[value] for value in reversed(values)), initial=packet.end))
    backwards = zip(bounds[1:], bounds, reversed(values))
    return [Mark(start, end, str(value)) for start, end, value in backwards if end > times[0]][::-1]


def _parts(event: PacketEvent, pairs: Sequence[Mark]) -> list[Mark]:
    """Preamble, start bit, bytes, the bits between them, and end bit; for a damaged packet the parts read."""
    if isinstance(event, Cutout):
        return []
    if isinstance(event, Packet):
        at = len(pairs) - 9 * len(event.data) - 1
        ones = event.preamble
    else:
        at = _start_bit(pairs)
        if at >= 0 and event.layer is not Layer.PACKET and pairs[at].start >= event.at:
            at = -1  # it was lost before a packet began
        ones = _run(pairs, at)
    if at < 0:
        return []
    parts = [Mark(pairs[max(at - ones, 0)].start, pairs[at].start, f"preamble {ones}")] if at else []
    if not event.data:
        parts.append(Mark(pairs[at].start, pairs[at].end, "start"))
    texts = [f"{byte:02X}" for byte in event.data]
    if texts and isinstance(event, Fault) and event.kind is FaultKind.ERROR_BYTE:
        texts[-1] += f", not {event.data[-1] ^ event.detail:02X}"
    for number, text in enumerate(texts):
        if at + 1 >= len(pairs):
            return parts
        parts.append(Mark(pairs[at].start, pairs[at].end, "0" if number else "start"))
        # The last ones of a wrong byte may be the first ones of the next preamble.
        parts.append(Mark(pairs[at + 1].start, pairs[min(at + 8, len(pairs) - 1)].end, text))
        at += 9
    if isinstance(event, Packet):
        parts.append(Mark(pairs[at].start, pairs[at].end, "end"))
    return parts


def _run(pairs: Sequence[Mark], end: int) -> int:
    """The number of ones directly before a bit."""
    start = end
    while start > 0 and pairs[start - 1].text == "1":
        start -= 1
    return end - start


def _start_bit(pairs: Sequence[Mark]) -> int:
    """Index of a damaged packet's start bit: the first zero after a preamble; -1 if there is no such bit."""
    zeros = (index for index, mark in enumerate(pairs) if mark.text == "0")
    return next((index for index in zeros if _run(pairs, index) >= PREAMBLE_MIN - 1), -1)
