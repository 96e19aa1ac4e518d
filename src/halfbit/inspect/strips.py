"""Strips: a stretch of a capture at all layers, to see why a packet was lost."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from itertools import accumulate

import attrs

from ..bit import bits
from ..edge import Edge, Edges
from ..error import HalfbitError
from ..event import Cutout, Fault, FaultKind, Layer, Packet, PacketEvent
from ..half_bit import HalfBit, HalfBitKind, half_bits
from ..instruction import STANDARD, Configuration, Context, Event, Instruction, InstructionMachine, Registry
from ..limits import PREAMBLE_MIN, RECEIVE, US, Limits
from ..simulate.signal import packet_bits
from .cause import Cause, Diagnosis, fault_words
from .losses import Diagnoser, Durations, events_of

__all__ = ["Mark", "Strip", "strips"]

#: Most durations shown of an event; of a preamble; and before a fault's place.
MOST = 400
LEAD = 44
#: Number of durations kept, so that memory is constant. A longer event is shown without its start.
KEPT = 1 << 17


@attrs.frozen(slots=True)
class Mark:
    """A labelled period. Times are ns from the capture's start."""

    start: int
    end: int
    text: str


@attrs.frozen
class Strip:
    """A stretch of a capture. Times are ns from the capture's start."""

    #: Times of the level changes: one more than the number of durations.
    times: Sequence[int]
    #: The level after the first change, 0 or 1; ``None`` if only one edge was captured.
    level: int | None
    #: Layer 2: a mark for each half-bit, ``"1"``, ``"0"``, or ``"?"`` for a faulty one. Empty
    #: if bits are not decided by halves.
    half_bits: Sequence[Mark]
    #: Layer 3: ``"1"``, ``"0"``, ``"?"``. For the decision by sum and sequence: only the bits of packets that were
    #: read.
    bits: Sequence[Mark]
    #: Layer 4: ``"preamble 14"``, ``"start"``, each byte in hexadecimal, ``"0"`` between bytes, ``"end"``.
    #: For a wrong error detection byte also the right value.
    parts: Sequence[Mark]
    #: Layer 5: the packets' instructions in words, and the losses with their reasons.
    meanings: Sequence[Mark]
    #: The faults of layers 2 and 3, and the fault of the packet. For a wrong error detection byte the place is that
    #: byte. For the decision by sum and sequence, which do not find faulty half-bits: the losses.
    faults: Sequence[Fault]
    #: The packet, fault or cutout that the strip shows.
    event: PacketEvent
    #: Number of durations left out between the strip before and this one.
    left_out: int = 0
    #: Why it was lost, if that was asked for and ``event`` is a fault.
    diagnosis: Diagnosis | None = None

    @property
    def durations(self) -> list[int]:
        """The durations between the changes, ns."""
        return [after - before for before, after in zip(self.times, self.times[1:])]


@attrs.frozen(slots=True)
class _Seen:
    """An event, its instructions, and its durations with the capture index of the first one."""

    event: PacketEvent
    diagnosis: Diagnosis | None
    decoded: tuple[Event, ...]
    durations: Sequence[int]
    start: int
    first: int


