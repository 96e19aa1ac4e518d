"""Service mode as S-9.2.3 has it: entry, exit, the four modes' sequences, second identical packet.

Packets are worked out by hand from the patterns of S-9.2.3 E; rules cite their section.
"""

from __future__ import annotations

import pytest

from halfbit.error import HalfbitError
from halfbit.event import Fault, FaultKind, PacketEvent
from halfbit.instruction import (
    STANDARD,
    Ambiguous,
    Context,
    DecoderKind,
    DigitalDecoderReset,
    DirectBitManipulation,
    DirectVerifyByte,
    DirectWriteByte,
    FactoryReset,
    FunctionGroupOne,
    Idle,
    Instruction,
    InstructionMachine,
    NoAddress,
    PagePreset,
    RegisterAccess,
    ShortAddress,
    Repetition,
    UnresolvedAddress,
)
from halfbit.packet import Packet
from tests.instruction.support_packets import IDLE, RESET, packet, run, timed

FIRST, REPEAT = Repetition.FIRST, Repetition.REPEAT
NONE = NoAddress()

# Direct mode (S-9.2.3 E): 0111CCAA AAAAAAAA DDDDDDDD.
VERIFY_CV29 = "74 1C 06"  # CC = 01, A = 28: CV 29; 00000110
WRITE_CV1 = "7C 00 05"  # CC = 11, A = 0: CV 1; 00000101
WRITE_CV1024 = "7F FF A5"  # CC = 11, A = 1023
VERIFY_BIT = "78 1C ED"  # CC = 10, CV 29, 111KDBBB = 11101101: verify, 1, bit 5
WRITE_BIT = "78 1C F5"  # 11110101: write, 0, bit 5


def _with_times(bodies: list[str], gap_ms: float = 8) -> list[Packet]:
    return [timed(body, gap_ms * (index + 1), min(gap_ms, 8)) for index, body in enumerate(bodies)]


def _both(bodies: list[str]) -> list[list[Packet]]:
    """The same packets without times and with."""
    return [[packet(body) for body in bodies], _with_times(bodies)]


def _repetitions(found: list[Instruction]) -> list[Repetition | None]:
    return [one.repetition for one in found]


@pytest.mark.parametrize("times", [0, 1])
@pytest.mark.parametrize(
    ("body", "expected"),
    [
        (VERIFY_CV29, DirectVerifyByte(NONE, cv=29, value=6)),
        (VERIFY_BIT, DirectBitManipulation(NONE, cv=29, writes=False, value=True, position=5)),
    ],
)
def test_direct_mode_verify(times: int, body: str, expected: Instruction) -> None:
    """S-9.2.3 E, direct mode: 3 or more resets, 5 or more verifies."""
    found = run(_both([RESET] * 3 + [body] * 5)[times])
    assert found[:3] == [found[0]] * 3
    assert isinstance(found[0], DigitalDecoderReset)
    assert found[3:] == [expected] * 5
    assert _repetitions(found) == [None] * 3 + [FIRST] + [REPEAT] * 4
    assert [one.context for one in found[3:]] == [Context.SERVICE] * 5


@pytest.mark.parametrize("times", [0, 1])
@pytest.mark.parametrize("recovery", ["write", "reset"])
def test_direct_mode_write(times: int, recovery: str) -> None:
    """S-9.2.3 E, direct mode: 3 resets, 5 writes, then 6 writes or resets to recover."""
    last = WRITE_BIT if recovery == "write" else RESET
    found = run(_both([RESET] * 3 + [WRITE_BIT] * 5 + [last] * 6)[times])
    expected = DirectBitManipulation(NONE, cv=29, writes=True, value=False, position=5)
    assert found[3:8] == [expected] * 5
    if recovery == "write":
        assert found[8:] == [expected] * 6
    else:
        assert all(isinstance(one, DigitalDecoderReset) for one in found[8:])
        assert [one.context for one in found[8:]] == [Context.SERVICE] * 6


@pytest.mark.parametrize("times", [0, 1])
def test_address_only_mode(times: int) -> None:
    """S-9.2.3 E: page preset (3 resets, 5 presets, 6 recoveries), then 3 resets, 5 writes, 10 more."""
    preset, write = "7D 01", "78 37"  # 01111101 00000001; 01111000 00110111: address 55
    found = run(_both([RESET] * 3 + [preset] * 5 + [RESET] * 6 + [RESET] * 3 + [write] * 15)[times])
    assert found[3:8] == [PagePreset(NONE)] * 5
    assert found[17:] == [RegisterAccess(NONE, writes=True, register=1, value=55)] * 15
    for one in found[17:]:
        assert isinstance(one, RegisterAccess)
        assert (one.page, one.cv, one.address_only) == (1, 1, True)


