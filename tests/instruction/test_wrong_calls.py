"""Wrong calls: refused with a HalfbitError that says what was wrong and what to give."""

# mypy: disable-error-code="arg-type,list-item,dict-item,misc"

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    Ambiguous,
    Configuration,
    Context,
    HardReset,
    Idle,
    IdleAddress,
    Instruction,
    InstructionMachine,
    Letters,
    PacketContext,
    Pattern,
    Registry,
    ShortAddress,
    SpeedAndDirection,
    Tail,
    choice,
    instructions,
    integer,
    listing,
    octets,
    render,
)
from halfbit.packet import Packet

S3 = ShortAddress(3)
PACKET = Packet(bytes.fromhex("03 64 67"))
RESET = HardReset(S3)


def _with(**more: Any) -> Callable[[], object]:
    return lambda: SpeedAndDirection(S3, forward=True, code=2, **more)


CALLS: list[tuple[Callable[[], object], str]] = [
    # Decoding
    (
        lambda: STANDARD.decode("03 64 67"),
        r'is not bytes: give all bytes of a packet, e.g. bytes.fromhex\("03 64 67"\)',
    ),
    (lambda: STANDARD.decode(PACKET), "is not bytes: .* or packet.data"),
    (lambda: STANDARD.decode(None), "None is not bytes"),
    (lambda: STANDARD.decode([3, 100, 103]), "is not bytes"),
    (lambda: STANDARD.decode_service("70 00 70"), "is not bytes"),
    # Encoding
    (lambda: STANDARD.encode("reset"), "'reset' is no instruction: give one, or a list of them to encode_packet"),
    (lambda: STANDARD.encode([RESET]), "is no instruction: give one"),
    (
        lambda: STANDARD.encode_packet(RESET),
        "is not a row of instructions: give a list of them, or a single one to encode",
    ),
    (lambda: STANDARD.encode_packet(None), "None is not a row of instructions"),
    (lambda: STANDARD.encode_packet(["reset"]), "'reset' is no instruction"),
    (lambda: STANDARD.encode_packet([]), "at least one instruction"),
    (
        lambda: STANDARD.encode(RESET, packet_max="6"),
        "packet_max: '6' is not an integer: give the most bytes of a packet",
    ),
    # Registries
    (lambda: Registry(None), "None is not a row of entries: give a list of Entry"),
    (lambda: Registry([3]), "3 is no Entry: give Entry"),
    (lambda: STANDARD.extended(RESET), "is no Entry: give Entry"),
    (lambda: STANDARD.replaced(HardReset), "is no Entry: give Entry"),
    (lambda: STANDARD.without("Idle"), "'Idle': give the classes of rows to leave out"),
    (lambda: listing(3), "registry: 3 is no Registry: give STANDARD"),
    (lambda: render(3), "3 is not a row of Row: give what listing"),
    (lambda: render((3,)), "is not a row of Row"),
    (lambda: render(listing(), "xml"), "form: 'xml' is not one of text, csv, json"),
    # Rows
    (lambda: Pattern.parse(3), "pattern: 3 is no text"),
    (lambda: Pattern.parse("00111111 DSSSSSSS").field("S"), "'S' is not Letters: give e.g. Letters"),
    (lambda: Letters(3), "Letters.letters: 3 is not letters of a pattern"),
    (lambda: Letters("A", order="01"), "Letters.order: '01' is not a tuple of integers"),
    (lambda: Letters("A", add="1"), "Letters.add: '1' is not an integer"),
    (lambda: Tail(3, 0), "Tail.field: 3 is not the name of a field"),
    (lambda: Tail("data", -1), "Tail.low: -1 is not an integer from 0 to 255"),
    (lambda: Tail("data", 0, "x"), "Tail.high: 'x' is not an integer from 0 to 255"),
    (lambda: integer(5, 4), "5 to 4 is no range"),
    (lambda: integer("a", 4), "'a' to 4 is no range"),
    (lambda: octets(3, 2), "3 to 2 is no range"),
    (lambda: choice(), "give one or more integers"),
    (lambda: choice("a"), "give one or more integers"),
    # The machine
    (lambda: InstructionMachine("STANDARD"), "registry: 'STANDARD' is no Registry: give STANDARD"),
    (
        lambda: InstructionMachine(configuration=2),
        r"configuration: 2 is no Configuration: give Configuration\(cv29=...\), or a mapping",
    ),
    (lambda: InstructionMachine(configuration={3: Configuration(2)}), "is no Configuration: give"),
    (lambda: InstructionMachine(configuration={S3: 2}), "is no Configuration: give"),
    (lambda: InstructionMachine(configuration={IdleAddress(): Configuration(2)}), "is no Configuration: give"),
    (
        lambda: InstructionMachine(context="service"),
        "context: 'service' is neither Context.OPERATIONS nor Context.SERVICE",
    ),
    (lambda: InstructionMachine(context=Context.LEFT), "is neither Context.OPERATIONS nor Context.SERVICE nor None"),
    (lambda: InstructionMachine().feed(None), "None is no Packet, Fault or Cutout: feed what layer 4 gives"),
    (lambda: InstructionMachine().feed(Packet), "is no Packet, Fault or Cutout"),
    (lambda: InstructionMachine().feed(PACKET.data), r"is no Packet, Fault or Cutout: .* or Packet\(data\)"),
    (lambda: InstructionMachine().feed([PACKET]), "is no Packet, Fault or Cutout"),
    (lambda: list(instructions(PACKET)), "is not a row of packets: give a list of them"),
    (lambda: list(instructions(3)), "3 is not a row of packets"),
    (lambda: list(instructions([3])), "3 is no Packet, Fault or Cutout"),
    (lambda: instructions([], configuration=2), "configuration: 2 is no Configuration"),
    # Instructions and what is known beside them
    (_with(packet_context=None), "SpeedAndDirection.packet_context: None is not a PacketContext"),
    (_with(packet=Packet), "SpeedAndDirection.packet: .* is not Packet or None"),
    (_with(packet=b"x"), "SpeedAndDirection.packet: b'x' is not Packet or None"),
    (_with(raw="64"), "SpeedAndDirection.raw: '64' is not bytes or None"),
    (
        lambda: SpeedAndDirection("short 3", forward=True, code=2),
        r"is not an address: give ShortAddress\(3\) or Address.parse",
    ),
    (lambda: PacketContext("service"), "PacketContext.context: 'service' is not a Context"),
    (lambda: PacketContext(repetition="first"), "PacketContext.repetition: 'first' is not a Repetition or None"),
    (lambda: PacketContext(too_soon_after_reset=None), "too_soon_after_reset: None is not False or True"),
    (lambda: PacketContext(page="1"), "page: '1' is not an integer or None"),
    (lambda: PacketContext(configurations=Configuration(2)), "configurations: .* is not a tuple of Configuration"),
    (lambda: Ambiguous(S3, ()), "Ambiguous.readings: .* is not two or more readings"),
    (lambda: Ambiguous(S3, ((RESET,),)), "is not two or more readings"),
    (lambda: Ambiguous(S3, ((RESET,), ())), "each a tuple of one or more instructions"),
    (lambda: Ambiguous(S3, ((RESET,), RESET)), "each a tuple of one or more instructions"),
    (lambda: Ambiguous(S3, ((RESET,), ("reset",))), "each a tuple of one or more instructions"),
    (lambda: Instruction.from_dict("reset"), "'reset' is not an instruction of schema 1: give what as_dict"),
]


@pytest.mark.parametrize(("call", "message"), CALLS, ids=[str(number) for number in range(len(CALLS))])
def test_a_wrong_call_says_what_to_give(call: Callable[[], object], message: str) -> None:
    with pytest.raises(HalfbitError, match=message):
        call()


def test_a_wrong_value_changes_nothing() -> None:
    """The call that brings it refuses it, and the machine goes on: here in service mode, with a first write."""
    reset, write = Packet(bytes(3)), Packet(bytes.fromhex("7C 00 05 79"))
    machine, other = InstructionMachine(), InstructionMachine()
    for event in (reset, write):
        machine.feed(event)
        other.feed(event)
    wrong: Any
    for wrong in (None, write.data, Idle(IdleAddress())):
        with pytest.raises(HalfbitError):
            machine.feed(wrong)
    (found,), (expected,) = machine.feed(write), other.feed(write)
    assert found == expected
    assert isinstance(found, Instruction)
    assert isinstance(expected, Instruction)
    assert found.packet_context == expected.packet_context