def strips(
    edges: Edges,
    limits: Limits = RECEIVE,
    *,
    at: int | None = None,
    events: int = 2,
    reach: int | None = None,
    level: int = 1,
    causes: bool = False,
    registry: Registry = STANDARD,
    configuration: Configuration | None = None,
    context: Context | None = None,
) -> Iterator[Strip]:
    """The strips of consecutive packets and faults, one strip for each.

    :param at: time of the first packet or fault to show, ns. ``None``: the first fault after a packet; if there is no
        such fault, the first fault; if there are no faults, the first packet.
    :param events: number of strips, from 1 up.
    :param reach: number of durations shown on each side of a fault's place, and of ``at``; ``None`` for all that
        matter.
    :param level: the level after the capture's first change.
    :param causes: True to find the cause of each loss. This reads further, up to 64 packets behind the loss.
    :raises HalfbitError: if ``events`` is less than 1, or if ``at`` is outside the capture.
    """
    if events < 1:
        raise HalfbitError(f"events: {events} is less than 1")
    if at is not None and at < 0:
        raise HalfbitError(f"at: {at} ns is before the capture's start")
    machine = InstructionMachine(registry, configuration, context)
    chosen: list[_Seen] = []
    fallback: list[_Seen] = []
    end = 0
    for seen in _seen(edges, limits, machine, (lambda fault: causes and _wanted(fault, at or 0))):
        end = seen.event.end
        if not chosen and not _wanted(seen.event, at):
            if len(fallback) < events:
                fallback.append(seen)
            continue
        chosen.append(seen)
        if len(chosen) == events:
            break
    if at is not None and not chosen:
        raise HalfbitError(f"at: nothing was decoded at {at / 1e6:g} ms; the last ends at {end / 1e6:g} ms")
    shown = 0
    for number, seen in enumerate(chosen or fallback):
        place = at if at is not None and seen.event.start <= at < seen.event.end else None
        strip, first = _strip(seen, limits, level, place, reach)
        yield attrs.evolve(strip, left_out=first - shown if number else 0)
        shown = first + len(strip.times) - 1


def _wanted(event: PacketEvent, at: int | None) -> bool:
    if at is not None:
        return event.end > at
    return isinstance(event, Fault) and event.kind is not FaultKind.CUT


def _seen(
    edges: Edges, limits: Limits, machine: InstructionMachine, wanted: Callable[[Fault], bool]
) -> Iterator[_Seen]:
    """The events with their durations, and with the diagnoses of wanted losses."""
    durations = Durations(KEPT)
    diagnoser: Diagnoser[PacketEvent] = Diagnoser(limits, durations, wanted=wanted)

    def seen(event: PacketEvent, diagnosis: Diagnosis | None) -> _Seen:
        return _Seen(event, diagnosis, machine.feed(event), *durations.between(event.start, event.end))

    for event in events_of(edges, limits, durations):
        for each in diagnoser.feed(event):
            yield seen(*each)
    for each in diagnoser.finish():
        yield seen(*each)


def _strip(seen: _Seen, limits: Limits, level: int, place: int | None, reach: int | None) -> tuple[Strip, int]:
    """The strip of an event, shortened if it is long; and the capture index of its first duration."""
    event, durations = seen.event, seen.durations
    times = list(accumulate(durations, initial=seen.start))
    if limits.decision == "halves":
        halves, pairs, faults = _layers(durations, seen.start, limits)
    else:
        halves, faults = [], []
        pairs = _bits_of(event, limits, times) if isinstance(event, Packet) else []
    if isinstance(event, Fault) and (event.layer is Layer.PACKET or not halves):
        faults.append(event)
    parts = _parts(event, pairs)
    if isinstance(event, Fault) and event.kind is FaultKind.ERROR_BYTE and parts:
        faults[-1] = attrs.evolve(event, at=parts[-1].start)  # show the packet's fault at the error detection byte
    words = [str(each) for each in seen.decoded]
    if isinstance(event, Packet):
        words = [_words(each) for each in seen.decoded if isinstance(each, Instruction)]
        words += [f"recovered: {event.recovered.value}"] if event.recovered else []
    elif isinstance(event, Fault):
        words = [f"lost: {fault_words(event, limits)}"]
    meanings = [Mark(times[0], times[-1], "; ".join(words))]
    low, high = _clip(event, times, parts)
    if place is None and isinstance(event, Fault):
        found = seen.diagnosis
        place = event.at if found is None or found.cause is Cause.NOT_FOUND else found.at
    if reach is not None and place is not None:
        middle = bisect_left(times, place)
        low, high = max(low, middle - reach), min(high, middle + reach + 1)
    shown = Strip(
        times[low : high + 1],
        None if limits.one_edge else (level + seen.first + low) % 2,
        _within(halves, times[low], times[high]),
        _within(pairs, times[low], times[high]),
        _within(parts, times[low], times[high]),
        meanings,
        [fault for fault in faults if times[low] <= fault.at < times[high]],
        event,
        diagnosis=seen.diagnosis,
    )
    return shown, seen.first + low


