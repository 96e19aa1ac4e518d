"""CV writes in operations mode act on the second identical packet (S-9.2.1 C, write byte).

Any other packet to the same decoder, broadcast included, in between undoes the first.
"""

from __future__ import annotations

import pytest

from halfbit.instruction import Instruction, InstructionMachine, Repetition
from tests.instruction.support_packets import packet, run

F, R, N = Repetition.FIRST, Repetition.REPEAT, None

# 111011VV VVVVVVVV DDDDDDDD to short 3, short 4, long 1111 and broadcast: CV 1 := 5.
TO_3, TO_4, TO_1111, TO_ALL = "03 EC 00 05", "04 EC 00 05", "C4 57 EC 00 05", "00 EC 00 05"
BIT_3 = "03 E8 1C F5"  # 111CDBBB, C = 1: a write
BIT_VERIFY_3 = "03 E8 1C E5"  # C = 0: a verify
# 10AAAAAA 1AAACDDD 111011VV ...: board 1, the whole decoder; board 1, output 1; board 2.
BOARD_1, OUTPUT_1, BOARD_2 = "81 F0 EC 00 05", "81 F9 EC 00 05", "82 F0 EC 00 05"
EXTENDED_4, EXTENDED_5 = "81 71 EC 00 05", "81 73 EC 00 05"  # 10AAAAAA 0AAA0AA1


@pytest.mark.parametrize(
    ("bodies", "expected"),
    [
        ([TO_3, TO_3, TO_3], [F, R, R]),
        ([TO_1111, TO_1111], [F, R]),
        ([BIT_3, BIT_3], [F, R]),
        # A verify needs no second packet, and is another packet to the decoder.
        ([BIT_VERIFY_3, BIT_VERIFY_3], [N, N]),
        ([BIT_3, BIT_VERIFY_3, BIT_3], [F, N, F]),
        # Another value, or another CV, is another packet.
        ([TO_3, "03 EC 00 06", TO_3, TO_3], [F, F, F, R]),
        ([TO_3, "03 EC 01 05", TO_3], [F, F, F]),
        # Speed to the same decoder undoes the first; to another, or idle, does not.
        ([TO_3, "03 64", TO_3], [F, N, F]),
        ([TO_3, "04 64", TO_3], [F, N, R]),
        ([TO_3, "FF 00", TO_3], [F, N, R]),
        # Decoders with a write each, taking turns.
        ([TO_3, TO_4, TO_1111, TO_3, TO_4, TO_1111], [F, F, F, R, R, R]),
        # Broadcast goes to every multi-function decoder.
        ([TO_3, "00 00", TO_3], [F, N, F]),
        ([TO_3, TO_4, "00 60", TO_3, TO_4], [F, F, N, F, F]),
        ([TO_3, TO_ALL, TO_3, TO_3], [F, F, F, R]),
        ([TO_ALL, TO_ALL], [F, R]),
        ([TO_ALL, "04 64", TO_ALL], [F, N, F]),
        # An accessory decoder is its board address, whatever the output.
        ([BOARD_1, BOARD_1], [F, R]),
        ([BOARD_1, BOARD_2, BOARD_1], [F, F, R]),
        ([BOARD_1, "81 F8", BOARD_1], [F, N, F]),
        ([OUTPUT_1, BOARD_1, OUTPUT_1], [F, F, F]),
        ([BOARD_1, "00 00", BOARD_1], [F, N, R]),  # not to accessory decoders
        ([BOARD_1, "BF 88", BOARD_1], [F, N, F]),  # to all of them
        ([EXTENDED_4, EXTENDED_4], [F, R]),
        ([EXTENDED_4, EXTENDED_5, EXTENDED_4], [F, F, R]),
        ([EXTENDED_4, "BF 07 05", EXTENDED_4], [F, N, F]),
        ([EXTENDED_4, "BF 88", EXTENDED_4], [F, N, R]),
    ],
)
def test_first_sight_and_repeat(bodies: list[str], expected: list[Repetition | None]) -> None:
    assert [one.repetition for one in run([packet(body) for body in bodies])] == expected


def test_only_the_write_of_a_packet_needs_a_repeat() -> None:
    machine = InstructionMachine()
    shared = packet("03 64 EC 00 05")  # speed and a CV write behind one address
    seen = [one.repetition for _ in range(2) for one in machine.feed(shared) if isinstance(one, Instruction)]
    assert seen == [N, F, N, R]


def test_operations_packets_in_the_form_of_service_mode_count_too() -> None:
    bodies = ["7C EC 00 05", "7C 60", "7C EC 00 05"]
    assert [one.repetition for one in run([packet(body) for body in bodies])] == [F, N, F]
