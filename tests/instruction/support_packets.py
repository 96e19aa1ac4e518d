"""Packets from hexadecimal bytes, with or without times, and one machine to run them through."""

from __future__ import annotations

from halfbit.instruction import Context, Instruction, InstructionMachine
from halfbit.packet import Packet
from halfbit.simulate.signal import with_error_byte

__all__ = ["MS", "RESET", "packet", "run", "timed"]

MS = 1_000_000

#: S-9.2 B, without its error detection byte.
RESET = "00 00"
IDLE = "FF 00"


def packet(body: str, preamble: int = 14) -> Packet:
    """A packet without times; the error detection byte is put behind the bytes."""
    return Packet(with_error_byte(bytes.fromhex(body)), preamble)


def timed(body: str, end_ms: float, duration_ms: float = 8) -> Packet:
    """A packet that ends at a time."""
    end = round(end_ms * MS)
    return Packet(with_error_byte(bytes.fromhex(body)), 20, end - round(duration_ms * MS), end)


def run(packets: list[Packet], context: Context | None = None) -> list[Instruction]:
    """One instruction for each packet."""
    machine = InstructionMachine(context=context)
    out: list[Instruction] = []
    for one in packets:
        found = machine.feed(one)
        assert len(found) == 1
        assert isinstance(found[0], Instruction)
        assert found[0].packet is one
        out.append(found[0])
    assert machine.finish() == ()
    return out
