"""What mypy must accept: every layer's machine is a :class:`halfbit.Machine`. Not run."""

from __future__ import annotations

from typing import Union

from halfbit import (
    Bit,
    BitMachine,
    Edge,
    EdgeMachine,
    Event,
    Fault,
    HalfBit,
    HalfBitMachine,
    InstructionMachine,
    Machine,
    PacketEvent,
    PacketMachine,
    StreamDecoder,
)

layer_1: Machine[Union[int, float], Edge] = EdgeMachine()
layer_2: Machine[Edge, Union[HalfBit, Fault]] = HalfBitMachine()
layer_3: Machine[Union[HalfBit, Fault], Union[Bit, Fault]] = BitMachine()
layer_4: Machine[Union[Bit, Fault], PacketEvent] = PacketMachine()
layer_5: Machine[PacketEvent, Event] = InstructionMachine()
all_layers: Machine[Edge, Event] = StreamDecoder()
