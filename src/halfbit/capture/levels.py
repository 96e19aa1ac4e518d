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

_BYTES = re.compile(rb"[\x00\x01]*")
_TEXT = re.compile(rb"[01 \t\r\n]*")

#: Characters to levels.
_LEVELS = bytes.maketrans(b"01", b"\x00\x01")
_SPACES = b" \t\r\n"


def read_levels(source: Source, options: Options) -> CaptureEdges:
    """The edges of sampled levels.

    :raises CaptureError: if the file holds no levels, or if the sampling rate is not known.
    """
    if options.unit is None:
        raise AmbiguousError("nothing says how many levels there are per second: give unit=250kHz or another rate", "unit")
    with closing(source.look()) as chunks:
        for chunk in chunks:
            if chunk.strip(_SPACES):
                break
        else:
            raise CaptureError("holds no levels")
    as_text = chunk.lstrip(_SPACES)[0] > 1
    return CaptureEdges(
        source.name,
        lambda: changes(_levels(source.chunks(), as_text), "level", 1),
        words="levels",
        unit=options.unit,
    )


def _levels(chunks: Iterable[bytes], as_text: bool) -> Iterator[bytes]:
    """The levels as bytes 0 and 1. Those before a wrong one come out first."""
    at = 0  # bytes so far
    for chunk in chunks:
        good = (_TEXT if as_text else _BYTES).match(chunk)
        sound = chunk[: good.end()] if good else b""
        yield sound.translate(_LEVELS, _SPACES) if as_text else sound
        if len(sound) < len(chunk):
            wrong = chunk[len(sound) : len(sound) + 1]
            shown = repr(wrong.decode("ascii")) if 32 <= wrong[0] < 127 else f"0x{wrong[0]:02x}"
            raise CaptureError(f"{shown} is neither 0 nor 1", f"byte {at + len(sound) + 1}")
        at += len(chunk)
