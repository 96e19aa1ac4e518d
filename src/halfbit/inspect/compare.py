"""Compares two captures of the same track, for example from a board and from an analyser, by their packets.

Their clocks start at different times and run at slightly different rates. The offset at the start is the time
difference that is most common between packets with the same bytes. After that it is tracked from packet to packet.
"""

from __future__ import annotations

import enum
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence

import attrs

from ..edge import Edges
from ..error import HalfbitError
from ..event import Packet
from ..limits import Limits
from .cause import Diagnosis
from .losses import diagnosed_events

__all__ = ["Comparison", "Difference", "Differs", "Side", "compare", "side_of"]

STEP = 2_000_000  #: Bin width for counting time differences, ns.
NEAR = 3_000_000  #: How far a packet may be from its expected time, ns.
EACH, KINDS = 60, 40  #: Most packets used of each kind, and most kinds. Rare ones show the time difference best.


class Differs(enum.Enum):
    """How two captures differ at one place."""

    LOST = "lost"
    MISSING = "not there"  #: The packet is missing although nothing was lost at that time.
    OTHERWISE = "read otherwise"


@attrs.frozen
class Side:
    """The content of one capture."""

    packets: Sequence[Packet]
    losses: Sequence[Diagnosis]


@attrs.frozen
class Difference:
    """A packet that only one capture has. Times are ns on the clock of the capture that has it."""

    side: str  #: The name of the capture that does not have it: ``"A"`` or ``"B"``.
    packet: Packet
    differs: Differs
    cause: Diagnosis | None = None  #: Why it was lost there, if known.
    other: Packet | None = None  #: The packet read there instead, if there is one.


@attrs.frozen
class Comparison:
    """The differences, and the number of packets that are the same."""

    same: int
    offset: int  #: The second capture's clock minus the first one's, ns, at the first packet that both have.
    differences: tuple[Difference, ...]


def side_of(edges: Edges, limits: Limits) -> Side:
    """Decode a capture for a comparison. Each loss gets its cause."""
    events = [*diagnosed_events(edges, limits)]
    packets = [event for event, _ in events if isinstance(event, Packet)]
    return Side(packets, [diagnosis for _, diagnosis in events if diagnosis is not None])


def compare(first: Side, second: Side) -> Comparison:
    """Compare two captures of the same track at the same time.

    :raises HalfbitError: if they have no packet in common.
    """
    offset = _offset(first.packets, second.packets)
    pairs = _pairs(first.packets, second.packets, offset)
    if not pairs:
        raise HalfbitError("the captures have no packet in common: are they of the same track at the same time?")
    not_in_b = _missing("B", first.packets, second, dict(pairs))
    not_in_a = _missing("A", second.packets, first, {other: one for one, other in pairs})
    one, other = pairs[0]
    exact = second.packets[other].end - first.packets[one].end
    found = sorted([*not_in_b, *not_in_a], key=lambda each: each.packet.start - (exact if each.side == "A" else 0))
    return Comparison(len(pairs), exact, tuple(found))


def _offset(first: Sequence[Packet], second: Sequence[Packet]) -> int:
    early_ends, late_ends = _ends(first), _ends(second)
    common = sorted(early_ends.keys() & late_ends.keys(), key=lambda data: len(early_ends[data]) * len(late_ends[data]))
    steps: Counter[int] = Counter()
    for data in common[:KINDS]:
        for early in early_ends[data][:EACH]:
            steps.update({round((late - early) / STEP) for late in late_ends[data][: 2 * EACH]})
    if not steps:
        return 0
    return STEP * max(steps, key=lambda step: (steps[step] + steps[step - 1] + steps[step + 1], -abs(step)))


def _ends(packets: Sequence[Packet]) -> dict[bytes, list[int]]:
    ends = defaultdict(list)
    for packet in packets:
        ends[packet.data].append(packet.end)
    return ends


def _pairs(first: Sequence[Packet], second: Sequence[Packet], offset: int) -> list[tuple[int, int]]:
    """Indices of the packets that are the same, in order."""
    ends = [packet.end for packet in second]
    pairs: list[tuple[int, int]] = []
    at = 0
    for index, packet in enumerate(first):
        due = packet.end + offset
        at = max(at, bisect_left(ends, due - NEAR))
        near = [other for other in range(at, bisect_left(ends, due + NEAR)) if second[other].data == packet.data]
        if near:
            other = min(near, key=lambda each: abs(ends[each] - due))
            pairs.append((index, other))
            offset += (ends[other] - due) // 4  # slow tracking: clocks drift slowly, a single packet may be late
            at = other + 1
    return pairs


def _missing(side: str, packets: Sequence[Packet], other: Side, partner: dict[int, int]) -> Iterator[Difference]:
    """Packets that the other capture does not have, within the time that both captures cover.

    :param partner: the index of the same packet in the other capture, if it has it.
    """
    offset = 0
    for index in range(min(partner), max(partner) + 1):
        packet = packets[index]
        if index in partner:
            offset = other.packets[partner[index]].end - packet.end
            continue
        middle = (packet.start + packet.end) // 2 + offset
        lost = next((each for each in other.losses if each.fault.start - NEAR <= middle <= each.fault.end + NEAR), None)
        read = next((each for each in other.packets if each.start < middle < each.end), None)
        if lost is not None:
            yield Difference(side, packet, Differs.LOST, lost)
        elif read is not None and read.data != packet.data:
            yield Difference(side, packet, Differs.OTHERWISE, other=read)
        else:
            yield Difference(side, packet, Differs.MISSING)
