"""Edges that know the file they come from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ..batch import Batch
from ..edge import Edge, RawEdges
from ..error import CaptureError
from ..unit import Unit

__all__ = ["CaptureEdges"]


class CaptureEdges(RawEdges):
    """As :class:`halfbit.Edges`, whose errors name the file."""

    def __init__(
        self,
        file: str,
        batches: Callable[[], Iterable[Batch]],
        *,
        are_durations: bool,
        unit: Unit = "us",
        wrap: int | None = None,
        level: int = 1,
        remarks: Callable[[], tuple[str, ...]] = tuple,
    ) -> None:
        super().__init__(batches, are_durations=are_durations, unit=unit, wrap=wrap, level=level)
        self._file = file
        self._remarks = remarks

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the user should know of how the file was read, in words; complete once it has been gone through."""
        return self._remarks()

    def __iter__(self) -> Iterator[Edge]:
        try:
            yield from super().__iter__()
        except CaptureError as error:
            raise error.within(self._file) from None

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        try:
            yield from super()._rows()
        except CaptureError as error:
            raise error.within(self._file) from None
