"""Readers of capture files. Each reader returns edges (level changes with their times)."""

from .capture_edges import CaptureEdges
from .format import FORMATS, Format, open_capture
from .options import Column, Options
from .source import Location, Source, StreamSource, source_of

__all__ = [
    "FORMATS", "CaptureEdges", "Column", "Format", "Location", "Options", "Source", "StreamSource", "open_capture",
    "source_of",
]  # fmt: skip
