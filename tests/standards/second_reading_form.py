"""Instructions of halfbit in the form of the second reading, to be compared with it field by field."""

from __future__ import annotations

from functools import singledispatch

from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    AccessoryBroadcast,
    AccessoryNop,
    Address,
    AddressQuery,
    AdvancedExtended,
    AnalogFunction,
    BasicAccessory,
    BinaryStateLong,
    BinaryStateShort,
    Broadcast,
    BroadcastStop,
    ConsistControl,
    CvAccess,
    CvShortForm,
    CvShortFormPair,
    DecoderAcknowledgementRequest,
    DecoderLock,
    DigitalDecoderReset,
    ExtendedAccessory,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    ExtendedCvAccess,
    FactoryTest,
    FunctionControl,
    FunctionExpansion,
    FunctionGroupOne,
    HardReset,
    Idle,
    IdleAddress,
    Instruction,
    LegacyCvAccess,
    LinearConvention,
    LongAddress,
    ModelDate,
    ModelTime,
    ReservedAddress,
    RestrictedSpeedStep,
    SetDecoderFlags,
    SetExtendedAddressing,
    ShortAddress,
    SpeedAndDirection,
    SpeedControl,
    SpeedControl128,
    SpeedDirectionFunctions,
    SpeedReading,
    SystemTime,
    Unknown,
)
from tests.standards.second_reading_tables import Reading

__all__ = ["address_of", "form_of"]


def form_of(instruction: Instruction) -> Reading:
    """One instruction as the second reading would have it."""
    assert instruction.raw is not None
    form: Reading = {
        "address": address_of(instruction.address),
        "bytes": instruction.raw.hex(),
        **fields_of(instruction),
    }
    if _is_from_memory(instruction):
        form["from_memory"] = True
    return form


def address_of(address: Address) -> tuple[object, ...]:
    """An address as the second reading has it."""
    if isinstance(address, (ShortAddress, LongAddress, ExtendedAccessoryAddress)):
        return (address.kind.replace(" ", "_"), address.number)
    if isinstance(address, AccessoryAddress):
        return ("accessory", address.board)
    if isinstance(address, (AccessoryBroadcast, ExtendedAccessoryBroadcast)):
        return ("accessory_broadcast",)
    if isinstance(address, ReservedAddress):
        return ("reserved", address.first)
    assert isinstance(address, (Broadcast, IdleAddress)), address
    return (address.kind,)


def _is_from_memory(instruction: Instruction) -> bool:
    """Whether the rows for the instruction name no document that was read."""
    if isinstance(instruction, ExtendedAccessory):
        return instruction.aspect > 31  # its row says so: "aspects from 32 up"
    rows = [
        entry
        for entry in STANDARD.entries()
        if entry.builds is type(instruction)
        and all(getattr(instruction, name) == value for name, value in entry.constants.items())
    ]
    return (
        bool(rows)
        and all("from memory" in row.source for row in rows)
        and not isinstance(instruction, RestrictedSpeedStep)
    )


@singledispatch
def fields_of(instruction: Instruction) -> Reading:
    """Kind and fields; for classes without fields, the kind alone."""
    kinds: dict[type[Instruction], str] = {
        DigitalDecoderReset: "digital_decoder_reset",
        HardReset: "hard_reset",
        AddressQuery: "address_query",
        Idle: "idle",
        Unknown: "unknown",
    }
    return {"kind": kinds.get(type(instruction), "reserved")}


@fields_of.register
def _(one: FactoryTest) -> Reading:
    return {"kind": "factory_test", "f": int(one.f), "data": one.data.hex()}


@fields_of.register
def _(one: SetDecoderFlags) -> Reading:
    return {
        "kind": "set_decoder_flags", "d": int(one.value), "flag_code": one.code, "flag": one.flag_name,
        "sub_address": one.sub_address, "all_sub_addresses": one.sub_address == 0,
    }  # fmt: skip


