"""Any instruction of any row: to bytes and back to the same; what does not fit is refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfbit.error import HalfbitError
from halfbit.instruction import (
    STANDARD,
    AccessoryAddress,
    AccessoryBroadcast,
    Address,
    AdvancedExtended,
    Ambiguous,
    Broadcast,
    Damaged,
    DecoderAcknowledgementRequest,
    Entry,
    ExtendedAccessoryAddress,
    ExtendedAccessoryBroadcast,
    ExtendedCvAccess,
    FactoryTest,
    FunctionGroupOne,
    HardReset,
    Idle,
    IdleAddress,
    Instruction,
    LongAddress,
    NoAddress,
    Reserved,
    ReservedAddress,
    ShortAddress,
    SpeedControl128,
    SpeedDirectionFunctions,
    Unknown,
    UnresolvedAddress,
)
from tests.instruction.support_rows import CASES, ROWS, addresses, case_id, is_special, own_fields, values


def _decode(data: bytes, kind: type[Address]) -> tuple[Instruction, ...]:
    read = STANDARD.decode_service(data) if kind is NoAddress else STANDARD.decode(data)
    # Extended CV access: the reading beside that as other instructions comes last.
    return read[0].readings[-1] if isinstance(read[0], Ambiguous) else read


@pytest.mark.parametrize("case", CASES, ids=case_id)
@settings(max_examples=30)
@given(data=st.data())
def test_any_values_come_back(case: tuple[Entry, type[Address]], data: st.DataObject) -> None:
    entry, kind = case
    address = data.draw(addresses(entry, kind))
    instruction = entry.builds(address, **data.draw(values(entry)))
    if is_special(instruction):
        with pytest.raises(HalfbitError, match="would be read as"):
            STANDARD.encode(instruction)
        return
    packet = STANDARD.encode(instruction)
    assert _decode(packet, kind) == (instruction,)
    at = len(address.to_bytes()) if entry.places[0].follows_address else 0
    # The row itself, and not just any row of its class, has these bytes.
    for index, (mask, value) in enumerate(zip(entry.parsed.masks, entry.parsed.values)):
        assert packet[at + index] & mask == value


def _distinct(entry: Entry) -> dict[str, Any]:
    """Values no two of which are the same, nor the same when cut to fewer bits."""
    given_values: dict[str, Any] = {}
    spare = [0b101, 0b010, 0b011, 0b110, 0b001]
    if entry.builds is ExtendedCvAccess:
        spare = [0b10, 0x0600_08]  # the sequence has two bits; the CV number leaves bytes over for the other reading
    on = [True, False, False]
    for field in own_fields(entry.builds):
        if "octets" in field.metadata:
            given_values[field.name] = bytes((0x91, 0x46))
        elif field.name in entry.constants:
            constant = entry.constants[field.name]
            given_values[field.name] = constant == 1 if field.metadata["bool"] else constant
        elif field.metadata["bool"]:
            given_values[field.name] = on.pop(0)
        else:
            given_values[field.name] = spare.pop(0)
    return given_values


@pytest.mark.parametrize("case", CASES, ids=case_id)
def test_distinct_values_stay_in_their_fields(case: tuple[Entry, type[Address]]) -> None:
    entry, kind = case
    address = {
        "short": ShortAddress(0b1010011),
        "long": LongAddress(0b10_0110_1100_1001),
        "accessory": AccessoryAddress(
            0b001_100110,
            0b10 if "pair" in entry.address else None,
            1 if "output" in entry.address else None,
        ),
    }.get(kind.kind) or _plain(kind)
    wanted = _distinct(entry)
    instruction = entry.builds(address, **wanted)
    (read,) = _decode(STANDARD.encode(instruction), kind)
    assert type(read) is entry.builds
    assert read.address == address
    assert {name: getattr(read, name) for name in wanted} == wanted


def _plain(kind: type[Address]) -> Address:
    needed = {"extended accessory": (0b101_100110_01,), "accessory broadcast": (0b10, 1)}
    return kind(*needed.get(kind.kind, ()))


@pytest.mark.parametrize(
    ("entry", "name"),
    [(entry, field.name) for entry in ROWS for field in own_fields(entry.builds)],
    ids=lambda value: value if isinstance(value, str) else value.pattern.replace(" ", "-"),
)
def test_values_out_of_range_are_refused(entry: Entry, name: str) -> None:
    """With the field and its range named."""
    kind = entry.addresses[0]
    address = Broadcast() if entry.places[0].follows_address else _plain_of(kind)
    good = _distinct(entry)
    field = next(f for f in own_fields(entry.builds) if f.name == name)
    where = f"{entry.builds.__name__}\\.{name}: "
    if "octets" in field.metadata:
        low, high = field.metadata["octets"]
        bad = [bytes(high + 1)] if high is not None else []
        bad += [bytes(low - 1)] if low else []
        words = f"{low} (to {high}|or more) bytes"
        wrong: list[Any] = [*bad, "12", 7, None]
    elif field.metadata["bool"]:
        words = r"False or True \(0 to 1\)"
        wrong = [2, -1, 0, 1, None]
    else:
        low, high = field.metadata["range"]
        words = f"an integer from {low} to {high}|one of {low}, .*{high}"
        wrong = [low - 1, high + 1, True, None, "1", 1.0]
    for value in wrong:
        with pytest.raises(HalfbitError, match=f"{where}.* is not ({words})"):
            entry.builds(address, **{**good, name: value})


def _plain_of(kind: type[Address]) -> Address:
    return AccessoryAddress(5, 1, 0) if kind is AccessoryAddress else _plain(kind)


def test_several_instructions_share_an_address() -> None:
    address = ShortAddress(3)
    together = (
        SpeedControl128(address, forward=True, code=2),
        FunctionGroupOne(address, bit4=True, states=0b0011),
        DecoderAcknowledgementRequest(address, value=True),
    )
    packet = STANDARD.encode_packet(together)
    # 3; 00111111 10000010; 10010011; 00001111; exclusive or
    assert packet == bytes.fromhex("03 3F 82 93 0F 22")
    assert STANDARD.decode(packet) == together


@given(st.data())
def test_any_few_instructions_share_an_address(data: st.DataObject) -> None:
    address = data.draw(st.builds(LongAddress, st.integers(0, 10239)))
    rows = [entry for entry in ROWS if LongAddress in entry.addresses and not entry.tail and not entry.alone]
    chosen = data.draw(st.lists(st.sampled_from(rows), min_size=2, max_size=4))
    together = tuple(entry.builds(address, **data.draw(values(entry))) for entry in chosen)
    classes = [entry.packet_class for entry in chosen if entry.packet_class is not None]
    if len(classes) > len(set(classes)):
        with pytest.raises(HalfbitError, match="would be read as"):
            STANDARD.encode_packet(together)
    else:
        read = STANDARD.decode(STANDARD.encode_packet(together))
        # What starts with CV access can be extended CV access as well.
        assert together in (read[0].readings if isinstance(read[0], Ambiguous) else (read,))


@pytest.mark.parametrize(
    ("together", "message"),
    [
        ((), "at least one"),
        ((HardReset(ShortAddress(3)), HardReset(ShortAddress(4))), "one address, not short 3 and short 4"),
        ((Idle(IdleAddress()), Idle(IdleAddress())), "only one instruction can stand"),
        # Only one of decoder control but 00001111 (S-9.2.1 C).
        ((HardReset(ShortAddress(3)), HardReset(ShortAddress(3))), "would be read as"),
        # S-9.2.1 B speaks of a single instruction to broadcast.
        (
            (FunctionGroupOne(Broadcast(), False, 0), FunctionGroupOne(Broadcast(), False, 1)),
            "would be read as Function Group One to broadcast, then Unknown",
        ),
        # What is not known ends a packet, for its length is not known.
        ((Unknown(ShortAddress(3), b"\xe0"), HardReset(ShortAddress(3))), "would be read as"),
        # Its function bytes would take the next instruction for theirs.
        (
            (
                SpeedDirectionFunctions(ShortAddress(3), forward=True, code=5, states=b"\x01"),
                FunctionGroupOne(ShortAddress(3), bit4=False, states=1),
            ),
            "would be read as",
        ),
    ],
)
def test_packets_that_cannot_be(together: tuple[Instruction, ...], message: str) -> None:
    with pytest.raises(HalfbitError, match=message):
        STANDARD.encode_packet(together)


@pytest.mark.parametrize(
    ("instruction", "message"),
    [
        (Idle(ShortAddress(3)), "Idle: no pattern for the address 'short 3'"),
        (HardReset(NoAddress()), "Hard Reset: no pattern for the address 'no address'"),
        # A reserved byte that is an instruction after all, and bytes that are known.
        (Reserved(ShortAddress(3), b"\x41"), "would be read as Speed and Direction to short 3"),
        (Unknown(ShortAddress(3), b"\x00"), "would be read as Digital Decoder Reset"),
        (Unknown(UnresolvedAddress(3), b"\x00"), "would be read as Digital Decoder Reset"),
    ],
)
def test_instructions_that_cannot_be(instruction: Instruction, message: str) -> None:
    with pytest.raises(HalfbitError, match=message):
        STANDARD.encode(instruction)


def test_reserved_and_unknown_keep_their_bytes() -> None:
    for instruction, packet in (
        (Reserved(ShortAddress(3), b"\xc5\x01"), "03 C5 01 C7"),
        (Reserved(ReservedAddress(252), b"\x12\x34"), "FC 12 34 DA"),
        (AdvancedExtended(ReservedAddress(253), b"\x12\x34"), "FD 12 34 DB"),
        (Reserved(AccessoryAddress(1), b"\xf0\xe0\x00\x05"), "81 F0 E0 00 05 94"),
        (Reserved(AccessoryAddress(1, 0, 1), b"\xf9\xe0\x00\x05"), "81 F9 E0 00 05 9D"),
        (Reserved(ExtendedAccessoryAddress(4), b"\x71\xe3\x00\x05"), "81 71 E3 00 05 16"),
        (Reserved(AccessoryBroadcast(), b"\x80\xe0\x00\x05"), "BF 80 E0 00 05 DA"),
        (Reserved(ExtendedAccessoryBroadcast(), b"\x07\xe0\x00\x05"), "BF 07 E0 00 05 5D"),
        (Unknown(NoAddress(), b"\x70\x00\x05"), "70 00 05 75"),
        (Unknown(LongAddress(1111), b"\x3f"), "C4 57 3F AC"),
        (Unknown(UnresolvedAddress(0x81), b"\x00"), "81 00 81"),
    ):
        assert STANDARD.encode(instruction) == bytes.fromhex(packet)
        decode = STANDARD.decode_service if instruction.address == NoAddress() else STANDARD.decode
        assert decode(bytes.fromhex(packet)) == (instruction,)


def test_damaged_packets_do_not_go_back_to_bytes() -> None:
    """The error detection byte is wrong (S-9.2 A), so what was sent is not known."""
    for text in ("03 64 68", "FF", ""):
        (read,) = STANDARD.decode(bytes.fromhex(text))
        assert isinstance(read, Damaged)
        assert STANDARD.decode_service(bytes.fromhex(text)) == (read,)
        with pytest.raises(HalfbitError, match="a damaged packet does not go back to bytes"):
            STANDARD.encode(read)


def test_packets_that_are_too_long() -> None:
    """S-9.2.1 (introduction): 6 bytes; later documents have more (from memory), and the receiver takes 15."""
    short = ShortAddress(3)
    groups = [FunctionGroupOne(short, bit4=False, states=0)] * 14
    assert len(STANDARD.encode_packet(groups[:13])) == 15
    with pytest.raises(HalfbitError, match="16 bytes, more than packet_max 15: send fewer instructions"):
        STANDARD.encode_packet(groups)
    assert len(STANDARD.encode_packet(groups[:4], packet_max=6)) == 6
    with pytest.raises(HalfbitError, match="7 bytes, more than packet_max 6"):
        STANDARD.encode_packet(groups[:5], packet_max=6)
    with pytest.raises(HalfbitError, match="more than packet_max 6"):
        STANDARD.encode(FactoryTest(short, f=True, data=b"abcd"), packet_max=6)
