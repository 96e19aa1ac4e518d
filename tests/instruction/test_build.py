"""Instructions built from what they mean, and read back by what they mean."""

from __future__ import annotations

from typing import Any

import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    Address,
    Broadcast,
    BroadcastStop,
    CvBitManipulation,
    CvWriteByte,
    DirectWriteByte,
    ExtendedAccessory,
    FunctionControl,
    FunctionGroupOne,
    LinearConvention,
    LongAddress,
    NoAddress,
    ShortAddress,
    SpeedControl,
    build,
)

S3, S55, L1111 = ShortAddress(3), ShortAddress(55), LongAddress(1111)


def _packet(text: str) -> bytes:
    return bytes.fromhex(text)


def test_the_worked_packet_of_s_9_2() -> None:
    """S-9.2 B: address 55, forward, step 6 of 28: 37 74 43."""
    assert STANDARD.encode(build.speed(S55, 6)) == _packet("37 74 43")


@pytest.mark.parametrize("address", [S3, L1111, Broadcast()])
@pytest.mark.parametrize("forward", [True, False])
@pytest.mark.parametrize(("of", "fl"), [(14, None), (14, False), (14, True), (28, None), (126, None)])
def test_each_step_of_each_number_of_steps(address: Address, forward: bool, of: int, fl: bool | None) -> None:
    for step in range(of + 1):
        built = build.speed(address, step, of=of, forward=forward, fl=fl)
        (read,) = STANDARD.decode(STANDARD.encode(_named(built)))
        assert isinstance(read, SpeedControl)
        (reading,) = [one for one in read.readings if one.steps == of or isinstance(read, BroadcastStop)]
        assert (read.forward, reading.step, reading.emergency) == (forward, step, False)
        assert isinstance(read, BroadcastStop) or reading.fl is (bool(fl) if of == 14 else None)


def _named(built: SpeedControl) -> SpeedControl:
    """Step 0 to broadcast has a name of its own (S-9.2 B)."""
    still = isinstance(built.address, Broadcast) and built.readings[0].steps == 28 and built.readings[0].step == 0
    if not still:
        return built
    with pytest.raises(HalfbitError, match="would be read as Broadcast Stop"):
        STANDARD.encode(built)
    return build.stop(built.address, forward=built.forward)


@pytest.mark.parametrize("emergency", [False, True])
@pytest.mark.parametrize("of", [14, 28, 126])
def test_stop(of: int, emergency: bool) -> None:
    (read,) = STANDARD.decode(STANDARD.encode(build.stop(S3, of=of, emergency=emergency, forward=False)))
    assert isinstance(read, SpeedControl)
    (reading,) = [one for one in read.readings if one.steps == of]
    assert (read.forward, reading.step, reading.emergency) == (False, 0, emergency)


def test_broadcast_stop() -> None:
    """S-9.2 B: 00000000 01DC000S, S = 1: stop delivering energy."""
    assert STANDARD.encode(build.stop(Broadcast(), emergency=True)) == _packet("00 61 61")
    assert STANDARD.encode(build.stop(Broadcast(), forward=False)) == _packet("00 40 40")


def test_functions() -> None:
    states = {0: True, 3: True, 8: True, 12: True, 13: True, 28: True, 29: True, 68: True, 40: False}
    built = build.functions(L1111, states)
    read: dict[int, bool] = {}
    for one in built:
        (again,) = STANDARD.decode(STANDARD.encode(one))
        assert again == one
        assert isinstance(again, FunctionControl)
        read.update(again.functions)
        if isinstance(again, FunctionGroupOne):
            assert again.fl_readings == (True, None)
            read[0] = again.bit4
    # Whole groups: all but 21 to 36 less those named are there, and off if they are not named.
    assert sorted(read) == [*range(21), *range(21, 45), *range(61, 69)]
    assert {number for number, state in read.items() if state} == {number for number, state in states.items() if state}
    assert [one.brief for one in build.functions(S3, {5: False})] == ["F5-F8: all off"]