@fields_of.register
def _(one: SetExtendedAddressing) -> Reading:
    return {"kind": "set_extended_addressing", "d": int(one.enabled)}


@fields_of.register
def _(one: DecoderAcknowledgementRequest) -> Reading:
    return {"kind": "acknowledgement_request", "d": int(one.value)}


@fields_of.register
def _(one: ConsistControl) -> Reading:
    return {
        "kind": "set_consist",
        "consist_address": one.number,
        "reversed": one.reversed,
        "dissolves": one.number == 0,
    }


def _step(reading: SpeedReading) -> object:
    return reading.step or ("emergency_stop" if reading.emergency else "stop")


def _both(readings: tuple[SpeedReading, ...]) -> Reading:
    by_28, by_14 = readings
    assert (by_28.steps, by_14.steps) == (28, 14)
    return {"speed_28": _step(by_28), "speed_14": _step(by_14)}


def _speed(one: SpeedControl) -> Reading:
    return {"direction": "forward" if one.forward else "reverse"}


@fields_of.register
def _(one: SpeedAndDirection) -> Reading:
    by_28, by_14 = one.readings
    return {
        "kind": "speed_and_direction", **_speed(one), **_both(one.readings), "c": one.code >= 16, "fl_14": by_14.fl,
        "direction_may_be_ignored_28": by_28.direction_ignored,
    }  # fmt: skip


@fields_of.register
def _(one: BroadcastStop) -> Reading:
    (reading,) = one.readings
    return {
        "kind": "broadcast_stop", **_speed(one), "energy_off": one.emergency, "speed_28": _step(reading),
        "direction_may_be_ignored_28": reading.direction_ignored,
    }  # fmt: skip


@fields_of.register
def _(one: SpeedControl128) -> Reading:
    (reading,) = one.readings
    assert reading.steps == 126
    return {"kind": "speed_128", **_speed(one), "speed_128": _step(reading)}


@fields_of.register
def _(one: SpeedDirectionFunctions) -> Reading:
    (reading,) = one.readings
    return {"kind": "speed_direction_functions", **_speed(one), "speed_128": _step(reading), "functions": one.functions}


@fields_of.register
def _(one: RestrictedSpeedStep) -> Reading:
    assert one.raw is not None
    return {
        "kind": "restricted_speed_step", "enabled": one.enabled, "bit_6": int(one.bit6), "bit_5": int(one.bit5),
        "speed_bits": one.bit5 << 5 | one.code, **_both(one.readings),
        "also": {
            "kind": "special_operating_modes", "address": address_of(one.address), "bytes": one.raw.hex(),
            "from_memory": True, "data": one.modes,
        },
    }  # fmt: skip


@fields_of.register
def _(one: AnalogFunction) -> Reading:
    return {"kind": "analog_function", "output": one.output, "volume": one.output == 1, "value": one.value}


@fields_of.register
def _(one: FunctionControl) -> Reading:
    return {"kind": "function_group_two", "functions": one.functions}


@fields_of.register
def _(one: FunctionGroupOne) -> Reading:
    state, nothing = one.fl_readings
    assert nothing is None
    return {"kind": "function_group_one", "functions": one.functions, "fl": state, "fl_only_if": "CV 29 bit 1 is 1"}


@fields_of.register
def _(one: FunctionExpansion) -> Reading:
    return {"kind": f"function_group_f{13 if one.first < 29 else 29}_up", "functions": one.functions}


@fields_of.register
def _(one: BinaryStateLong) -> Reading:
    return {
        "kind": "binary_state", "form": "long", "number": one.number, "all": one.number == 0, "state": one.state,
        "short_form_required": one.needs_short_form,
    }  # fmt: skip


@fields_of.register
def _(one: BinaryStateShort) -> Reading:
    return {"kind": "binary_state", "form": "short", "number": one.number, "all": one.number == 0, "state": one.state}


