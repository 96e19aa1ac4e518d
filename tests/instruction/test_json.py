"""Instructions as mappings for JSON and back, copied and pickled; and a machine copied at any point."""

from __future__ import annotations

import copy
import json
import pickle
from collections import defaultdict
from typing import Any, ClassVar

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.event import SCHEMA, Fault, FaultKind
from halfbit.instruction import (
    STANDARD,
    Ambiguous,
    Configuration,
    Instruction,
    InstructionMachine,
    LongAddress,
    RegisterAccess,
    ShortAddress,
    SpeedControl128,
)
from halfbit.packet import Packet
from halfbit.simulate.signal import with_error_byte
from tests.instruction.support_packets import RESET, packet, run
from tests.standards.instruction_packets import OPERATIONS
from tests.standards.service_packets import SERVICE


def _read(body: str, *, service: bool = False) -> Instruction:
    data = with_error_byte(bytes.fromhex(body))
    (read,) = STANDARD.decode_service(data) if service else STANDARD.decode(data)
    return read


ALL = [_read(row.body) for row in OPERATIONS] + [_read(row.body, service=True) for row in SERVICE]

KEYS = [
    "schema", "type", "name", "address", "bytes", "fields", "meaning", "text", "brief", "context", "repetition",
    "too_soon_after_reset", "page", "configurations", "long_preamble", "packet",
]  # fmt: skip


def test_mapping_is_json_with_the_same_keys_for_a_class() -> None:
    keys: defaultdict[type[Instruction], set[tuple[tuple[str, ...], ...]]] = defaultdict(set)
    for one in ALL:
        values = one.as_dict()
        assert json.loads(json.dumps(values)) == values
        assert list(values) == KEYS
        keys[type(one)].add((tuple(values["fields"] or ()), tuple(values["meaning"] or ())))  # type: ignore[arg-type]
    for kind, orders in keys.items():
        assert len(orders) == 1 or kind.__name__ in (
            "FunctionGroupTwo",
            "FunctionExpansion",
            "SpeedDirectionFunctions",
        ), kind


def test_mapping_of_speed() -> None:
    assert SpeedControl128(ShortAddress(3), forward=True, code=2).as_dict() == {
        "schema": SCHEMA,
        "type": "instruction",
        "name": "128 Speed Step Control",
        "address": {"kind": "short", "number": 3},
        "bytes": None,
        "fields": {"forward": True, "code": 2},
        "meaning": {
            "readings": [{"steps": 126, "step": 1, "emergency": False, "direction_ignored": False, "fl": None}]
        },
        "text": "128 speed step control: forward, step 1 of 126 steps",
        "brief": "forward 1/126",
        "context": "unknown",
        "repetition": None,
        "too_soon_after_reset": False,
        "page": None,
        "configurations": [],
        "long_preamble": False,
        "packet": None,
    }


def _meaning(body: str) -> Any:
    return _read(body).as_dict()["meaning"]


def test_meaning_of_functions() -> None:
    assert _meaning("03 92") == {
        "functions": {"F1": False, "F2": True, "F3": False, "F4": False}, "fl_readings": [True, None],
    }  # fmt: skip
    assert list(_meaning("03 DE 01")["functions"]) == [f"F{n}" for n in range(13, 21)]
    assert _meaning("03 3C 82 01")["fl_readings"] == [True]  # F0
    assert _meaning("03 07 51") == {"flag_name": "activate bi-directional communication"}


def test_meaning_of_cvs() -> None:
    vehicle = [{"decoder": "multi-function", "cv": 29}]
    assert _meaning("03 EC 1C 06") == {"writes": True, "decoder": "multi-function", "targets": vehicle}
    assert _meaning("81 F0 E4 1C 06")["decoder"] == "accessory"
    assert _meaning("81 7C 1C 06")["writes"] is None  # appendix A of S-9.2.1 does not say


def test_mapping_of_what_is_known_beside_the_packet() -> None:
    found = run([packet(body, preamble=22) for body in [RESET, "7D 11", "7D 11", "79 05"]])[-1]
    assert isinstance(found, RegisterAccess)
    values: Any = found.as_dict()
    assert (values["page"], values["meaning"]["cv"], values["meaning"]["address_only"]) == (17, 66, False)
    assert (values["context"], values["repetition"]) == ("service", "first sight")
    assert values["long_preamble"] is True
    assert values["bytes"] == "7905"
    assert values["packet"] == found.packet.as_dict()  # type: ignore[union-attr]


def test_mapping_of_an_ambiguous_packet_holds_all_readings() -> None:
    (found,) = run([packet("7C 90")])
    assert isinstance(found, Ambiguous)
    values: Any = json.loads(json.dumps(found.as_dict()))
    assert values["address"] == {"kind": "unresolved", "first": 124}
    names = [[one["name"] for one in reading] for reading in values["fields"]["readings"]]
    assert names == [["Function Group One"], ["Register or Paged Mode"]]


