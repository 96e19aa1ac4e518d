"""Streams to read from, and short ways to read them."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO, cast

import pytest

from halfbit.capture import open_capture
from halfbit.error import CaptureError

__all__ = ["Pieces", "error_of", "in_bulk", "times_of"]


class Pieces:
    """A live stream: each read gives one piece, whatever was asked for."""

    def __init__(self, pieces: Iterable[bytes]) -> None:
        self._pieces: Iterator[bytes] = iter(pieces)
        #: How many reads there were.
        self.reads = 0

    def read(self, size: int = -1) -> bytes:
        self.reads += 1
        return next(self._pieces, b"")

    @classmethod
    def of(cls, data: bytes, sizes: Iterable[int]) -> BinaryIO:
        """Cut at the given sizes, over and over; what is left comes last."""

        def cut() -> Iterator[bytes]:
            at = 0
            for size in sizes:
                if at >= len(data):
                    return
                yield data[at : at + size]
                at += size
            if at < len(data):
                yield data[at:]

        return cast(BinaryIO, cls(cut()))


def times_of(data: bytes, **options: Any) -> list[int]:
    """The edges' times, one by one and in bulk, which must be the same."""
    one_by_one = [edge.time for edge in open_capture(io.BytesIO(data), **options)]
    bulk = in_bulk(data, **options)
    assert one_by_one == bulk or not one_by_one and bulk == [0]
    return one_by_one


def in_bulk(data: bytes, **options: Any) -> list[int]:
    """The edges' times in bulk."""
    times = [0]
    for durations, scale in open_capture(io.BytesIO(data), **options)._rows():
        for duration in durations:
            times.append(times[-1] + duration * scale)
    return times


def error_of(data: bytes, **options: Any) -> CaptureError:
    """The error a capture ends with, which is the same one by one and in bulk."""
    with pytest.raises(CaptureError) as bulk:
        in_bulk(data, **options)
    with pytest.raises(CaptureError) as one_by_one:
        list(open_capture(io.BytesIO(data), **options))
    assert str(one_by_one.value) == str(bulk.value)
    return bulk.value
