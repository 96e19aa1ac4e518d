"""Recordings of a sound card (WAV): one channel, or two as the two rails.

An input behind a capacitor does not keep a level: after a long half of a stretched zero both levels have moved.
So there are two thresholds. Whether the level has changed is told by zero, about which such an input
wanders (or by what lies between the two levels at the start, where that is far from zero), with a small
hysteresis. When it has changed is where the line between two samples crosses the middle of the levels
that stand right before and right after, within a half of a one-bit, and those have moved together.
"""

from __future__ import annotations

import io
import sys
import wave
from array import array
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing, contextmanager
from fractions import Fraction
from operator import sub
from typing import IO, cast

import attrs

from ..batch import Batch
from ..error import CaptureError, HalfbitError
from .capture_edges import CaptureEdges
from .options import Options
from .source import Source
from .threshold import Threshold, threshold_of

__all__ = ["read_wav"]

#: Frames read at once.
FRAMES = 1 << 12

#: How far to either side of a change its levels are looked for: no further than half of a one-bit
#: lasts, 58 us nominally (S-9.1 A, table 1).
REACH = Fraction(60, 1_000_000)

#: A recorder that writes to a pipe does not know how much there will be, and says so many bytes or more.
_UNKNOWN = 0x7FFF0000

_FULL_SCALE = {1: 1 << 7, 2: 1 << 15, 3: 1 << 31, 4: 1 << 31}  # 24 bits are read as the upper ones of 32


@attrs.frozen
class _Recording:
    """What a file's head says, and which channels to take."""

    rate: int
    #: Bytes of a sample.
    width: int
    channels: int
    #: Indices of those taken.
    rails: tuple[int, ...]
    #: How many frames there should be; ``None`` where that was not known when the head was written.
    frames: int | None

    @property
    def full_scale(self) -> int:
        return _FULL_SCALE[self.width]


def read_wav(source: Source, options: Options) -> CaptureEdges:
    """The edges of a recording.

    :raises CaptureError: where it is none of uncompressed samples, or there is no such channel.
    """
    with closing(source.look()) as chunks, _opened(chunks) as file:
        recording = _recording(file, options)
        full = recording.full_scale
        threshold = threshold_of(
            ([value / full for value in values] for values in _values(file, recording, whole=False)),
            options.threshold,
            options.hysteresis,
            share=1 / 8,
            zero=True,
        )
    return CaptureEdges(
        source.name,
        lambda: _edges(source, recording, threshold),
        are_durations=False,
        unit=recording.rate,
        remarks=lambda: (f"{recording.rate} samples a second, full scale is 1; {threshold}",),
    )


def _edges(source: Source, recording: _Recording, threshold: Threshold) -> Iterator[Batch]:
    full = recording.full_scale
    finder = _Finder(
        threshold.middle * full, threshold.hysteresis * full / 2, max(2, round(REACH * recording.rate))
    )
    with closing(source.chunks()) as chunks, _opened(chunks) as file:
        for values in _values(file, recording, whole=True):
            yield from finder.take(values)
    yield from finder.finish()


class _Finder:
    """Samples in; the changes out, in samples from the first one.

    :param middle: what parts the levels.
    :param beyond: how far beyond it a level counts.
    :param reach: how many samples to either side of a change show the levels next to it.
    """

    def __init__(self, middle: float, beyond: float, reach: int) -> None:
        self._middle = middle
        self._upper = middle + beyond
        self._lower = middle - beyond
        self._reach = reach
        self._kept: list[int] = []  # samples that may still be needed
        self._number = 0  # of the first of them
        self._at = 0  # index among them from which on no change has been looked for
        self._level: int | None = None
        self._last = 0.0  # the change before

    def take(self, values: Sequence[int]) -> Iterator[Batch]:
        """Take more samples. A change comes out once the samples after it are there."""
        self._kept += values
        yield from self._found(len(self._kept) - self._reach - 1)
        spare = self._at - 3 * self._reach
        if spare > 0:
            del self._kept[:spare]
            self._number += spare
            self._at -= spare

    def finish(self) -> Iterator[Batch]:
        """There are no more samples."""
        yield from self._found(len(self._kept))

    def _found(self, end: int) -> Iterator[Batch]:
        start = self._at
        if end <= start:
            return
        row = self._kept[start:end]
        upper, lower = self._upper, self._lower
        beyond = bytes([value < lower for value in row]), bytes([value >= upper for value in row])
        at = 0
        if self._level is None:
            first = [where for where in (side.find(1) for side in beyond) if where >= 0]
            if not first:
                self._at = end
                return
            at = min(first)
            self._level = beyond[1][at]
        opening = 1 - self._level
        times: list[float] = []
        at = beyond[opening].find(1, at)
        while at >= 0:
            self._level = 1 - self._level
            times.append(self._change(start + at))
            at = beyond[1 - self._level].find(1, at)
        self._at = end
        if times:
            yield Batch(times, lambda index: f"sample {int(times[index]) + 1}", opening)

    def _change(self, at: int) -> float:
        """The time of the change to the present level; the sample ``at`` is the first beyond."""
        values, middle, reach = self._kept, self._middle, self._reach
        rising = self._level == 1
        for where in range(at, max(at - 2 * reach, 1) - 1, -1):
            if (values[where - 1] >= middle) != rising:
                at = where
                break
        before = values[max(at - reach, 0) : at]
        after = values[at : at + reach]
        local = (min(before) + max(after) if rising else max(before) + min(after)) / 2
        # From the change at the fixed middle outwards: the local one is crossed nearby.
        near = sorted(range(max(at - reach, 1), min(at + reach, len(values) - 1) + 1), key=lambda i: abs(i - at))
        for i in near:
            if (values[i - 1] < local <= values[i]) if rising else (values[i - 1] >= local > values[i]):
                at = i
                break
        else:
            local = middle
        early, late = values[at - 1], values[at]
        part = (local - early) / (late - early) if early != late else 1.0
        # Two changes close together may swap their places where each has a middle of its own.
        self._last = max(self._last, self._number + at - 1 + min(max(part, 0.0), 1.0))
        return self._last


