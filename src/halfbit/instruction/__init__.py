"""Layer 5: packets to instructions (S-9.2 B, S-9.2.1, S-9.2.3)."""

from __future__ import annotations

from .accessory import AccessoryNop, BasicAccessory, ExtendedAccessory
from .address import (
    AccessoryAddress, AccessoryBroadcast, Address, Broadcast, DecoderKind, ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast, IdleAddress, JsonValue, LinearConvention, LongAddress, NoAddress, ReservedAddress,
    ShortAddress, UnresolvedAddress,
)  # fmt: skip
from .base import Configuration, Configurations, Context, Instruction, PacketContext, Repetition
from .control import (
    AddressQuery, ConsistControl, DecoderAcknowledgementRequest, DecoderLock, DigitalDecoderReset, FactoryTest,
    HardReset, Idle, ModelDate, ModelTime, SetDecoderFlags, SetExtendedAddressing, SystemTime,
)  # fmt: skip
from .cv import (
    CvAccess, CvBitAccess, CvBitManipulation, CvByteAccess, CvShortForm, CvShortFormPair, CvTarget, CvVerifyByte,
    CvWriteByte, DirectBitManipulation, DirectVerifyByte, DirectWriteByte, ExtendedCvAccess, FactoryReset,
    LegacyCvAccess, PagePreset, RegisterAccess,
)  # fmt: skip
from .entry import Entry, FieldLetters, Place, Tail
from .field import choice, flag, integer, octets
from .function import (
    AnalogFunction, BinaryStateLong, BinaryStateShort, FunctionControl, FunctionExpansion, FunctionGroupOne,
    FunctionGroupTwo,
)  # fmt: skip
from .machine import Event, InstructionMachine, instructions
from .pattern import FieldLayout, Letters, Pattern, Run
from .registry import STANDARD, Registry
from .registry_listing import FORMATS, Row, listing, render
from .special import AdvancedExtended, Ambiguous, Damaged, Reserved, Unknown, crc8
from .speed import (
    BroadcastStop, RestrictedSpeedStep, SpeedAndDirection, SpeedControl, SpeedControl128, SpeedDirectionFunctions,
    SpeedReading,
)  # fmt: skip

__all__ = [
    "FORMATS", "STANDARD", "AccessoryAddress", "AccessoryBroadcast", "AccessoryNop", "Address", "AddressQuery",
    "AdvancedExtended", "Ambiguous", "AnalogFunction", "BasicAccessory", "BinaryStateLong", "BinaryStateShort",
    "Broadcast", "BroadcastStop", "Configuration", "Configurations", "ConsistControl", "Context", "CvAccess",
    "CvBitAccess", "CvBitManipulation", "CvByteAccess", "CvShortForm", "CvShortFormPair", "CvTarget", "CvVerifyByte",
    "CvWriteByte", "Damaged", "DecoderAcknowledgementRequest", "DecoderKind", "DecoderLock", "DigitalDecoderReset",
    "DirectBitManipulation", "DirectVerifyByte", "DirectWriteByte", "Entry", "Event", "ExtendedAccessory",
    "ExtendedAccessoryAddress", "ExtendedAccessoryBroadcast", "ExtendedCvAccess", "FactoryReset", "FactoryTest",
    "FieldLayout", "FieldLetters", "FunctionControl", "FunctionExpansion", "FunctionGroupOne", "FunctionGroupTwo",
    "HardReset", "Idle", "IdleAddress", "Instruction", "InstructionMachine", "JsonValue", "LegacyCvAccess", "Letters",
    "LinearConvention", "LongAddress", "ModelDate", "ModelTime", "NoAddress", "PacketContext", "PagePreset", "Pattern",
    "Place", "RegisterAccess", "Registry", "Repetition", "Reserved", "ReservedAddress", "RestrictedSpeedStep", "Row",
    "Run", "SetDecoderFlags", "SetExtendedAddressing", "ShortAddress", "SpeedAndDirection", "SpeedControl",
    "SpeedControl128", "SpeedDirectionFunctions", "SpeedReading", "SystemTime", "Tail", "Unknown", "UnresolvedAddress",
    "choice", "crc8", "flag", "instructions", "integer", "listing", "octets", "render",
]  # fmt: skip
