"""Decodes the digital track signal of model railways: level changes to half-bits, bits, packets and instructions.

What ``__all__`` names here is the stable API. The classes of the single instructions, of addresses, and what
a registry of one's own is made of are in :mod:`halfbit.instruction`; packets made back into half-bits in
:mod:`halfbit.signal`; the machines for a small board in :mod:`halfbit.core`.
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
    "EdgeMachine",
    "Edges",
    "Entry",
    "Evidence",
    "Fault",
    "FaultKind",
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
    "Reserved",
    "Sighting",
    "StreamDecoder",
    "Unknown",
    "bits",
    "decode",
    "edges_from_durations",
    "edges_from_samples",
    "edges_from_times",
    "half_bits",
    "instructions",
    "open_capture",
    "packets",
]