@contextmanager
def _opened(chunks: Generator[bytes, None, None]) -> Iterator[wave.Wave_read]:
    """The recording in some bytes.

    :raises CaptureError: where there is none.
    """
    try:
        file = wave.open(cast(IO[bytes], _Pieces(chunks)), "rb")
    except EOFError:
        raise CaptureError("ends within its head: is empty, or cut short") from None
    except wave.Error as error:
        raise CaptureError(_no_recording(str(error))) from None
    with file:
        yield file


def _no_recording(words: str) -> str:
    if "unknown format" in words:
        return f"{words}: save it as plain PCM, 16 bits, say"
    if "RIFF" in words or "WAVE" in words:
        return f"is no WAV file ({words})"
    return f"cannot be read as WAV: {words}"


def _recording(file: wave.Wave_read, options: Options) -> _Recording:
    channels, width, rate, frames, *_ = file.getparams()
    if width not in _FULL_SCALE:
        raise CaptureError(f"has samples of {8 * width} bits; 8, 16, 24 and 32 can be read")
    if rate < 1:
        raise CaptureError(f"says it has {rate} samples a second")
    said = options.channel
    other = options.other_rail
    if isinstance(other, str):
        raise HalfbitError(f"other_rail: {other!r} is not the number of a channel, from 1")
    for option, number in (("channel", said), ("other_rail", other)):
        if number is not None and number > channels:
            raise CaptureError(f"{option}: there is no channel {number}; there are {channels}")
    if said is None:
        left = [number for number in range(1, channels + 1) if number != other]
        if len(left) != 1:
            raise CaptureError(f"has {channels} channels; say which: channel" + _two(channels))
        said = left[0]
    if said == other:
        raise CaptureError("channel and other_rail are the same")
    rails = (said - 1,) if other is None else (said - 1, other - 1)
    if frames == 0:
        raise CaptureError("holds no samples")
    unknown = frames * width * channels >= _UNKNOWN
    return _Recording(rate, width, channels, rails, None if unknown else frames)


def _two(channels: int) -> str:
    return " (and other_rail, if it is the other rail)" if channels == 2 else ""


def _values(file: wave.Wave_read, recording: _Recording, whole: bool) -> Iterator[Sequence[int]]:
    """The samples of the channel, or the difference of two, some at a time.

    :param whole: whether it is an error when there are fewer than the head says.
    :raises CaptureError: in that case, once all there are have come out.
    """
    size = recording.width * recording.channels
    count = 0
    while True:
        data = file.readframes(FRAMES)
        got = len(data) // size
        count += got
        if got:
            samples = _samples(data[: got * size], recording.width)
            rails = [samples[rail :: recording.channels] for rail in recording.rails]
            yield rails[0] if len(rails) == 1 else list(map(sub, *rails))
        if got < FRAMES:
            break
    if whole and recording.frames is not None and count < recording.frames:
        raise CaptureError(f"is cut short: its head says {recording.frames} samples", f"sample {count}")


def _samples(data: bytes, width: int) -> Sequence[int]:
    """Samples of all channels as integers about 0; 24 bits as the upper ones of 32.

    :param data: in the machine's byte order, as :mod:`wave` gives them.
    """
    if width == 1:
        return array("b", bytes(data).translate(_SIGNED))
    if width == 3:
        wide = bytearray(len(data) // 3 * 4)
        for byte in range(3):
            wide[byte + (sys.byteorder == "little") :: 4] = data[byte::3]
        data, width = bytes(wide), 4
    return array("h" if width == 2 else "i", data)


#: Samples of 8 bits have no sign (128 is zero), wider ones have.
_SIGNED = bytes((value - 128) % 256 for value in range(256))


class _Pieces(io.RawIOBase):
    """Chunks as a file that can only be read on."""

    def __init__(self, chunks: Generator[bytes, None, None]) -> None:
        self._chunks = chunks
        self._rest = b""

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        parts = [self._rest]
        have = len(self._rest)
        while size < 0 or have < size:
            chunk = next(self._chunks, b"")
            if not chunk:
                break
            parts.append(chunk)
            have += len(chunk)
        data = b"".join(parts)
        size = len(data) if size < 0 else size
        self._rest = data[size:]
        return data[:size]
