"""Pictures of signals: a one and a zero, a packet at five layers, each kind of fault."""

from __future__ import annotations

from collections.abc import Callable

import attrs

from halfbit import (
    RECEIVE,
    TRANSMIT,
    Fault,
    FaultKind,
    HalfBitKind,
    Limits,
    bits,
    decode,
    edges_from_durations,
    half_bits,
)
from halfbit.inspect import Mark, strips
from halfbit.simulate.distort import lost_edge, spike
from halfbit.simulate.signal import NOMINAL, bit_durations, packet_bits, packet_durations, with_error_byte

from .strips import Layers, strip_drawing
from .svg import Drawing

__all__ = ["FAULTS", "fault", "five_layers", "one_and_zero"]

US = 1000
#: The worked value of S-9.2: short address 55, forward, step 6 of 28.
WORKED = bytes.fromhex("37 74 43")
PACKET = packet_durations(WORKED, 16)
TAIL = bit_durations([1] * 14)


def one_and_zero() -> Drawing:
    """A one and a zero, nominal, over the windows in which a decoder must accept their halves."""
    drawing = Drawing(760, 268)
    per_us = 2.6
    left = 96.0
    drawing.text(4, 40, "one-bit", bold=True)
    drawing.text(4, 108, "zero-bit", bold=True)
    for y, halves in ((24, (NOMINAL.one_first, NOMINAL.one_last)), (92, (NOMINAL.zero_first, NOMINAL.zero_last))):
        x = left
        points = [(x, y + 24.0)]
        for number, half in enumerate(halves):
            end = x + half / US * per_us
            height = float(y if number == 0 else y + 24)
            points += [(x, height), (end, height)]
            drawing.text((x + end) / 2, y + (16 if number == 0 else 14), f"{half // US} us", 12, "middle")
            x = end
        drawing.line(*points, (x, float(y)))
    scale = 4.8
    base = 222.0
    drawing.text(4, 186, "half-bit", bold=True)
    drawing.text(4, 202, "accepted", bold=True)

    def at(microseconds: float) -> float:
        return left + (microseconds - 40) * scale

    drawing.line((at(40), base), (at(170), base), kind="faint")
    for name, low, high, kind in (
        ("one", RECEIVE.one_min, RECEIVE.one_max, "one"),
        ("zero, up to 10000 us when stretched", RECEIVE.zero_min, 170 * US, "zero"),
    ):
        drawing.box(at(low / US), base - 40, at(high / US) - at(low / US), 40, kind)
        drawing.text((at(low / US) + at(high / US)) / 2, base - 16, name, 13, "middle")
    drawing.text((at(RECEIVE.one_max / US) + at(RECEIVE.zero_min / US)) / 2, base - 16, "neither", 13, "middle", faint=True)
    for edge in (RECEIVE.one_min, RECEIVE.one_max, RECEIVE.zero_min):
        drawing.line((at(edge / US), base), (at(edge / US), base + 6))
        drawing.text(at(edge / US), base + 22, f"{edge // US} us", 12, "middle")
    return drawing


def _strip(durations: list[int], limits: Limits = RECEIVE) -> Layers:
    """The whole of a short signal at all layers."""
    edges = edges_from_durations(durations, "ns")
    # Only where single halves decide is there something to say of each.
    halves = list(half_bits(edges, limits)) if limits.decision == "halves" else []
    parts = list(strips(edges, limits, at=0, events=len(durations)))
    return Layers(
        [edge.time for edge in edges],
        0,
        [Mark(one.start, one.end, "?" if isinstance(one, Fault) else str(int(one.kind is HalfBitKind.ONE))) for one in halves],
        [Mark(one.start, one.end, "?" if isinstance(one, Fault) else str(one.value)) for one in bits(halves, limits)],
        [mark for part in parts for mark in part.parts],
        [mark for part in parts for mark in part.meanings],
    )


def five_layers() -> Drawing:
    """The worked packet of S-9.2 from its last preamble bits on, at the five layers."""
    strip = _strip(PACKET)
    return strip_drawing(strip, 2 * 12, len(strip.times) - 1, width=860)


