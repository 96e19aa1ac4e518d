"""What is decoded, as JSON Lines: an object on each line, its keys always the same and in the same order.

``event`` comes first and tells which keys follow. Times are integer ns from the first level change; bytes
are hexadecimal.

``"instruction"``
    ``start``, ``end`` and ``preamble`` (its one-bits) of the packet, its ``bytes``, ``part`` (which of the packet's
    instructions, from 0), and ``instruction``: its name, address, fields and context, as
    :meth:`halfbit.Instruction.as_dict` has them.
``"fault"``
    ``start`` and ``end`` of what was lost, ``at`` where it went wrong, ``kind``, ``layer``, ``detail`` (a number that says more;
    which one, :class:`halfbit.FaultKind` says), ``count`` of what was wrong in it, ``bytes`` of the torn packet, and
    ``words``.
``"cutout"``
    ``start`` and ``end``.
``"summary"``
    Comes last, and only if the input could be read to its end: ``length``, ``half_bits``, ``packets``,
    ``distinct_packets``, ``share_decoded`` (time in packets, 0 to 1), ``packet_time``, ``fault_time``, ``cutout_time``,
    ``cutouts`` and ``faults``, how many there are of each kind; ``remarks``, how the capture was read, in words; ``removed``,
    what a filter took out (as :class:`halfbit.edge_filter.Removed` has it), null without one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping

import attrs

from ..event import Fault, FaultKind
from ..instruction import Instruction
from ..event import Packet
from .summary import Summary
from ..instruction import Event

__all__ = ["JsonLines", "fault_object"]


class JsonLines:
    """Takes events, writes lines.

    :param write: takes a line.
    """

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write
        self._packet: Packet | None = None
        self._part = 0

    def event(self, event: Event) -> None:
        """Take the next event."""
        if isinstance(event, Instruction):
            self._put(self._instruction(event))
        elif isinstance(event, Fault):
            self._put(fault_object(event))
        else:
            self._put({"event": "cutout", "start": event.start, "end": event.end})

    def pause(self) -> None:
        """Nothing is ever held back."""

    def end(self, summary: Summary | None) -> None:
        """No event will come."""
        if summary is not None:
            self._put(_summary(summary))

    def _put(self, value: Mapping[str, object]) -> None:
        self._write(json.dumps(value))

    def _instruction(self, instruction: Instruction) -> dict[str, object]:
        packet = instruction.packet
        assert packet is not None  # it was decoded, not built by hand
        self._part = self._part + 1 if packet is self._packet else 0
        self._packet = packet
        return {
            "event": "instruction",
            "start": packet.start,
            "end": packet.end,
            "preamble": packet.preamble,
            "bytes": packet.data.hex(),
            "part": self._part,
            "instruction": instruction.as_dict(),
        }


def fault_object(fault: Fault) -> dict[str, object]:
    """A fault's object."""
    return {
        "event": "fault",
        "start": fault.start,
        "end": fault.end,
        "at": fault.at,
        "kind": fault.kind.name.lower(),
        "layer": fault.layer.name.lower(),
        "detail": fault.detail,
        "count": fault.count,
        "bytes": fault.data.hex(),
        "words": str(fault),
    }


def _summary(summary: Summary) -> dict[str, object]:
    return {
        "event": "summary",
        "length": summary.length,
        "half_bits": summary.half_bits,
        "packets": summary.packets,
        "distinct_packets": summary.distinct_packets,
        "share_decoded": round(summary.share_decoded, 6),
        "packet_time": summary.packet_time,
        "fault_time": summary.fault_time,
        "cutout_time": summary.cutout_time,
        "cutouts": summary.cutouts,
        "faults": {kind.name.lower(): summary.faults.get(kind, 0) for kind in FaultKind},
        "remarks": list(summary.remarks),
        "removed": None if summary.removed is None else attrs.asdict(summary.removed),
    }
