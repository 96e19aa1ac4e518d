"""Levels sampled at a fixed rate to the samples at which they change."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from .batch import Batch, batches_of, plain
from .error import CaptureError

__all__ = ["changes"]


def changes(samples: Iterable[int]) -> Iterator[Batch]:
    """The indices of the samples that differ from the one before."""
    before: int | None = None
    start = 0
    for row in _levels(samples):
        indices = []
        level = row[0] if before is None else before
        first = 1 - level
        at = row.find(first)
        while at >= 0:
            indices.append(start + at)
            level = 1 - level
            at = row.find(1 - level, at)
        before = level
        start += len(row)
        if indices:
            yield Batch(indices, _items(indices), first)


def _levels(samples: Iterable[int]) -> Iterator[bytes]:
    """The samples as levels, in batches. Those before one that is wrong are not lost with it."""
    for batch in batches_of(samples):
        try:
            yield _level_row(batch)
        except CaptureError:
            yield from map(_level_row, batch.singly())


def _level_row(batch: Batch) -> bytes:
    levels = plain(batch)
    if not set(levels) <= {0, 1}:
        index = next(i for i, level in enumerate(levels) if level not in (0, 1))
        raise CaptureError(f"level {levels[index]!r} is neither 0 nor 1", batch.place(index))
    return bytes(map(int, levels))


def _items(indices: Sequence[int]) -> Callable[[int], str]:
    return lambda index: f"item {indices[index]}"
