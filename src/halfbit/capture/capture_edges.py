"""Edges that know the file they come from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ..batch import Batch
from ..edge import RawEdges
from ..error import CaptureError, LastLineError
from ..unit import Unit

__all__ = ["CaptureEdges"]


class CaptureEdges(RawEdges):
    """Edges read from a file. Like :class:`halfbit.Edges`, but errors name the file.

    :param words: what the file holds: ``"durations"``, ``"times of changes"``...
    :param unit: unit of the numbers. ``None`` if neither the file nor the caller gives it; then us is assumed.
    """

    def __init__(
        self, file: str, batches: Callable[[], Iterable[Batch]], *, words: str, are_durations: bool = False,
        unit: Unit | None = None, wrap: int | None = None, remarks: Callable[[], tuple[str, ...]] = tuple,
    ) -> None:  # fmt: skip
        super().__init__(batches, are_durations=are_durations, unit=unit or "us", wrap=wrap)
        self.words = words  #: What the file holds, in words.
        self.unit = unit  #: Unit given by the file or the caller; ``None`` if neither gives one.
        self.leaves_last = False  #: True if a last line without a line end is skipped. False if it is an error.
        self._left: tuple[str, ...] = ()
        self._file = file
        self._remarks = remarks

    @property
    def remarks(self) -> tuple[str, ...]:
        """Notes for the user about how the file was read. Complete only after the edges have been read to the end."""
        return (*self._remarks(), *self._left)

    def _batch_rows(self) -> Iterator[tuple[Batch, tuple[Sequence[int], int]]]:
        try:
            yield from super()._batch_rows()
        except CaptureError as error:
            if not (self.leaves_last and isinstance(error, LastLineError)):
                raise error.within(self._file) from None
            self._left = (f"{error.place} was left out: {error.problem}",)
