"""Decodes the digital track signal of model railways: level changes to half-bits, bits, packets and instructions.

What ``__all__`` names here is the stable API. The classes of the single instructions, of addresses, and what
a registry of one's own is made of are in :mod:`halfbit.instruction`; what a capture looks like, in
:mod:`halfbit.survey`; packets made back into half-bits in :mod:`halfbit.signal`; the machines for a small board in
:mod:`halfbit.core`.
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
from .edge_filter import EdgeFilter, FilteredEdges, Removed, filtered
from .error import CaptureError, HalfbitError
from .fault import Cutout, Fault, FaultKind, Layer
from .half_bit import HalfBit, HalfBitKind, HalfBitMachine, half_bits
from .instruction import (
    STANDARD,
    Address,
    Ambiguous,
    Configuration,
    Context,
    Entry,
    Evidence,
    Instruction,
    InstructionMachine,
    Registry,
    Reserved,
    Sighting,
    Unknown,
    instructions,
)
from .limits import RECEIVE, TRANSMIT, Limits
from .packet import Packet, PacketMachine, packets
from .stream import Decoded, StreamDecoder, decode
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
    "Decoded",
    "Edge",
    "EdgeFilter",
    "EdgeMachine",
    "Edges",
    "Entry",
    "Evidence",
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
    "Packet",
    "PacketMachine",
    "Registry",
    "Removed",
    "Reserved",
    "Sighting",
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