@pytest.mark.parametrize("times", [0, 1])
def test_register_mode(times: int) -> None:
    """S-9.2.3 E, register mode: 3 resets, 7 verifies; 3 resets, 5 writes, 6 more."""
    verify, write = "72 0A", "7F 03"  # register 3, 10; register 8 := 3
    found = run(_both([RESET] * 3 + [verify] * 7 + [RESET] * 3 + [write] * 11)[times])
    assert found[3:10] == [RegisterAccess(NONE, writes=False, register=3, value=10)] * 7
    assert found[13:] == [RegisterAccess(NONE, writes=True, register=8, value=3)] * 11
    third, eighth = found[3], found[13]
    assert isinstance(third, RegisterAccess)
    assert isinstance(eighth, RegisterAccess)
    # No page was set in sight: the packet may be one of paged mode, so its CV is not known.
    assert (third.page, third.cv, third.address_only) == (None, None, False)
    assert eighth.cv == 8  # registers 5, 7 and 8 are not paged


@pytest.mark.parametrize("times", [0, 1])
def test_paged_mode(times: int) -> None:
    """S-9.2.3 E, paged mode: 3 resets, 5 writes of the page, 6 resets, then as in direct mode.

    Worked value: CV 65 is page 17, register 1 (S-9.2.3 E).
    """
    page, write = "7D 11", "78 2A"  # 01111101 00010001: page 17; 01111000: write register 1, 42
    found = run(_both([RESET] * 3 + [page] * 5 + [RESET] * 6 + [write] * 5 + [write] * 6)[times])
    assert found[3:8] == [RegisterAccess(NONE, writes=True, register=6, value=17)] * 5
    # The page register holds it from the second identical packet on.
    assert [getattr(one, "page") for one in found[3:8]] == [None, 17, 17, 17, 17]
    for one in found[14:]:
        assert isinstance(one, RegisterAccess)
        assert (one.page, one.cv, one.address_only) == (17, 65, False)


@pytest.mark.parametrize(
    ("page", "register", "cv"),
    [
        # CV = (page - 1) * 4 + RRR + 1 (S-9.2.3 E).
        (1, 1, 1),
        (1, 4, 4),
        (2, 1, 5),
        (8, 1, 29),
        (17, 1, 65),
        (128, 4, 512),
        (255, 4, 1020),
        (0, 1, 1021),  # page 0 stands for page 256: from memory
        (0, 4, 1024),  # from memory
        # Not paged (S-9.2.3 E).
        (17, 5, 29),
        (17, 6, None),
        (17, 7, 7),
        (17, 8, 8),
    ],
)
def test_cvs_of_registers(page: int, register: int, cv: int | None) -> None:
    set_page, verify = f"7D {page:02X}", f"{0x70 | register - 1:02X} 63"
    found = run([packet(body) for body in [RESET, set_page, set_page, RESET, verify]])[-1]
    assert isinstance(found, RegisterAccess)
    assert (found.register, found.page, found.cv) == (register, page, cv)


def test_a_page_seen_once_is_not_set() -> None:
    """S-9.2.3: a decoder executes on the second identical packet with no other between."""
    found = run([packet(body) for body in [RESET, "7D 11", RESET, "7D 11", RESET, "78 2A"]])
    assert _repetitions(found) == [None, FIRST, None, FIRST, None, FIRST]
    assert isinstance(found[-1], RegisterAccess)
    assert found[-1].page is None


def test_the_page_is_forgotten_when_service_mode_ends() -> None:
    bodies = [RESET, "7D 11", "7D 11", IDLE, RESET, "78 2A"]
    found = run([packet(body) for body in bodies])[-1]
    assert isinstance(found, RegisterAccess)
    assert found.page is None
    assert str(found) == ("write register 1 (CV 1, or accessory CV 513, or if paged CV 4 * (page - 1) + 1) := 42")


def test_factory_reset() -> None:
    """S-9.2.3 E: 01111111 00001000."""
    found = run([packet(body) for body in [RESET, "7F 08", "7F 08"]])
    assert found[1:] == [FactoryReset(NONE)] * 2
    assert _repetitions(found) == [None, FIRST, REPEAT]


