"""What packets make a decoder do, who is on the track, and how a station keeps to the rules.

Pure state machines, without a clock or hardware: packets with times in, effects or changes out.
"""

from __future__ import annotations

from .accessory import AccessoryDecoder
from .cv import ACCESSORY, MULTI_FUNCTION, CvRow, CvStore, Veto
from .drive import drive_level, momentum
from .effect import (
    Acknowledgement,
    AnalogSet,
    Answer,
    AspectChanged,
    BinaryStateSet,
    CvHeld,
    CvRefused,
    CvWritten,
    DirectionChanged,
    Effect,
    FactoryResetDone,
    FunctionChanged,
    ModeChanged,
    OutputChanged,
    PacketTimeOut,
    ResetDone,
    RestrictionChanged,
    Speed,
    SpeedChanged,
)
from .multi_function import MultiFunctionDecoder
from .state import AccessoryState, Binary, MultiFunctionState, Vehicle

__all__ = [
    "ACCESSORY",
    "MULTI_FUNCTION",
    "AccessoryDecoder",
    "AccessoryState",
    "Acknowledgement",
    "AnalogSet",
    "Answer",
    "AspectChanged",
    "Binary",
    "BinaryStateSet",
    "CvHeld",
    "CvRefused",
    "CvRow",
    "CvStore",
    "CvWritten",
    "DirectionChanged",
    "Effect",
    "FactoryResetDone",
    "FunctionChanged",
    "ModeChanged",
    "MultiFunctionDecoder",
    "MultiFunctionState",
    "OutputChanged",
    "PacketTimeOut",
    "ResetDone",
    "RestrictionChanged",
    "Speed",
    "SpeedChanged",
    "Vehicle",
    "Veto",
    "drive_level",
    "momentum",
]
