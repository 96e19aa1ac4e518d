"""JSON Lines output: each event from its ``as_dict()``, and a summary as the last line."""

from __future__ import annotations

import json
from collections.abc import Callable

from ..inspect.cause import Diagnosis
from ..instruction import Event
from .summary import Summary

__all__ = ["JsonLines"]


class JsonLines:
    """Writes events as JSON Lines.

    :param write: is called with each line.
    """

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write

    def event(self, event: Event, diagnosis: Diagnosis | None = None) -> None:
        """Take the next event. A diagnosis is written after its fault."""
        self._write(json.dumps(event.as_dict()))
        if diagnosis is not None:
            self._write(json.dumps(diagnosis.as_dict()))

    def pause(self) -> None:
        """Called before waiting for input. Nothing to do, because nothing is held back."""

    def end(self, summary: Summary | None) -> None:
        """End of the events. ``summary`` is ``None`` if the input could not be read to its end."""
        if summary is not None:
            self._write(json.dumps(summary.as_dict()))
