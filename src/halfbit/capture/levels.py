"""Levels sampled at a fixed rate: the characters 0 and 1 (spaces and line ends are ignored), or the bytes 0 and 1."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import closing

from ..error import AmbiguousError, CaptureError
from ..edge_samples import changes
from .capture_edges import CaptureEdges
from .options import Options
from .source import Source

__all__ = ["read_levels"]

_NOT_BYTES = re.compile(rb"[^\x00\x01]")
_NOT_TEXT = re.compile(rb"[^01 \t\r\n]")

_LEVELS = bytes.maketrans(b"01", b"\x00\x01")  #: Characters to levels.
_SPACES = b" \t\r\n"


def read_levels(source: Source, options: Options) -> CaptureEdges:
    """The edges of sampled levels.

    :raises CaptureError: if the file holds no levels, or if the sampling rate is not known.
    """
    if options.unit is None:
        problem = "nothing says how many levels there are per second: give unit=250kHz or another rate"
        raise AmbiguousError(problem, "unit")
    with closing(source.look()) as chunks:
        start = next(filter(None, (chunk.lstrip(_SPACES) for chunk in chunks)), b"")
    if not start:
        raise CaptureError("holds no levels")
    as_text = start[0] > 1
    return CaptureEdges(
        source.name, lambda: changes(_levels(source.chunks(), as_text), "level", 1), words="levels", unit=options.unit
    )


def _levels(chunks: Iterable[bytes], as_text: bool) -> Iterator[bytes]:
    """The levels as bytes 0 and 1. Those before a wrong one come out first."""
    at = 0  # bytes so far
    for chunk in chunks:
        wrong = (_NOT_TEXT if as_text else _NOT_BYTES).search(chunk)
        sound = chunk[: wrong.start()] if wrong else chunk
        yield sound.translate(_LEVELS, _SPACES) if as_text else sound
        if wrong:
            byte = wrong[0][0]
            shown = repr(chr(byte)) if 32 <= byte < 127 else f"0x{byte:02x}"
            raise CaptureError(f"{shown} is neither 0 nor 1", f"byte {at + len(sound) + 1}")
        at += len(chunk)
