"""Edges that know the file they come from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ..batch import Batch
from ..edge import Edge, RawEdges
from ..error import CaptureError
from ..unit import Unit
from .unsaid import LastLineError

__all__ = ["CaptureEdges"]


class CaptureEdges(RawEdges):
    """As :class:`halfbit.Edges`, whose errors name the file.

    :param words: what the file holds: ``"durations"``, ``"times of changes"``...
    :param unit: ``None`` if neither the file nor the caller says it; then it is taken to be us.
    """

    def __init__(
        self,
        file: str,
        batches: Callable[[], Iterable[Batch]],
        *,
        words: str,
        are_durations: bool = False,
        unit: Unit | None = None,
        wrap: int | None = None,
        level: int = 1,
        remarks: Callable[[], tuple[str, ...]] = tuple,
    ) -> None:
        super().__init__(
            batches, are_durations=are_durations, unit="us" if unit is None else unit, wrap=wrap, level=level
        )
        #: What the file holds.
        self.words = words
        #: As the file or the caller says it.
        self.unit = unit
        #: True if a last line without line end is left out instead of refused.
        self.leaves_last = False
        self._left: tuple[str, ...] = ()
        self._file = file
        self._remarks = remarks

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the user should know of how the file was read, in words; complete once it has been gone through."""
        return (*self._remarks(), *self._left)

    def __iter__(self) -> Iterator[Edge]:
        try:
            yield from super().__iter__()
        except CaptureError as error:
            self._end(error)

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        try:
            yield from super()._rows()
        except CaptureError as error:
            self._end(error)

    def _end(self, error: CaptureError) -> None:
        if not (self.leaves_last and isinstance(error, LastLineError)):
            raise error.within(self._file) from None
        self._left = (f"{error.place} was left out: {error.problem}",)
