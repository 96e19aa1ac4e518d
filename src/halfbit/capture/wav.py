"""Recordings of a sound card (WAV): one channel, or two channels for the two rails.

A sound card's input is AC-coupled (through a capacitor), so it does not hold a level. After a long half of a
stretched zero both levels have shifted. So two thresholds are used:

- *If* the level has changed is decided at zero, with a small hysteresis, because such an input drifts
  around zero. If the middle of the two levels at the start is far from zero, that middle is used instead.
- *When* it has changed is decided at a local middle: the middle of the levels directly before and after
  the change, within a half of a one-bit. These have shifted together. The time is where the straight line
  between two samples crosses this middle.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from fractions import Fraction
from operator import sub

from ..batch import Batch
from ..edge_samples import turns
from ..error import AmbiguousError, CaptureError, HalfbitError
from .capture_edges import CaptureEdges
from .options import Options
from .source import Source
from .threshold import Threshold, threshold_of
from .wav_head import Form, read_form, samples_in

__all__ = ["read_wav"]

#: How far on each side of a change its levels are searched, s: about half of a one-bit (S-9.1 A, table 1).
REACH = Fraction(60, 1_000_000)


def read_wav(source: Source, options: Options) -> CaptureEdges:
    """The edges of a recording.

    :raises CaptureError: if it is not a WAV file, if its samples are compressed, or if the channel does not exist.
    """
    with closing(source.look()) as chunks:
        form, data = read_form(chunks)
        rails = _rails(form, options)
        full = form.full_scale
        values = ([value / full for value in row] for row in _values(data, form, rails, whole=False))
        threshold = threshold_of(values, options.threshold, options.hysteresis, share=1 / 8, zero=True)
    channel = f" of channel {rails[0] + 1}" if form.channels > 1 else ""
    remark = f"{form.rate} samples a second, full scale is 1; {threshold}"
    return CaptureEdges(
        source.name, lambda: _edges(source, rails, threshold), words=f"samples{channel}", unit=form.rate,
        remarks=lambda: (remark,),
    )  # fmt: skip


def _edges(source: Source, rails: Sequence[int], threshold: Threshold) -> Iterator[Batch]:
    with closing(source.chunks()) as chunks:
        form, data = read_form(chunks)
        scaled = Threshold(threshold.middle * form.full_scale, threshold.hysteresis * form.full_scale)
        finder = _Finder(scaled, max(2, round(REACH * form.rate)))
        for values in _values(data, form, rails, whole=True):
            yield from finder.take(values)
    yield from finder.finish()


class _Finder:
    """Takes samples and gives the times of the changes, in samples from the first one.

    :param threshold: in the unit of the samples.
    :param reach: number of samples on each side of a change from which the local levels are taken.
    """

    def __init__(self, threshold: Threshold, reach: int) -> None:
        self._threshold = threshold
        self._reach = reach
        self._kept: list[float] = []  # samples that may still be needed
        self._number = 0  # number of the first kept sample
        self._at = 0  # index of the first kept sample that has not been searched yet
        self._level: int | None = None
        self._last = 0.0  # time of the change before

    def take(self, values: Sequence[float]) -> Iterator[Batch]:
        """Take more samples. A change comes out once the samples after it have arrived."""
        self._kept += values
        yield from self._found(len(self._kept) - self._reach - 1)
        spare = max(self._at - 3 * self._reach, 0)
        del self._kept[:spare]
        self._number += spare
        self._at -= spare

    def finish(self) -> Iterator[Batch]:
        """End of the samples: find the last changes."""
        yield from self._found(len(self._kept))

    def _found(self, end: int) -> Iterator[Batch]:
        start = self._at
        if end <= start:
            return
        found, first, level = turns(self._threshold.levels(self._kept[start:end]), self._level)
        times = [self._change(start + at, rising=(first == 1) == (index % 2 == 0)) for index, at in enumerate(found)]
        self._at, self._level = end, level
        if times:
            yield Batch(times, lambda index: f"sample {int(times[index]) + 1}", first)

    def _change(self, at: int, rising: bool) -> float:
        """The time of a change. ``at`` is the first sample beyond the hysteresis."""
        values, middle, reach = self._kept, self._threshold.middle, self._reach
        back = range(at, max(at - 2 * reach, 1) - 1, -1)
        at = next((index for index in back if (values[index - 1] >= middle) != rising), at)
        before = values[max(at - reach, 0) : at]
        after = values[at : at + reach]
        local = (min(before) + max(after) if rising else max(before) + min(after)) / 2
        # Search outwards from the change at the fixed middle: the local middle is crossed nearby.
        near = sorted(range(max(at - reach, 1), min(at + reach, len(values) - 1) + 1), key=lambda i: abs(i - at))
        crossed = next((i for i in near if (values[i] >= local) == rising != (values[i - 1] >= local)), None)
        at, local = (at, middle) if crossed is None else (crossed, local)
        early, late = values[at - 1], values[at]
        part = (local - early) / (late - early) if early != late else 1.0
        # Two changes close together have different local middles, which could swap their order.
        self._last = max(self._last, self._number + at - 1 + min(max(part, 0.0), 1.0))
        return self._last


def _rails(form: Form, options: Options) -> tuple[int, ...]:
    """The indices of the channels to read."""
    channels, said, other = form.channels, options.channel, options.other_rail
    if isinstance(other, str):
        raise HalfbitError(f"other_rail: {other!r} is not the number of a channel, from 1")
    for option, number in (("channel", said), ("other_rail", other)):
        if number is not None and number > channels:
            raise CaptureError(f"{option}: there is no channel {number}; there are {channels}")
    if said is None:
        left = [number for number in range(1, channels + 1) if number != other]
        if len(left) != 1:
            two = ", and other_rail=N if they are the two rails" if channels == 2 else ""
            raise AmbiguousError(f"has {channels} channels; say which with channel=N{two}", "channel", tuple(left))
        said = left[0]
    if said == other:
        raise CaptureError("channel and other_rail are the same")
    if form.frames == 0:
        raise CaptureError("holds no samples")
    return (said - 1,) if other is None else (said - 1, other - 1)


def _values(data: Iterable[bytes], form: Form, rails: Sequence[int], whole: bool) -> Iterator[Sequence[float]]:
    """The samples of the channel, or the difference of two channels, in batches.

    :param whole: True if fewer samples than the head says are an error.
    :raises CaptureError: in that case, after all the samples have come out.
    """
    size = form.width * form.channels
    count = 0
    rest = b""
    for chunk in data:
        rest += chunk
        end = len(rest) // size * size
        try:
            samples = samples_in(rest[:end], form)
        except CaptureError as error:
            raise error.at(f"sample {count + 1} or one of the next {end // size}") from None
        rest = rest[end:]
        count += end // size
        rows = [samples[rail :: form.channels] for rail in rails]
        yield rows[0] if len(rows) == 1 else list(map(sub, *rows))
    if whole and form.frames is not None and count < form.frames:
        raise CaptureError(f"is cut short: its head says {form.frames} samples", f"sample {count}")
