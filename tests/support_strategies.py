"""Signals for hypothesis: sound ones at the limits of what is sound, and all sorts of others."""

from __future__ import annotations

import attrs
from hypothesis import strategies as st

from halfbit.limits import RECEIVE, TRANSMIT, Limits
from halfbit.simulate.signal import packet_bits, with_error_byte

__all__ = ["Sound", "all_limits", "packet_bytes", "signals", "sound_signals"]

US = 1000
ONE_MIN, ONE_MAX, DIFFERENCE = RECEIVE.one_min, RECEIVE.one_max, 6 * US
ZERO_MIN, ZERO_MAX = RECEIVE.zero_min, RECEIVE.zero_max

#: Limits that differ in each of their parts.
all_limits = st.sampled_from(
    (
        RECEIVE,
        TRANSMIT,
        Limits(preamble_min=12),
        Limits(one_difference=None),
        Limits(one_difference=0),
        Limits(zero_total_max=12_000 * US),
        Limits(packet_min=1, packet_max=4),
    )
)

#: Bytes that make long runs of ones and zeros are as likely as all others together.
_byte = st.one_of(st.sampled_from((0, 1, 127, 128, 254, 255)), st.integers(0, 255))


def packet_bytes(least: int = 3, most: int = 15) -> st.SearchStrategy[bytes]:
    """The bytes of a packet, ``least`` to ``most`` with the right error byte."""
    data = st.lists(_byte, min_size=least - 1, max_size=most - 1)
    return data.map(lambda values: with_error_byte(bytes(values)))


@st.composite
def _one(draw: st.DrawFn) -> list[int]:
    """A one-bit anywhere inside the windows: either half at the bounds, their difference up to its bound."""
    first = draw(st.one_of(st.sampled_from((ONE_MIN, 58 * US, ONE_MAX)), st.integers(ONE_MIN, ONE_MAX)))
    low, high = max(ONE_MIN, first - DIFFERENCE), min(ONE_MAX, first + DIFFERENCE)
    last = draw(st.one_of(st.sampled_from((low, high)), st.integers(low, high)))
    return [first, last]


_zero_half = st.one_of(
    st.sampled_from((ZERO_MIN, 100 * US, ZERO_MAX)),
    st.integers(ZERO_MIN, 120 * US),
    st.integers(ZERO_MIN, ZERO_MAX),
)


@st.composite
def _timed(draw: st.DrawFn, bits: list[int]) -> list[int]:
    """Durations for bits. They come from a few drawn forms of one and zero, dealt out by one number."""
    ones = draw(st.lists(_one(), min_size=1, max_size=4))
    zeros = draw(st.lists(st.tuples(_zero_half, _zero_half), min_size=1, max_size=4))
    deal = draw(st.randoms(use_true_random=False))
    durations: list[int] = []
    for bit in bits:
        durations += deal.choice(ones) if bit else deal.choice(zeros)
    return durations


@attrs.frozen
class Sound:
    """A sound signal and what it says."""

    durations: list[int]
    packets: list[bytes]
    #: For each packet the index of its start bit's first half, and of the duration after its end bit.
    places: list[tuple[int, int]]


@st.composite
def sound_signals(draw: st.DrawFn, *, least: int = 1, most: int = 4) -> Sound:
    """Packets of 3 to 15 bytes behind preambles of 10 to 40, timed anywhere inside the receiving limits."""
    packets = draw(st.lists(packet_bytes(), min_size=least, max_size=most))
    bits: list[int] = []
    places = []
    for data in packets:
        preamble = draw(st.one_of(st.just(10), st.integers(10, 40)))
        start = 2 * (len(bits) + preamble)
        bits += packet_bits(data, preamble)
        places.append((start, 2 * len(bits)))
    return Sound(draw(_timed(bits)), packets, places)


@st.composite
def _packet_piece(draw: st.DrawFn) -> list[int]:
    """A packet, perhaps with too short a preamble, too few or many bytes, or a wrong error byte."""
    data = draw(packet_bytes(least=1, most=17))
    if draw(st.booleans()):
        data = data[:-1] + bytes([data[-1] ^ draw(st.sampled_from((0, 0, 1, 255)))])
    return draw(_timed(packet_bits(data, draw(st.integers(7, 16)))))


_odd_times = st.one_of(
    st.sampled_from((0, 1, 51_999, 52_000, 58_000, 64_000, 64_001, 77_000)),
    st.sampled_from((89_999, 90_000, 100_000, 10_000_000, 10_000_001, 10**12)),
    st.integers(0, 12_000_000),
)
_pieces = st.one_of(
    _packet_piece(),
    _packet_piece(),
    st.integers(0, 60).flatmap(lambda count: _timed([1] * count)),
    st.lists(st.sampled_from((52_000, 55_000, 58_000, 64_000)), max_size=50),
    st.lists(st.sampled_from((58_000, 58_000, 58_000, 100_000)), max_size=50),
    st.lists(_odd_times, max_size=12),
)


@st.composite
def signals(draw: st.DrawFn) -> list[int]:
    """Signals of all sorts: packets sound and not, runs of ones, noise; torn here and there."""
    durations: list[int] = []
    for piece in draw(st.lists(_pieces, min_size=1, max_size=6)):
        durations += piece
    for _ in range(draw(st.integers(0, 3))):
        if len(durations) > 1:
            at = draw(st.integers(0, len(durations) - 2))
            action = draw(st.sampled_from(("lose", "join", "add", "change")))
            if action == "lose":
                del durations[at]
            elif action == "join":
                durations[at : at + 2] = [durations[at] + durations[at + 1]]
            elif action == "add":
                durations.insert(at, draw(_odd_times))
            else:
                durations[at] = draw(_odd_times)
    return durations
