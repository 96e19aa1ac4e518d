"""Decodes the digital track signal of model railways: level changes to half-bits, bits, packets and instructions.

The names in ``__all__`` are the stable API. There is more in the packages below it:

- :mod:`halfbit.instruction`: a class for each instruction and each kind of address, and the parts of a registry;
- :mod:`halfbit.capture`: formats of capture files;
- :mod:`halfbit.survey`: what kind of capture it is, and which limits read it best;
- :mod:`halfbit.inspect`: a stretch of a capture at all layers, and the causes of losses;
- :mod:`halfbit.decoder`: models of decoders, the track's state, and the audit of a station;
- :mod:`halfbit.simulate`: packets to half-bits, for tests;
- :mod:`halfbit.core`: the machines that also run on a small board.
"""

from __future__ import annotations

# As ``typing.TYPE_CHECKING``. Nothing is imported here: Ctrl-C is caught only when the command itself has begun.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from .bit import Bit, BitMachine, bits
    from .capture import open_capture
    from .capture.filter import EdgeFilter, FilteredEdges, Removed, filtered
    from .edge import Edge, EdgeMachine, Edges, edges_from_durations, edges_from_samples, edges_from_times
    from .error import CaptureError, HalfbitError
    from .event import Cutout, Fault, FaultKind, Layer, Packet, PacketEvent, Recovery
    from .half_bit import HalfBit, HalfBitKind, HalfBitMachine, half_bits
    from .instruction import (
        STANDARD, Address, Ambiguous, Configuration, Configurations, Context, Damaged, Entry, Event, Instruction,
        InstructionMachine, PacketContext, Registry, Repetition, Reserved, Unknown, instructions,
    )  # fmt: skip
    from .limits import RECEIVE, TRANSMIT, Limits
    from .machine import Machine
    from .packet import PacketMachine, packets
    from .stream import StreamDecoder, decode
    from .survey import Survey, auto_limits

    __version__: str
else:
    #: The imports above again: module to names. A module is loaded when one of its names is first asked for, so that
    #: importing halfbit stays quick.
    _NAMES = {
        "bit": "Bit BitMachine bits",
        "capture": "open_capture",
        "capture.filter": "EdgeFilter FilteredEdges Removed filtered",
        "edge": "Edge EdgeMachine Edges edges_from_durations edges_from_samples edges_from_times",
        "error": "CaptureError HalfbitError",
        "event": "Cutout Fault FaultKind Layer Packet PacketEvent Recovery",
        "half_bit": "HalfBit HalfBitKind HalfBitMachine half_bits",
        "instruction": "STANDARD Address Ambiguous Configuration Configurations Context Damaged Entry Event Instruction"
        " InstructionMachine PacketContext Registry Repetition Reserved Unknown instructions",
        "limits": "RECEIVE TRANSMIT Limits",
        "machine": "Machine",
        "packet": "PacketMachine packets",
        "stream": "StreamDecoder decode",
        "survey": "Survey auto_limits",
    }

    def __getattr__(name: str) -> Any:
        if name == "__version__":
            from importlib.metadata import version

            return globals().setdefault(name, version("halfbit"))
        for module, names in _NAMES.items():
            if name in names.split():
                from importlib import import_module

                return globals().setdefault(name, getattr(import_module(f".{module}", __name__), name))
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

    def __dir__() -> list[str]:
        return [*__all__, "__version__"]


__all__ = [
    "RECEIVE", "STANDARD", "TRANSMIT", "Address", "Ambiguous", "Bit", "BitMachine", "CaptureError", "Configuration",
    "Configurations", "Context", "Cutout", "Damaged", "Edge", "EdgeFilter", "EdgeMachine", "Edges", "Entry",
    "Event", "Fault", "FaultKind", "FilteredEdges", "HalfBit", "HalfBitKind", "HalfBitMachine", "HalfbitError",
    "Instruction", "InstructionMachine", "Layer", "Limits", "Machine", "Packet", "PacketContext", "PacketEvent",
    "PacketMachine", "Recovery", "Registry", "Removed", "Repetition", "Reserved", "StreamDecoder", "Survey",
    "Unknown", "auto_limits", "bits", "decode", "edges_from_durations", "edges_from_samples", "edges_from_times",
    "filtered", "half_bits", "instructions", "open_capture", "packets",
]  # fmt: skip