def _at(durations: list[int], place: int, value: int) -> list[int]:
    return [*durations[:place], value * US, *durations[place + 1 :]]


# In PACKET: 16 preamble bits, the start bit from half-bit 32, the first byte 00110111 from half-bit 34.
_BYTE = 34
_SIGNALS: dict[str, Callable[[], list[int]]] = {
    "SHORT": lambda: spike(PACKET, _BYTE + 4, 20 * US, 9 * US) + TAIL,
    "GAP": lambda: _at(PACKET, _BYTE + 4, 75) + TAIL,
    "LONG": lambda: _at(PACKET, _BYTE + 3, 12_000) + TAIL,
    # The change between a one and the zero after it is missing: 58 and 100 us became 158.
    "UNPAIRED_ONE": lambda: lost_edge(PACKET, _BYTE + 8) + TAIL,
    # The change in the middle of a one is missing: 58 and 58 us became 116.
    "UNPAIRED_ZERO": lambda: lost_edge(PACKET, _BYTE + 5) + TAIL,
    "UNEQUAL": lambda: _at(_at(PACKET, _BYTE + 4, 54), _BYTE + 5, 63) + TAIL,
    "ZERO_TOO_LONG": lambda: _at(_at(PACKET, _BYTE + 2, 9_000), _BYTE + 3, 5_000) + TAIL,
    "SHORT_PREAMBLE": lambda: PACKET + packet_durations(WORKED, 7) + TAIL,
    "FEW_BYTES": lambda: packet_durations(with_error_byte(bytes.fromhex("37")), 16) + TAIL,
    "MANY_BYTES": lambda: packet_durations(with_error_byte(bytes.fromhex("37 F2 01 9F 95 80")), 16) + TAIL,
    "ERROR_BYTE": lambda: packet_durations(bytes.fromhex("37 74 47"), 16) + TAIL,
    "CUT": lambda: PACKET[_BYTE + 7 :] + TAIL,
    # Halves of zeros of 95 and 120 us. If changes can be seen 40 us late, either change of a bit could start it.
    "UNCLEAR": lambda: [
        half for bit in packet_bits(WORKED, 16) * 8 for half in ((58 * US, 58 * US) if bit else (95 * US, 120 * US))
    ]
    + TAIL,
}
_LIMITS = {
    "ZERO_TOO_LONG": TRANSMIT,
    "MANY_BYTES": TRANSMIT,
    "UNCLEAR": attrs.evolve(Limits.for_sampling_period(40), recover=False),
}
FAULTS = tuple(_SIGNALS)
#: Half-bits shown before and after the place of the fault.
_AROUND = {"CUT": (0, 44), "MANY_BYTES": (24, 10), "SHORT_PREAMBLE": (26, 14)}
#: First and last half-bit shown, where the fault is the packet's as a whole.
_SHOWN = {"ERROR_BYTE": (len(PACKET) - 46, len(PACKET) + 6), "FEW_BYTES": (26, 78), "UNCLEAR": (24, 48)}


def fault(name: str) -> Drawing:
    """A signal in which this kind of fault is found, around its place.

    :raises AssertionError: if the library finds another one.
    """
    kind = FaultKind[name]
    durations = _SIGNALS[name]()
    limits = _LIMITS.get(name, RECEIVE)
    found = next(event for event in decode(edges_from_durations(durations, "ns"), limits) if isinstance(event, Fault))
    assert found.kind is kind, f"{name}: the signal of the picture gives {found.kind.name}"
    strip = _strip(durations, limits)
    before, after = _AROUND.get(name, (10, 12))
    times = list(strip.times)
    place = next(index for index, time in enumerate(times) if time >= found.at)
    low, high = _SHOWN.get(name, (max(place - before, 0), min(place + after, len(times) - 1)))
    rows = ("level", "half-bits", "bits", "packet", "instruction") if strip.bits else ("level", "instruction")
    return strip_drawing(strip, low, high, rows=rows)
