"""What mypy must accept: a ``match`` over each union that decoding gives names every case.

Not run. ``assert_never`` fails to type-check as soon as a union gets a member that is not named here.
"""

from __future__ import annotations

from typing_extensions import assert_never

from halfbit import Cutout, Event, Fault, Instruction, Packet, PacketEvent


def of_decode(event: Event) -> str:
    match event:
        case Instruction():
            return str(event.address)
        case Fault():
            return event.kind.name
        case Cutout():
            return "cutout"
        case _:
            assert_never(event)


def of_layer_4(event: PacketEvent) -> int:
    match event:
        case Packet():
            return event.preamble
        case Fault():
            return event.count
        case Cutout():
            return event.end - event.start
        case _:
            assert_never(event)