@fields_of.register
def _(one: ModelTime) -> Reading:
    return {
        "kind": "model_time", "minute": one.minute, "weekday": one.weekday, "hour": one.hour, "u": int(one.update),
        "b": one.factor,
    }  # fmt: skip


@fields_of.register
def _(one: ModelDate) -> Reading:
    return {"kind": "model_date", "day": one.day, "month": one.month, "year": one.year}


@fields_of.register
def _(one: SystemTime) -> Reading:
    return {"kind": "system_time", "milliseconds": one.milliseconds}


@fields_of.register
def _(one: DecoderLock) -> Reading:
    return {"kind": "decoder_lock", "lock_address": one.number}


def _operation(one: CvAccess) -> Reading:
    act = "write" if one.writes else "verify"
    if one.position is None:
        return {"cv": one.cv, "operation": f"{act}_byte", "value": one.value}
    return {"cv": one.cv, "operation": f"{act}_bit", "bit_value": int(one.value or 0), "bit": one.position}


@fields_of.register
def _(one: CvAccess) -> Reading:
    address = one.address
    if isinstance(address, AccessoryAddress):
        output = None if address.pair is None or address.output is None else address.pair * 2 + address.output
        target: tuple[object, ...] = ("decoder",) if output is None else ("output", output)
        return {"kind": "accessory_cv_access", "target": target, **_operation(one)}
    if isinstance(address, AccessoryBroadcast):
        output = None if address.pair is None or address.output is None else address.pair * 2 + address.output
        target = ("decoder",) if output is None else ("output", output)
        return {"kind": "accessory_cv_access", "target": target, **_operation(one)}
    if isinstance(address, (ExtendedAccessoryAddress, ExtendedAccessoryBroadcast)):
        return {"kind": "extended_accessory_cv_access", **_operation(one)}
    return {"kind": "cv_access", "form": "short" if isinstance(one, CvShortForm) else "long", **_operation(one)}


@fields_of.register
def _(one: LegacyCvAccess) -> Reading:
    return {"kind": "accessory_cv_access_legacy", "cv": one.cv, "value": one.value}


@fields_of.register
def _(one: CvShortFormPair) -> Reading:
    return {"kind": "cv_pair_write", "cvs": {one.cv: one.value, one.cv + 1: one.next_value}}


@fields_of.register
def _(one: ExtendedCvAccess) -> Reading:
    operation = {1: "read", 2: "write_bit", 3: "write"}[one.operation]
    return {
        "kind": "extended_cv_access", "cv": one.cv, "cv_bits": one.cv - 1, "operation": operation,
        "sequence": one.sequence, "data": one.data.hex(),
    }  # fmt: skip


@fields_of.register
def _(one: BasicAccessory) -> Reading:
    address = one.address
    form: Reading = {"kind": "basic_accessory", "activate": one.activate}
    if isinstance(address, AccessoryAddress):
        form["board"] = address.board
        form["linear_from_board_0"] = address.linear(LinearConvention.FROM_BOARD_0)
        form["linear_from_board_1"] = address.linear(LinearConvention.FROM_BOARD_1)
    assert isinstance(address, (AccessoryAddress, AccessoryBroadcast))
    return {**form, "pair": address.pair, "output": address.output}


@fields_of.register
def _(one: ExtendedAccessory) -> Reading:
    return {"kind": "extended_accessory", "aspect": one.aspect, "absolute_stop": one.aspect == 0}


@fields_of.register
def _(one: AccessoryNop) -> Reading:
    address = one.address
    if isinstance(address, ExtendedAccessoryAddress):
        return {"kind": "accessory_nop", "t": 1}
    # T = 0 is a basic address (from memory): board and pair are the same eleven bits.
    assert isinstance(address, AccessoryAddress) and address.pair is not None
    return {"kind": "accessory_nop", "t": 0, "address": ("extended_accessory", address.board * 4 + address.pair)}


@fields_of.register
def _(one: AdvancedExtended) -> Reading:
    return {"kind": "reserved", "meaning": "advanced_extended", "crc_agrees": one.crc_agrees}
