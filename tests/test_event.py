"""The events of layer 4: their words, their named properties, and their form as JSON."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.event import Cutout, Fault, FaultKind, Layer, Packet, PacketEvent, Recovery, exclusive_or
from tests.support import events_of
from tests.support_strategies import all_limits, signals

#: For each kind: the layer, the property that gives its detail, and the words for a detail of 5 and two complete bytes.
KINDS: dict[str, tuple[Layer, str | None, str]] = {
    "SHORT": (Layer.HALF_BIT, "duration", "half-bit of 0.005 us is too short"),
    "GAP": (Layer.HALF_BIT, "duration", "half-bit of 0.005 us is too long for a one and too short for a zero"),
    "LONG": (Layer.HALF_BIT, "duration", "half-bit of 0.005 us is too long"),
    "UNPAIRED_ONE": (Layer.BIT, "duration", "unpaired half of a one-bit, 0.005 us; a level change was probably missed"),
    "UNPAIRED_ZERO": (Layer.BIT, "duration", "unpaired half of a zero-bit, 0.005 us; a level change was probably missed"),
    "UNEQUAL": (Layer.BIT, "difference", "halves of a one-bit differ by 0.005 us"),
    "ZERO_TOO_LONG": (Layer.BIT, "duration", "zero-bit of 0.005 us is too long as a whole"),
    "SHORT_PREAMBLE": (Layer.PACKET, "one_bits", "start bit after 5 one-bits: too few for a preamble"),
    "FEW_BYTES": (Layer.PACKET, None, "packet ends after 2 bytes: too few"),
    "MANY_BYTES": (Layer.PACKET, None, "packet goes on after 2 bytes: too many"),
    "ERROR_BYTE": (Layer.PACKET, "wrong_bits", "error detection byte is wrong in the bits 00000101"),
    "CUT": (Layer.PACKET, None, "the capture starts or ends inside a packet"),
    "UNCLEAR": (Layer.PACKET, None, "no single reading of the bits fits the times"),
}


def test_every_kind_is_listed_here() -> None:
    assert set(KINDS) == {kind.name for kind in FaultKind}


@pytest.mark.parametrize("name", KINDS)
def test_a_fault_has_the_property_of_its_kind_and_no_other(name: str) -> None:
    layer, named, words = KINDS[name]
    fault = Fault(FaultKind[name], 0, 100, 10, 5, b"\x03\x3f")
    assert (fault.layer, str(fault)) == (layer, words)
    for other in ("duration", "difference", "one_bits", "wrong_bits"):
        assert getattr(fault, other) == (5 if other == named else None)


def test_one_byte_is_written_in_the_singular() -> None:
    assert str(Fault(FaultKind.FEW_BYTES, 0, 100, 10, 0, b"\x03")) == "packet ends after 1 byte: too few"


EVENTS: list[PacketEvent] = [
    Packet(bytes.fromhex("377443"), 14, 0, 9_280_000),
    Packet(bytes.fromhex("FF00FF"), 255, 5, 6, Recovery.MISSED_CHANGES, 1200),
    *(Fault(FaultKind[name], 1, 9, 3, 5 if named else 0, b"\x03", 2) for name, (_, named, _) in KINDS.items()),
    Cutout(7, 470_000),
]


@pytest.mark.parametrize("event", EVENTS, ids=str)
def test_a_dictionary_gives_the_event_back(event: PacketEvent) -> None:
    assert type(event).from_dict(json.loads(json.dumps(event.as_dict()))) == event


@given(signals(), all_limits)
def test_a_dictionary_gives_any_event_back(durations: list[int], limits: Any) -> None:
    for event in events_of(durations, limits):
        assert type(event).from_dict(event.as_dict()) == event


def test_the_form_in_full() -> None:
    packet = Packet(bytes.fromhex("377443"), 14, 0, 9_280_000)
    assert packet.as_dict() == {
        "schema": 1, "type": "packet", "data": "377443", "preamble": 14, "start": 0, "end": 9_280_000, "recovered": None,
        "margin": None,
    }  # fmt: skip
    fault = Fault(FaultKind.GAP, 0, 100, 10, 77_000, b"\x03", 2)
    assert fault.as_dict() == {
        "schema": 1, "type": "fault", "kind": "GAP", "layer": 2, "start": 0, "end": 100, "at": 10,
        "duration": 77_000, "data": "03", "count": 2,
    }  # fmt: skip
    assert Cutout(7, 9).as_dict() == {"schema": 1, "type": "cutout", "start": 7, "end": 9}


WRONG: list[Any] = [
    None, 5, {}, {"schema": 1}, {"type": "packet"}, {"schema": 2, "type": "packet"}, {"schema": 1, "type": "packet"},
    {**EVENTS[0].as_dict(), "data": "3"}, {**EVENTS[0].as_dict(), "data": 3},
    {**EVENTS[0].as_dict(), "recovered": "by luck"}, {**EVENTS[2].as_dict(), "type": "packet"},
]  # fmt: skip


@pytest.mark.parametrize("value", WRONG, ids=str)
def test_a_wrong_dictionary_is_refused(value: Any) -> None:
    with pytest.raises(HalfbitError, match="packet"):
        Packet.from_dict(value)


@pytest.mark.parametrize("event", EVENTS, ids=str)
def test_a_number_that_is_no_integer_is_refused(event: PacketEvent) -> None:
    form = event.as_dict()
    numbers = [name for name, value in form.items() if isinstance(value, int) and name not in ("schema", "layer")]
    assert {"start", "end"} <= set(numbers)
    for name in numbers:
        for wrong in (1.5, "1", True, None):
            if name != "margin" or wrong is not None:
                with pytest.raises(HalfbitError, match=f"^{form['type']}: '{name}' is missing or wrong in "):
                    type(event).from_dict({**form, name: wrong})


def test_a_fault_of_an_unknown_kind_is_refused() -> None:
    with pytest.raises(HalfbitError, match="RUN"):
        Fault.from_dict({**EVENTS[2].as_dict(), "kind": "RUN"})


@given(st.binary(max_size=15))
def test_the_exclusive_or_of_bytes_and_their_error_byte_is_0(data: bytes) -> None:
    error = exclusive_or(data)
    assert exclusive_or([*data, error]) == 0 and 0 <= error <= 255


def test_a_worked_value() -> None:
    """S-9.2, worked example: 37 74 43 (address 55, forward, step 6 of 28)."""
    assert exclusive_or(bytes.fromhex("3774")) == 0x43
