"""What a signal says by the letter of the standards, found without any machine.

The decoder sees each half-bit once and keeps a few counts. This looks at the whole signal from
every place where a packet could start, which is slow but plain: the two must agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from operator import xor

import attrs

from halfbit.limits import RECEIVE, Limits

__all__ = ["Found", "reference_packets"]


@attrs.frozen
class Found:
    """A packet, and where it stands: indices of durations."""

    data: bytes
    #: One-bits before the start bit.
    preamble: int
    #: The start bit's first half.
    start_bit: int
    #: The duration after the packet end bit.
    end: int


def reference_packets(durations: Sequence[int], limits: Limits = RECEIVE) -> list[Found]:
    """Every packet in the signal (S-9.1 A, S-9.2 A)."""
    found: list[Found] = []
    at = 0
    while at + 1 < len(durations):
        packet = _packet_at(durations, at, found[-1].end if found else 0, limits)
        if packet is None:
            at += 1
        else:
            found.append(packet)
            at = packet.end
    return found


def _packet_at(durations: Sequence[int], at: int, floor: int, limits: Limits) -> Found | None:
    """The packet whose start bit is at a place, if there is one.

    :param floor: the end of the packet before: of what lies before it only its end bit counts (S-9.2 A).
    """
    if _bit_at(durations, at, limits) != 0:
        return None
    preamble = 0
    back = at - 2
    while back >= max(floor - 2, 0) and _bit_at(durations, back, limits) == 1:
        preamble += 1
        back -= 2
    if preamble < limits.preamble_min:
        return None
    data: list[int] = []
    while _bit_at(durations, at, limits) == 0:
        byte = [_bit_at(durations, at + 2 * place, limits) for place in range(1, 9)]
        if None in byte or len(data) == limits.packet_max:
            return None
        data.append(int("".join(map(str, byte)), 2))
        at += 18
    if _bit_at(durations, at, limits) != 1:
        return None
    if len(data) < limits.packet_min or reduce(xor, data) != 0:
        return None
    return Found(bytes(data), preamble, at - 18 * len(data), at + 2)


def _bit_at(durations: Sequence[int], at: int, limits: Limits) -> int | None:
    if at + 2 > len(durations):
        return None
    first, last = durations[at : at + 2]
    difference = limits.one_max if limits.one_difference is None else limits.one_difference
    if all(limits.one_min <= half <= limits.one_max for half in (first, last)):
        return 1 if abs(first - last) <= difference else None
    if all(limits.zero_min <= half <= limits.zero_max for half in (first, last)):
        total = limits.zero_total_max
        return 0 if total is None or first + last <= total else None
    return None
