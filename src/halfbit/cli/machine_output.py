"""Decoded events as JSON Lines and as CSV, for other programs."""

from __future__ import annotations

import csv
import json
import sys

from ..event import Fault
from ..inspect.cause import Diagnosis, fault_words
from ..instruction import Event, Instruction
from ..limits import Limits
from .summary import Summary

__all__ = ["CsvRows", "JsonLines"]

_COLUMNS = ("start_ns", "end_ns", "what", "address", "instruction", "bytes", "preamble", "cause", "text")


class JsonLines:
    """Writes each event's ``as_dict()`` as a line, and a summary as the last line."""

    def event(self, event: Event, diagnosis: Diagnosis | None, listed: bool) -> None:
        """Take the next event. A diagnosis is written after its fault."""
        if listed:
            print(json.dumps(event.as_dict()))
            if diagnosis is not None:
                print(json.dumps(diagnosis.as_dict()))

    def end(self, summary: Summary) -> None:
        """End of the events."""
        print(json.dumps(summary.as_dict()))


class CsvRows:
    """Writes a row for each instruction, loss and cutout; times in ns.

    :param limits: the limits used for decoding.
    """

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._put = csv.writer(sys.stdout, lineterminator="\n").writerow
        self._put(_COLUMNS)

    def event(self, event: Event, diagnosis: Diagnosis | None, listed: bool) -> None:
        """Take the next event."""
        if not listed:
            return
        if isinstance(event, Instruction):
            packet = event.packet
            assert packet is not None  # it was decoded, not built by hand
            names = event.address, event.name, packet, packet.preamble
            self._put((packet.start, packet.end, "instruction", *names, "", event))
        elif isinstance(event, Fault):
            cause = "" if diagnosis is None else diagnosis.cause.value
            text = fault_words(event, self._limits) + ("" if diagnosis is None else f"; {diagnosis}")
            self._put((event.start, event.end, "lost", "", "", event.data.hex(" ").upper(), "", cause, text))
        else:
            self._put((event.start, event.end, "cutout", "", "", "", "", "", event))

    def end(self, summary: Summary) -> None:
        """End of the events. The summary is not a row."""
