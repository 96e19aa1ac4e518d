"""A maker's own instructions, put beside the standards' and read from a packet.

The maker and the railway are invented: for the Ostrel Bay Tramway, Larkmoor Works build a decoder
that dims lamps by an instruction in bytes the standards reserve. Madrigal (long address 2604)
has one.

    python examples/own_instructions.py
"""

from __future__ import annotations

from ending import quietly

from halfbit import Packet
from halfbit.instruction import instructions, listing, render

# What the instruction itself needs:
from typing import ClassVar

import attrs

from halfbit.instruction import (
    STANDARD, Entry, Instruction, LongAddress, ShortAddress, flag, integer,
)  # fmt: skip


@attrs.frozen(slots=True)
class LampBrightness(Instruction):
    """Brightness of one lamp: 11001010 NNNNEBBB BBBBBBBB, invented."""

    name: ClassVar[str] = "Lamp Brightness"
    #: Which lamp.
    lamp: int = integer(0, 15)
    #: Whether it changes slowly.
    eased: bool = flag()
    #: How bright.
    brightness: int = integer(0, 2047)

    def __str__(self) -> str:
        how = "slowly" if self.eased else "at once"
        return f"lamp brightness: lamp {self.lamp} to {self.brightness} {how}"


OWN = STANDARD.extended(
    Entry(
        pattern="11001010 NNNNEBBB BBBBBBBB",
        addresses=(ShortAddress, LongAddress),
        builds=LampBrightness,
        # A letter that recurs in a later byte goes on with its field.
        fields={"lamp": "N", "eased": "E", "brightness": "B"},
        source="Larkmoor Works, invented",
    )
)


def main() -> None:
    """Encode one, read it with and without the maker's row, and print that row."""
    lamp = LampBrightness(LongAddress(2604), lamp=3, eased=True, brightness=1500)
    packet = Packet(OWN.encode(lamp))
    print(packet)
    for one in instructions([packet], OWN):
        print(f"with the row:    {one}")
    for one in instructions([packet]):
        print(f"without the row: {one}")
    print(render(listing(OWN)[-1:], "csv"), end="")


if __name__ == "__main__":
    with quietly():
        main()
