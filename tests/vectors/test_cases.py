"""The shipped vectors: that they are what halfbit does, and what their specs say must come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from importlib.resources import files

import pytest

from halfbit import core
from halfbit.bit import bits
from halfbit.edge import edges_from_durations
from halfbit.error import HalfbitError
from halfbit.event import Fault, Packet
from halfbit.half_bit import half_bits
from halfbit.instruction import STANDARD, InstructionMachine
from halfbit.packet import packets
from halfbit.vectors import SETS, Case, cases
from tests.vectors.make import specs, text
from tests.vectors.case_spec import ANYTHING


def matches(events: Sequence[bytes | str], gives: Sequence[bytes | str]) -> bool:
    """True if the events are those of a spec; ANYTHING stands for any number of events."""
    if not gives:
        return not events
    if gives[0] == ANYTHING:
        return any(matches(events[skip:], gives[1:]) for skip in range(len(events) + 1))
    return bool(events) and events[0] == gives[0] and matches(events[1:], gives[1:])


def test_the_matching_can_fail() -> None:
    assert matches(["SHORT", b"a", b"b"], [ANYTHING, b"b"])
    assert not matches(["SHORT", b"a", b"b"], [ANYTHING, b"a"])
    assert not matches([b"a"], [])


@pytest.mark.parametrize("limits", SETS)
def test_files_are_made_from_the_cases(limits: str) -> None:
    shipped = files("halfbit.vectors").joinpath("data", f"{limits}.jsonl").read_text("ascii")
    assert shipped == text(limits), "run python -m tests.vectors.make, and look at what changes and why"


@pytest.mark.parametrize("limits", SETS)
def test_what_comes_is_its_spec_says(limits: str) -> None:
    """The specs say it by hand, from the standards; halfbit must give it."""
    for spec, case in zip(specs(limits), cases(limits), strict=True):
        events = [
            bytes.fromhex(event["packet"]) if "packet" in event else event.get("fault", "CUTOUT")
            for event in case.events
        ]
        assert matches(events, spec.gives), spec.id


@pytest.mark.parametrize("limits", ("receive", "transmit"))
def test_the_layers_one_by_one_give_the_events(limits: str) -> None:
    for case in cases(limits)[::7]:
        edges = edges_from_durations(case.durations)
        events = packets(bits(half_bits(edges, SETS[limits]), SETS[limits]), SETS[limits])
        kinds: list[str] = []
        for event in events:
            if isinstance(event, Packet):
                kinds.append(event.data.hex().upper())
            else:
                kinds.append(event.kind.name if isinstance(event, Fault) else "CUTOUT")
        expected = [e.get("packet") or e.get("fault") or "CUTOUT" for e in case.events]
        assert kinds == expected, case.id


@pytest.mark.parametrize("limits", SETS)
def test_each_case_is_whole(limits: str) -> None:
    chosen = cases(limits)
    assert [name for name, count in Counter(case.id for case in chosen).items() if count > 1] == []
    for case in chosen:
        assert case.rule and case.source and case.text and case.id == case.id.strip()
        assert len(case.half_bits) == len(case.bits) == (0 if limits == "sum" else len(case.durations))
        assert all(0 < answer.at <= len(case.durations) for answer in case.answers)
        assert Case.from_json(case.to_json()) == case


def test_every_answer_that_can_come_does() -> None:
    seen = {answer.answer for limits in SETS for case in cases(limits) for answer in case.answers}
    named = {core.PACKET, core.SYNC, core.START, *range(core.SHORT, core.CUT)}
    assert seen == named


def test_every_entry_of_the_registry_has_a_case() -> None:
    """In each place it is for, decoded by a machine with no more context than the packets give."""
    rules = Counter(case.rule for case in cases())
    for entry in STANDARD.entries():
        assert rules[f"instruction: {entry.name}"] >= len(entry.places)
    places = sum(len(entry.places) for entry in STANDARD.entries())
    assert sum(count for rule, count in rules.items() if rule.startswith("instruction: ")) == places


def test_instructions_of_a_case() -> None:
    """37 74 43 is address 55, forward, step 6 of 28 (worked value of S-9.2)."""
    machine = InstructionMachine()
    (instruction,) = machine.feed(Packet(bytes((0x37, 0x74, 0x43))))
    assert not isinstance(instruction, (Fault,))
    for case in cases():
        if case.id == "speed-and-direction-short":
            assert list(case.instructions[0]) == list(instruction.as_dict())
            return
    raise AssertionError("no such case")


def test_another_set_is_refused() -> None:
    with pytest.raises(HalfbitError, match="'strict' is not one of receive, transmit, sum"):
        cases("strict")
