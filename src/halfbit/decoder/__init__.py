"""Models of decoders, the state of all addresses on a track, and an audit of a station.

Pure state machines without a clock or hardware: packets with times go in, effects or changes come out.
"""

from __future__ import annotations

from .accessory import AccessoryDecoder
from .audit import StationAudit, audit
from .base import AnyEvent, DecoderMachine, Heard
from .cv import ACCESSORY, MULTI_FUNCTION, CvEffect, CvRow, CvState, CvStore, Veto
from .effect import (
    EMERGENCY_STOP, Acknowledgement, AnalogSet, Answer, AspectChanged, BinaryStateSet, CvHeld, CvRefused, CvWritten,
    DirectionChanged, Effect, FactoryResetDone, FunctionChanged, ModeChanged, OutputChanged, PacketTimeOut, ResetDone,
    RestrictionChanged, STOP, Speed, SpeedChanged,
)  # fmt: skip
from .multi_function import MultiFunctionDecoder, ReadCv, drive_level, momentum
from .rules import RULES, Audit, Finding, Rule, Verdict
from .seen import Change, Consist, CvBit, Either, Item, Seen, Value
from .state import AccessoryState, Binary, DecoderState, MultiFunctionState, Vehicle
from .track import TrackState

__all__ = [
    "ACCESSORY", "AccessoryDecoder", "AccessoryState", "Acknowledgement", "AnalogSet", "Answer", "AnyEvent",
    "AspectChanged", "Audit", "Binary", "BinaryStateSet", "Change", "Consist", "CvBit", "CvEffect", "CvHeld",
    "CvRefused", "CvRow", "CvState", "CvStore", "CvWritten", "DecoderMachine", "DecoderState", "DirectionChanged",
    "EMERGENCY_STOP", "Effect", "Either", "FactoryResetDone", "Finding", "FunctionChanged", "Heard", "Item",
    "MULTI_FUNCTION", "ModeChanged", "MultiFunctionDecoder", "MultiFunctionState", "OutputChanged", "PacketTimeOut",
    "RULES", "ReadCv", "ResetDone", "RestrictionChanged", "Rule", "STOP", "Seen", "Speed", "SpeedChanged",
    "StationAudit", "TrackState", "Value", "Vehicle", "Verdict", "Veto", "audit", "drive_level", "momentum",
]  # fmt: skip
