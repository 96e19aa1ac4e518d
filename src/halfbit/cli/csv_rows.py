"""CSV output: a row for each instruction, loss and cutout; times in ns."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

from ..event import Fault
from ..inspect.cause import Diagnosis, fault_words
from ..limits import RECEIVE, Limits
from ..instruction import Event, Instruction
from .summary import Summary

__all__ = ["CsvRows"]

NAMES = ("start_ns", "end_ns", "what", "address", "instruction", "bytes", "preamble", "cause", "text")


class CsvRows:
    """Writes events as CSV lines.

    :param write: is called with each line.
    """

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write
        #: The limits used for decoding.
        self.limits: Limits = RECEIVE
        self._put(*NAMES)

    def event(self, event: Event, diagnosis: Diagnosis | None = None) -> None:
        """Take the next event."""
        if isinstance(event, Instruction):
            packet = event.packet
            assert packet is not None  # it was decoded, not built by hand
            self._put(
                packet.start, packet.end, "instruction", event.address, event.name, packet, packet.preamble, "", event
            )
        elif isinstance(event, Fault):
            cause = "" if diagnosis is None else diagnosis.cause.value
            words = fault_words(event, self.limits)
            text = words if diagnosis is None else f"{words}; {diagnosis}"
            self._put(event.start, event.end, "lost", "", "", event.data.hex(" ").upper(), "", cause, text)
        else:
            self._put(event.start, event.end, "cutout", "", "", "", "", "", event)

    def pause(self) -> None:
        """Called before waiting for input. Nothing to do, because nothing is held back."""

    def end(self, summary: Summary | None) -> None:
        """End of the events."""

    def _put(self, *cells: object) -> None:
        line = io.StringIO()
        csv.writer(line, lineterminator="").writerow(cells)
        self._write(line.getvalue())