def _words(instruction: Instruction) -> str:
    address, words = str(instruction.address), str(instruction)
    return words if words.startswith(address) else f"{address}: {words}"


def _within(marks: Sequence[Mark], start: int, end: int) -> list[Mark]:
    return [mark for mark in marks if mark.end > start and mark.start < end]


def _clip(event: PacketEvent, times: Sequence[int], parts: Sequence[Mark]) -> tuple[int, int]:
    """The range of changes to show. A long preamble or loss is shown only in part."""
    last = len(times) - 1
    if last <= MOST:
        return 0, last
    if isinstance(event, Packet) and parts:
        low = max(bisect_left(times, parts[0].end) - LEAD, 0)
        return low, last
    low = max(bisect_left(times, event.at) - LEAD, 0) if isinstance(event, Fault) else 0
    return low, min(low + MOST, last)


def _layers(durations: Sequence[int], start: int, limits: Limits) -> tuple[list[Mark], list[Mark], list[Fault]]:
    """Layers 2 and 3, from their own machines: half-bits, bits, and faults."""
    halves: list[Mark] = []
    pairs: list[Mark] = []
    faults: list[Fault] = []
    layer_2: list[HalfBit | Fault] = []
    for event in half_bits(_edges_at(durations, start), limits):
        layer_2.append(event)
        text = "?" if isinstance(event, Fault) else str(int(event.kind is HalfBitKind.ONE))
        halves.append(Mark(event.start, event.end, text))
    for each in bits(layer_2, limits):
        if isinstance(each, Fault):
            faults.append(each)
            pairs.append(Mark(each.start, each.end, "?"))
        else:
            pairs.append(Mark(each.start, each.end, str(each.value)))
    return halves, pairs, faults


def _edges_at(durations: Sequence[int], start: int) -> Iterator[Edge]:
    for index, time in enumerate(accumulate(durations, initial=start)):
        yield Edge(time, index % 2)


def _bits_of(packet: Packet, limits: Limits, times: Sequence[int]) -> list[Mark]:
    """The bits of a packet with their times: by sum two durations per bit, by sequence nominal lengths before its end."""
    values = packet_bits(packet.data, packet.preamble)
    if limits.decision == "sum":
        bounds = list(reversed(times[::-1][::2]))[-len(values) - 1 :]
    else:
        nominal = (200 * US, 116 * US)  # S-9.1 A, table 1
        backwards = list(accumulate((-nominal[value] for value in reversed(values)), initial=packet.end))
        bounds = backwards[::-1]
    values = values[-(len(bounds) - 1) :]
    marks = [Mark(start, end, str(value)) for start, end, value in zip(bounds, bounds[1:], values)]
    return [mark for mark in marks if mark.end > times[0]]


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
    parts = []
    if at:
        parts.append(Mark(pairs[max(at - ones, 0)].start, pairs[at].start, f"preamble {ones}"))
    if not event.data:
        parts.append(Mark(pairs[at].start, pairs[at].end, "start"))
    for number, byte in enumerate(event.data):
        if at + 1 >= len(pairs):
            return parts
        parts.append(Mark(pairs[at].start, pairs[at].end, "0" if number else "start"))
        text = f"{byte:02X}"
        if isinstance(event, Fault) and event.kind is FaultKind.ERROR_BYTE and number == len(event.data) - 1:
            text += f", not {byte ^ event.detail:02X}"
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
    for index, mark in enumerate(pairs):
        if mark.text == "0" and _run(pairs, index) >= PREAMBLE_MIN - 1:
            return index
    return -1