@pytest.mark.parametrize(
    ("page", "body", "targets"),
    [
        # Page 1, or page not known: register mode. Both columns of the table (S-9.2.3 E).
        (None, "78 05", [(DecoderKind.MULTI_FUNCTION, 1), (DecoderKind.ACCESSORY, 513)]),
        (1, "78 05", [(DecoderKind.MULTI_FUNCTION, 1), (DecoderKind.ACCESSORY, 513)]),
        (None, "79 05", [(DecoderKind.MULTI_FUNCTION, 2)]),
        (None, "7E 05", [(DecoderKind.MULTI_FUNCTION, 7), (DecoderKind.ACCESSORY, 7)]),
        (17, "7F 05", [(DecoderKind.MULTI_FUNCTION, 8), (DecoderKind.ACCESSORY, 520)]),
        (None, "7D 05", []),
        # Another page: paged mode.
        (17, "78 05", [(None, 65)]),
    ],
)
def test_targets_of_registers(page: int | None, body: str, targets: list[tuple[DecoderKind | None, int]]) -> None:
    before = [] if page is None else [f"7D {page:02X}"] * 2
    found = run([packet(each) for each in [RESET, *before, RESET, body]])[-1]
    assert isinstance(found, RegisterAccess)
    assert [(one.decoder, one.cv) for one in found.targets] == targets


def test_length_tells_direct_mode_from_the_others() -> None:
    found = run([packet(body) for body in [RESET, "7C 00", "7C 00 05"]])
    assert found[1] == RegisterAccess(NONE, writes=True, register=5, value=0)
    assert found[2] == DirectWriteByte(NONE, cv=1, value=5)
    assert _repetitions(found) == [None, FIRST, FIRST]


# Second identical packet


def test_repeats_must_follow_at_once() -> None:
    """S-9.2.3: no other valid packet between. A torn one is not valid, so it does not count."""
    bodies = [RESET, WRITE_CV1, RESET, WRITE_CV1, WRITE_CV1024, WRITE_CV1, WRITE_CV1]
    found = run([packet(body) for body in bodies])
    assert _repetitions(found) == [None, FIRST, None, FIRST, FIRST, FIRST, REPEAT]


def test_a_packet_with_a_wrong_error_byte_is_no_valid_packet() -> None:
    wrong = Packet(bytes.fromhex("FF 00 FE"))
    found = run([timed(RESET, 8), wrong, timed(WRITE_CV1, 24), wrong, timed(WRITE_CV1, 40)])
    assert [type(one).__name__ for one in found] == [
        "DigitalDecoderReset",
        "Damaged",
        "DirectWriteByte",
        "Damaged",
        "DirectWriteByte",
    ]
    assert _repetitions(found) == [None, None, FIRST, None, REPEAT]


# Entry


def test_only_the_packet_next_to_a_reset_enters() -> None:
    found = run([packet(body) for body in [RESET, IDLE, "7C 90", "7C 90"]])
    assert found[2:] == [FunctionGroupOne(ShortAddress(124), bit4=True, states=0)] * 2


@pytest.mark.parametrize("gap", [8, 19.999, 20, 35, 5000])
def test_no_time_is_named_for_entry(gap: float) -> None:
    """S-9.2.3 E: a valid service mode packet immediately preceded by a reset packet, whenever that was."""
    found = run([timed(IDLE, 8), timed(RESET, 16), timed("7C 90", 16 + gap)])[-1]
    assert isinstance(found, RegisterAccess)
    assert found.context is Context.SERVICE


@pytest.mark.parametrize("lost", [1, 2])
@pytest.mark.parametrize(("gap", "context"), [(19.999, Context.SERVICE), (20, Context.UNKNOWN), (35, Context.UNKNOWN)])
def test_torn_packets_between_reset_and_entry(lost: int, gap: float, context: Context) -> None:
    """S-9.2.3 E and S-9.2 B.

    What was torn may have been another packet. Within 20 ms of the reset a station may send nothing else in this form;
    later it may, so the packet and those after it can be either until something decides. Such a session was once
    read as operations to its end.
    """
    fault = Fault(FaultKind.ERROR_BYTE, 16_000_000, 17_000_000, at=16_500_000, detail=3)
    machine = InstructionMachine()
    packets: list[PacketEvent] = [
        timed(IDLE, 8),
        timed(RESET, 16),
        *[fault] * lost,
        *(timed(WRITE_CV1, 16 + gap + 8 * i) for i in range(3)),
    ]
    found = [one for event in packets for one in machine.feed(event) if isinstance(one, Instruction)]
    assert [one.context for one in found[2:]] == [context] * 3
    assert {type(one) for one in found[2:]} == {DirectWriteByte if context is Context.SERVICE else Ambiguous}
    # The next reset before a service mode packet decides.
    again = [timed(RESET, 80), timed(WRITE_CV1, 88)]
    (last,) = [machine.feed(one) for one in again][-1]
    assert isinstance(last, DirectWriteByte)