def test_accessories() -> None:
    """RCN-213 (from memory): number 1 is pair 0 of board 1. S-9.2.2: of board 0."""
    first, zero = LinearConvention.FROM_BOARD_1, LinearConvention.FROM_BOARD_0
    assert STANDARD.encode(build.accessory(1, first)) == _packet("81 F9 78")
    assert STANDARD.encode(build.accessory(1, first, output=0, activate=False)) == _packet("81 F0 71")
    assert build.accessory(5, zero) == build.accessory(1, first)
    assert build.accessory(12, first).address == AccessoryAddress(3, 3, 1)
    assert build.signal(1, first, 5) == ExtendedAccessory(build.signal(5, zero, 0).address, 5)


def test_cvs() -> None:
    assert build.write_cv(S3, 29, 6) == CvWriteByte(S3, 29, 6)
    assert STANDARD.encode(build.write_cv(S3, 29, 6)) == _packet("03 EC 1C 06 F5")
    assert build.write_cv_bit(S3, 29, 5, False) == CvBitManipulation(S3, 29, True, False, 5)
    assert build.write_cv(NoAddress(), 1, 3) == DirectWriteByte(NoAddress(), 1, 3)  # service mode
    assert STANDARD.encode(build.write_cv(NoAddress(), 1, 3)) == _packet("7C 00 03 7F")
    for address in (S3, NoAddress()):
        assert (
            STANDARD.decode_service(STANDARD.encode(build.write_cv_bit(NoAddress(), 8, 7, True)))[0].brief
            == "CV 8 bit 7 := 1"
        )
        assert build.verify_cv(address, 8, 1).brief == "CV 8 = 1?"


@pytest.mark.parametrize(
    ("function", "arguments", "message"),
    [
        ("speed", {"address": S3, "step": 29}, "step 29 of 28: give a step from 0 to the number of steps"),
        ("speed", {"address": S3, "step": 6, "of": 27}, "step 6 of 27: give a step .* 14, 28 or 126"),
        ("speed", {"address": S3, "step": "6"}, "step '6' of 28"),
        ("speed", {"address": S3, "step": True}, "step True of 28"),
        ("speed", {"address": S3, "step": 6, "fl": True}, "only with 14 steps does this instruction carry FL"),
        (
            "speed",
            {"address": S3, "step": 6, "of": 14, "fl": 1},
            "only with 14 steps does this instruction carry FL, as False or True",
        ),
        (
            "speed",
            {"address": S3, "step": 6, "forward": "yes"},
            "SpeedAndDirection.forward: 'yes' is not False or True",
        ),
        ("speed", {"address": 3, "step": 6}, "SpeedAndDirection.address: 3 is not an address: give ShortAddress"),
        ("functions", {"address": S3, "states": {}}, "is not a mapping of function to state: give e.g."),
        ("functions", {"address": S3, "states": [1]}, "is not a mapping of function to state"),
        ("functions", {"address": S3, "states": {69: True}}, "69: True: give a function from 0 to 68"),
        ("functions", {"address": S3, "states": {"F1": True}}, "'F1': True: give a function from 0 to 68"),
        ("functions", {"address": S3, "states": {1: 1}}, "1: 1: give a function from 0 to 68 and False or True"),
        ("accessory", {"number": 0, "convention": LinearConvention.FROM_BOARD_0}, "0 is not an integer from 1 to 2048"),
        ("accessory", {"number": 1, "convention": 1}, "1 is no LinearConvention"),
        (
            "accessory",
            {"number": 1, "convention": LinearConvention.FROM_BOARD_0, "output": 2},
            "AccessoryAddress.output: 2",
        ),
        (
            "signal",
            {"number": 1, "convention": LinearConvention.FROM_BOARD_0, "aspect": 256},
            "aspect: 256 is not an integer from 0 to 255",
        ),
        ("write_cv", {"address": S3, "cv": 0, "value": 1}, "cv: 0 is not an integer from 1 to 1024"),
        ("write_cv", {"address": S3, "cv": 1, "value": 256}, "value: 256 is not an integer from 0 to 255"),
        (
            "write_cv_bit",
            {"address": S3, "cv": 1, "position": 8, "value": True},
            "position: 8 is not an integer from 0 to 7",
        ),
    ],
)
def test_what_cannot_be_built(function: str, arguments: dict[str, Any], message: str) -> None:
    with pytest.raises(HalfbitError, match=message):
        getattr(build, function)(**arguments)
