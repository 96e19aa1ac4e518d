"""A sound card as it hears a track: a filter against aliases, a capacitor, noise, and whole numbers."""

from __future__ import annotations

import io
import math
import random
import wave
from collections.abc import Sequence

__all__ = ["heard", "recorded"]

#: Points of the filter's step response for each sample.
_FINE = 64
#: Samples to either side over which the filter reaches.
_HALF = 16


def _step_response() -> list[float]:
    """Of a low-pass at 0.45 of the sampling rate: a windowed sinc, added up."""
    total, steps = 0.0, [0.0]
    for index in range(2 * _HALF * _FINE):
        time = (index + 0.5) / _FINE - _HALF
        total += math.sin(0.9 * math.pi * time) / (math.pi * time) * (0.5 + 0.5 * math.cos(math.pi * time / _HALF))
        steps.append(total)
    return [step / total for step in steps]


_STEPS = _step_response()


def heard(
    changes: Sequence[int],
    rate: int,
    rng: random.Random,
    *,
    corner: float = 10.0,
    noise: float = 0.005,
    level: float = 0.3,
    offset: float = 0.0,
) -> list[float]:
    """The samples of a signal, full scale being 1.

    :param changes: times of its level changes, ns.
    :param corner: Hz below which the capacitor lets little through; 0 for an input without one.
    :param noise: of each sample, as a share of the level.
    :param level: of the signal: it goes from ``-level`` to ``level``.
    :param offset: what is added to all samples.
    """
    places = [change * rate / 1e9 for change in changes]
    share = 1 - math.exp(-2 * math.pi * corner / rate)
    charge = -1.0 if corner else 0.0
    phase = rng.random()
    samples = []
    passed = 0
    for index in range(-_HALF, int(places[-1]) + 2 * _HALF):
        at = index + phase
        while passed < len(places) and places[passed] <= at - _HALF:
            passed += 1
        value = 1.0 if passed % 2 else -1.0
        near = passed
        while near < len(places) and places[near] < at + _HALF:
            step = _STEPS[round((at - places[near] + _HALF) * _FINE)]
            value += 2 * step if near % 2 == 0 else -2 * step
            near += 1
        charge += share * (value - charge)
        samples.append((value - charge + rng.gauss(0, noise)) * level + offset)
    return samples


def recorded(channels: Sequence[Sequence[float]], rate: int, width: int = 2) -> bytes:
    """A file as the wave module writes it.

    :param width: bytes of a sample.
    """
    full = (1 << 8 * width - 1) - 1
    frames = bytearray()
    for frame in zip(*channels):
        for value in frame:
            number = max(-full - 1, min(full, round(value * full)))
            frames += (number + 128 if width == 1 else number).to_bytes(width, "little", signed=width > 1)
    data = io.BytesIO()
    with wave.open(data, "wb") as file:
        file.setnchannels(len(channels))
        file.setsampwidth(width)
        file.setframerate(rate)
        file.writeframes(bytes(frames))
    return data.getvalue()
