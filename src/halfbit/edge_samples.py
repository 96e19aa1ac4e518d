"""Levels sampled at a fixed rate to the samples at which they change."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial

from .batch import Batch, batches_of, each_until_error, plain
from .error import CaptureError

#: Used instead of a level: the level has not changed.
SAME = 2


def changes(rows: Iterable[bytes], word: str = "item", first: int = 0) -> Iterator[Batch]:
    """The indices of the samples that differ from the one before.

    :param rows: levels 0 and 1.
    :param word: what a sample is called in errors.
    :param first: the number of the first sample in errors.
    """
    level: int | None = None
    start = 0
    for row in rows:
        found, opening, level = turns(row, level)
        indices = [start + at for at in found]
        start += len(row)
        if indices:
            yield Batch(indices, partial(_place, indices, word, first), opening)


def turns(levels: bytes, level: int | None) -> tuple[list[int], int | None, int | None]:
    """Find where the level changes.

    :param levels: 0, 1, or 2 (:data:`SAME`) each.
    :param level: the level before; ``None`` if it is not known. Then the first 0 or 1 only gives the level.
    :returns: the indices, the level after the first of them, and the level after the last one.
    """
    if level is None:
        level = next((seen for seen in levels if seen != SAME), None)
        if level is None:
            return [], None, None
    first = 1 - level
    found = []
    at = levels.find(first)
    while at >= 0:
        found.append(at)
        level = 1 - level
        at = levels.find(1 - level, at)
    return found, first, level


def levels_in(samples: Iterable[int]) -> Iterator[bytes]:
    """The samples as levels, in rows. Those before one that is wrong are not lost with it."""
    return (row for batch in batches_of(samples) for row in each_until_error(_level_row, batch))


def _level_row(batch: Batch) -> bytes:
    levels = plain(batch)
    if not set(levels) <= {0, 1}:
        index = next(i for i, level in enumerate(levels) if level not in (0, 1))
        raise CaptureError(f"level {levels[index]!r} is neither 0 nor 1", batch.place(index))
    return bytes(map(int, levels))


def _place(indices: Sequence[int], word: str, first: int, index: int) -> str:
    return f"{word} {indices[index] + first}"
