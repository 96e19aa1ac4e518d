"""A case as it is written by hand: a signal, and what must come of it by the standard, not by halfbit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import attrs

from halfbit.simulate.signal import NOMINAL, Timing, bit_durations, packet_durations, with_error_byte

__all__ = ["A", "ANYTHING", "B", "LEAD", "CaseSpec", "ones", "packet", "sent"]

#: In what must come: any number of faults and packets.
ANYTHING = "..."

#: Two packets to tell apart: address 3, 128 steps, forward, step 41; address 9, F1 and FL on.
A = with_error_byte(bytes((3, 0x3F, 0xAA)))
B = with_error_byte(bytes((9, 0x91)))

#: How a capture starts here: among one-bits.
LEAD = 16


@attrs.frozen(slots=True)
class CaseSpec:
    """A case before halfbit has seen it."""

    id: str
    rule: str
    source: str
    text: str
    #: us.
    durations: Sequence[int]
    #: What must come of it, in order: bytes for a packet, the name of a kind for a fault.
    gives: tuple[bytes | str, ...]


def ones(count: int, first: int = 58, last: int = 58) -> list[int]:
    """``count`` one-bits, us."""
    return [first, last] * count


def sent(bits: Iterable[int], timing: Timing = NOMINAL) -> list[int]:
    """Bits as durations, us; the timing in ns."""
    return [duration // 1000 for duration in bit_durations(bits, timing)]


def packet(data: bytes, preamble: int = 14, timing: Timing = NOMINAL) -> list[int]:
    """A packet as durations, us; the timing in ns."""
    return [duration // 1000 for duration in packet_durations(data, preamble, timing)]
