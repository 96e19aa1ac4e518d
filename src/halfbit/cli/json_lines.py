"""What is decoded, as JSON Lines: each event as its own ``as_dict()`` has it, and a summary as the last line."""

from __future__ import annotations

import json
from collections.abc import Callable

from ..inspect.diagnosis import Diagnosis
from ..instruction import Event
from .summary import Summary

__all__ = ["JsonLines"]


class JsonLines:
    """Takes events, writes lines.

    :param write: takes a line.
    """

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write

    def event(self, event: Event, diagnosis: Diagnosis | None = None) -> None:
        """Take the next event; a diagnosis follows its fault."""
        self._write(json.dumps(event.as_dict()))
        if diagnosis is not None:
            self._write(json.dumps(diagnosis.as_dict()))

    def pause(self) -> None:
        """Nothing is ever held back."""

    def end(self, summary: Summary | None) -> None:
        """No event will come. Without a summary, because the input could not be read on."""
        if summary is not None:
            self._write(json.dumps(summary.as_dict()))
