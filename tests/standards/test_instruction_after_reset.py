"""What a station must not send too soon after a reset: to 100 to 127 (S-9.2 B), and to 112 to 127 (S-9.2.1 C)."""

from __future__ import annotations

import pytest

from halfbit.event import Fault, FaultKind
from halfbit.instruction import Instruction, InstructionMachine, ShortAddress, SpeedAndDirection
from tests.instruction.support_packets import IDLE, RESET, packet, run, timed

WRITE_CV1 = "7C 00 05"  # S-9.2.3 E, direct mode


@pytest.mark.parametrize(("address", "early"), [(99, False), (100, True), (111, True), (112, True), (127, True)])
@pytest.mark.parametrize("times", [0, 1])
def test_20_ms_after_a_broadcast_reset(address: int, early: bool, times: int) -> None:
    """S-9.2 B: nothing to 100 to 127. Longer than any service mode packet, so operations mode."""
    body = f"{address:02X} E4 1C 06"
    bodies = [IDLE, RESET, body, body]
    *_, first, second = run([timed(each, 8 * (index + 1)) if times else packet(each) for index, each in enumerate(bodies)])
    assert first.address == ShortAddress(address)
    assert first.too_soon_after_reset is early
    # 16 ms after the reset if there are times; without, only the packet next to it counts (but see below).
    assert second.too_soon_after_reset is (early and (times == 1 or address >= 112))


def test_the_20_ms_end() -> None:
    found = run([timed(IDLE, 1), timed(RESET, 10), timed("64 60", 29.9), timed("64 60", 30)])
    assert isinstance(found[2], SpeedAndDirection)
    assert [one.too_soon_after_reset for one in found] == [False, False, True, False]


@pytest.mark.parametrize("reset", [RESET, "03 00", "C4 57 00"])
@pytest.mark.parametrize(("address", "early"), [(111, False), (112, True), (127, True)])
def test_ten_packet_times_after_a_digital_decoder_reset(reset: str, address: int, early: bool) -> None:
    """S-9.2.1 C: a station keeps off 112 to 127 for 10 packet times, also after a reset to one address."""
    body = f"{address:02X} E4 1C 06"
    for between in range(12):
        packets = [packet(IDLE), packet(reset), *[packet("05 64")] * between, packet(body)]
        assert run(packets)[-1].too_soon_after_reset is (
            early and between < 10 or reset == RESET and between == 0 and address >= 100
        )


def test_lost_packets_are_packet_times_too() -> None:
    """S-9.2.1 C. Each lost stretch counts as one."""
    fault = Fault(FaultKind.ERROR_BYTE, 0, 1, at=0, detail=3)
    for losses, early in ((9, True), (10, False)):
        machine = InstructionMachine()
        machine.feed(packet("03 00"))
        for _ in range(losses):
            machine.feed(fault)
        (found,) = machine.feed(packet("78 E4 1C 06"))
        assert isinstance(found, Instruction)
        assert found.too_soon_after_reset is early


def test_service_mode_need_not_wait() -> None:
    assert not run([packet(RESET), packet(WRITE_CV1)])[1].too_soon_after_reset
