"""The other way round: from instructions to bytes, to half-bits, through a bad rail, and back."""

import random

from ending import quietly

from halfbit import STANDARD, Fault, Instruction, decode, edges_from_durations
from halfbit.simulate.distort import jittered, lost_edge
from halfbit.instruction import FunctionGroupOne, LongAddress, ShortAddress, SpeedAndDirection, SpeedControl128
from halfbit.simulate.signal import bit_durations, packet_durations

MADRIGAL = LongAddress(2604)

PACKETS: list[tuple[Instruction, ...]] = [
    (SpeedAndDirection(ShortAddress(55), True, 0b10100),),
    # Two instructions behind one address.
    (SpeedControl128(MADRIGAL, True, 31), FunctionGroupOne(MADRIGAL, True, 0b0101)),
    (SpeedControl128(MADRIGAL, True, 0),),
]


def main() -> None:
    """Send the packets, lose one level change of the second, and show what arrives."""
    durations: list[int] = []
    for number, instructions in enumerate(PACKETS):
        data = STANDARD.encode_packet(instructions)
        print("sent     ", data.hex(" ").upper())
        halves = packet_durations(data, preamble=16)
        durations += lost_edge(halves, 60) if number == 1 else halves
    durations += bit_durations([1] * 12)  # the signal goes on
    received = jittered(durations, 1_500, random.Random(3))
    for event in decode(edges_from_durations(received, unit="ns")):
        if isinstance(event, Instruction):
            print("received ", event.packet, "-", event.address, "-", event)
        elif isinstance(event, Fault):
            print("lost     ", event)


if __name__ == "__main__":
    with quietly():
        main()
