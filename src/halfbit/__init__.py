"""Decodes the digital track signal of model railways: level changes to half-bits, bits, packets and instructions.

What ``__all__`` names here is the stable API. The classes of the single instructions, of addresses, and what a
registry of one's own is made of are in :mod:`halfbit.instruction`; what a capture looks like, in
:mod:`halfbit.survey`; what packets make decoders do, in :mod:`halfbit.decoder`; packets made back into half-bits in
:mod:`halfbit.simulate`; the machines for a small board in :mod:`halfbit.core`.
"""

from __future__ import annotations

from .bit import Bit, BitMachine, bits
from .capture import open_capture
from .edge import (
    Edge,
    EdgeMachine,
    Edges,
    edges_from_durations,
    edges_from_samples,
    edges_from_times,
)
from .capture.filter import EdgeFilter, FilteredEdges, Removed, filtered
from .error import CaptureError, HalfbitError
from .event import Cutout, Fault, FaultKind, Layer, PacketEvent, Recovery
from .half_bit import HalfBit, HalfBitKind, HalfBitMachine, half_bits
from .instruction import (
    STANDARD,
    Address,
    Ambiguous,
    Configuration,
    Context,
    Entry,
    Event,
    PacketContext,
    Instruction,
    InstructionMachine,
    Registry,
    Reserved,
    Repetition,
    Unknown,
    instructions,
)
from .machine import Machine
from .limits import RECEIVE, TRANSMIT, Limits
from .packet import Packet, PacketMachine, packets
from .stream import StreamDecoder, decode
from .survey import Survey, auto_limits

__all__ = [
    "RECEIVE",
    "STANDARD",
    "TRANSMIT",
    "Address",
    "Ambiguous",
    "Bit",
    "BitMachine",
    "CaptureError",
    "Configuration",
    "Context",
    "Cutout",
    "Event",
    "Edge",
    "EdgeFilter",
    "EdgeMachine",
    "Edges",
    "Entry",
    "PacketContext",
    "Fault",
    "FaultKind",
    "FilteredEdges",
    "HalfBit",
    "HalfBitKind",
    "HalfBitMachine",
    "HalfbitError",
    "Instruction",
    "InstructionMachine",
    "Layer",
    "Limits",
    "Machine",
    "Packet",
    "PacketEvent",
    "PacketMachine",
    "Recovery",
    "Registry",
    "Removed",
    "Reserved",
    "Repetition",
    "StreamDecoder",
    "Survey",
    "Unknown",
    "auto_limits",
    "bits",
    "decode",
    "edges_from_durations",
    "edges_from_samples",
    "edges_from_times",
    "filtered",
    "half_bits",
    "instructions",
    "open_capture",
    "packets",
]