_FORMS = [
    "00 00",
    "FF 00",
    "7C 90",
    "7D 05",
    "7C 00 05",
    "03 64",
    "7C E4 00 05",
    "03 EC 00 05",
    "03 E4 00 00 00",
    "BF 85",
    "03 00",
]
_FAULT = Fault(FaultKind.ERROR_BYTE, 10, 20, at=15, detail=3)
_STEPS = st.lists(st.tuples(st.sampled_from([*_FORMS, "fault"]), st.integers(1, 30)), min_size=1, max_size=30)


def _events(steps: list[tuple[str, int]]) -> list[Packet | Fault]:
    events: list[Packet | Fault] = []
    now = 0
    for body, gap in steps:
        end = now + gap * 1_000_000
        events.append(_FAULT if body == "fault" else Packet(packet(body).data, 14, now, end))
        now = end
    return events


@settings(max_examples=60)
@given(_STEPS)
def test_everything_comes_back_from_its_mapping(steps: list[tuple[str, int]]) -> None:
    machine = InstructionMachine(
        configuration={ShortAddress(3): Configuration(2, cv19=5), LongAddress(9): Configuration(0)}
    )
    for event in _events(steps):
        for one in machine.feed(event):
            if isinstance(one, Instruction):
                again = Instruction.from_dict(json.loads(json.dumps(one.as_dict())))
                assert type(again) is type(one)
                assert again == type(one).from_dict(one.as_dict()) == one
                assert again.as_dict() == one.as_dict()
                assert (again.packet, again.packet_context, again.raw) == (one.packet, one.packet_context, one.raw)


@pytest.mark.parametrize("one", ALL, ids=lambda one: one.raw.hex())
def test_instructions_come_back_from_mapping_copy_and_pickle(one: Instruction) -> None:
    for again in (Instruction.from_dict(one.as_dict()), copy.deepcopy(one), pickle.loads(pickle.dumps(one))):
        assert again == one
        assert again.as_dict() == one.as_dict()


GOOD: dict[str, Any] = _read("37 74").as_dict()


@pytest.mark.parametrize(
    "value",
    [
        None, 3, [], {}, "speed", {**GOOD, "type": "packet"}, {**GOOD, "schema": 99}, {**GOOD, "name": "Nonsense"},
        {**GOOD, "name": None}, {**GOOD, "fields": {}}, {**GOOD, "fields": None}, {**GOOD, "fields": {"forward": True, "code": 99}},
        {**GOOD, "fields": {"forward": True, "code": 2, "more": 1}}, {**GOOD, "bytes": 3}, {**GOOD, "bytes": "XY"},
        {**GOOD, "address": None}, {**GOOD, "address": {"kind": "short", "number": 0}}, {**GOOD, "context": "x"},
        {**GOOD, "repetition": 3}, {**GOOD, "page": "x"}, {**GOOD, "configurations": [3]}, {**GOOD, "configurations": None},
        {**GOOD, "packet": {}}, {**GOOD, "too_soon_after_reset": None}, {key: GOOD[key] for key in KEYS[:-1]},
    ],
)  # fmt: skip
def test_mappings_that_are_no_instruction(value: Any) -> None:
    with pytest.raises(HalfbitError):
        Instruction.from_dict(value)


def test_a_mapping_of_another_class() -> None:
    with pytest.raises(HalfbitError, match="no class of SpeedControl128 has the name 'Speed and Direction'"):
        SpeedControl128.from_dict(GOOD)


def test_names_are_unique() -> None:
    """By its name a mapping finds its class again."""
    classes = {entry.builds for entry in STANDARD.entries()}
    assert len({kind.name for kind in classes}) == len(classes)


@settings(max_examples=60)
@given(_STEPS, st.integers(0, 30), st.booleans())
def test_a_machine_copied_at_any_point_goes_on_alike(steps: list[tuple[str, int]], cut: int, pickled: bool) -> None:
    events = _events(steps)
    machine = InstructionMachine(configuration={ShortAddress(3): Configuration(2)})
    for event in events[:cut]:
        machine.feed(event)
    other = pickle.loads(pickle.dumps(machine)) if pickled else copy.deepcopy(machine)
    for event in events[cut:]:
        given_by, by_other = machine.feed(event), other.feed(event)
        assert given_by == by_other
        assert [getattr(one, "packet_context", None) for one in given_by] == [
            getattr(one, "packet_context", None) for one in by_other
        ]
    assert machine.finish() == other.finish() == ()


@pytest.mark.parametrize("slots", [True, False])
def test_an_own_class_is_found_by_its_name(slots: bool) -> None:
    @attrs.frozen(slots=slots)  # type: ignore[literal-required]
    class Own(Instruction):
        name: ClassVar[str] = f"Horn of the Upper Yard, {slots=}"

    one = Own(ShortAddress(3))
    assert Instruction.from_dict(one.as_dict()) == one