def test_a_capture_that_starts_inside_is_ambiguous() -> None:
    (found,) = run([packet("7C 90", preamble=22)])
    assert isinstance(found, Ambiguous)
    assert found.address == UnresolvedAddress(0x7C)
    operations, service = found.readings
    assert operations == (FunctionGroupOne(ShortAddress(124), bit4=True, states=0),)
    assert service == (RegisterAccess(NONE, writes=True, register=5, value=0x90),)
    assert found.context is Context.UNKNOWN
    assert found.long_preamble  # evidence for service mode (S-9.2.3 E), not proof
    assert service[0].packet is found.packet
    assert STANDARD.encode(found) == bytes.fromhex("7C 90 EC")


def test_ambiguity_ends_with_the_first_packet_that_tells() -> None:
    found = run([packet(body) for body in ["7C 90", IDLE, "7C 90"]])
    assert isinstance(found[2], FunctionGroupOne)
    found = run([packet(body) for body in ["7C 90", RESET, "7C 90"]])
    assert isinstance(found[2], RegisterAccess)


# Exit


@pytest.mark.parametrize("body", [IDLE, "03 3F 85", "7C E4 1C 06"])
def test_exit_by_any_other_packet(body: str) -> None:
    """S-9.2.3: a valid packet that is neither; as it has another form operations resume with it."""
    found = run([packet(each) for each in [RESET, WRITE_CV1, body, "7C 90"]])
    assert found[1].context is Context.SERVICE
    assert found[3] == FunctionGroupOne(ShortAddress(124), bit4=True, states=0)
    assert found[3].context is Context.OPERATIONS


def test_exit_by_time() -> None:
    """S-9.2.3: 20 ms without a valid reset or service mode packet.

    Operations resume only with a packet of another form, so until then the form is ambiguous.
    """
    stays = run([timed(RESET, 8), timed(WRITE_CV1, 16), timed(WRITE_CV1, 35.9)])
    assert isinstance(stays[2], DirectWriteByte)
    late = [timed(RESET, 8), timed(WRITE_CV1, 16), timed(WRITE_CV1, 36), timed(WRITE_CV1, 44)]
    left = run([*late, timed(IDLE, 52), timed("7C 90", 60)])
    for one in left[2:4]:
        assert isinstance(one, Ambiguous)
        assert one.context is Context.LEFT
    assert isinstance(left[4], Idle)
    assert isinstance(left[5], FunctionGroupOne)


def test_resets_keep_service_mode_alive() -> None:
    resets = [timed(RESET, 24 + 19 * index) for index in range(10)]
    found = run([timed(RESET, 8), timed(WRITE_CV1, 16), *resets, timed(WRITE_CV1, 24 + 19 * 10)])
    assert isinstance(found[-1], DirectWriteByte)


def test_a_reset_after_exit_by_time_enters_again() -> None:
    packets = [timed(RESET, 8), timed(WRITE_CV1, 16), timed(RESET, 50), timed(WRITE_CV1, 58)]
    found = run(packets)
    assert found[2].context is Context.OPERATIONS  # a reset is not of the form of service mode
    assert isinstance(found[3], DirectWriteByte)


def test_a_broken_sequence() -> None:
    """Operations in the middle end it; without a reset the rest is not service mode."""
    found = run([packet(each) for each in [RESET, RESET, "7C 90", "03 60", "7C 90", "7C 90"]])
    assert [type(one).__name__ for one in found] == [
        "DigitalDecoderReset",
        "DigitalDecoderReset",
        "RegisterAccess",
        "SpeedAndDirection",
        "FunctionGroupOne",
        "FunctionGroupOne",
    ]


# Forced context


def test_forced_operations() -> None:
    found = run([packet(RESET), packet("7C 90"), packet("7C 90")], Context.OPERATIONS)
    assert found[1:] == [FunctionGroupOne(ShortAddress(124), bit4=True, states=0)] * 2
    assert [one.too_soon_after_reset for one in found] == [False, True, True]


def test_forced_service() -> None:
    bodies = ["7D 11", "7D 11", RESET, "78 2A", IDLE, "78 2A"]
    found = run([packet(each) for each in bodies], Context.SERVICE)
    assert _repetitions(found) == [FIRST, REPEAT, None, FIRST, None, FIRST]
    for index in (3, 5):
        one = found[index]
        assert isinstance(one, RegisterAccess)
        assert one.cv == 65
    assert isinstance(found[4], Idle)


@pytest.mark.parametrize("context", [Context.UNKNOWN, Context.LEFT, "service"])
def test_no_other_context_can_be_forced(context: Context) -> None:
    with pytest.raises(HalfbitError, match="neither Context.OPERATIONS nor Context.SERVICE"):
        InstructionMachine(context=context)


def test_long_preamble() -> None:
    """At least 20 one-bits (S-9.2.3 E)."""
    for bits, long in ((14, False), (19, False), (20, True), (255, True)):
        assert run([packet(RESET, bits)])[0].long_preamble is long
    assert not DigitalDecoderReset(NONE).long_preamble
