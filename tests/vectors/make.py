"""The vectors made anew from their specs: ``python -m tests.vectors.make``."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import halfbit.vectors
from halfbit import core, core_sum
from halfbit.decision import SumReceiver
from halfbit.event import Fault, FaultKind, Packet, PacketEvent
from halfbit.half_bit import HalfBitKind
from halfbit.instruction import instructions
from halfbit.instruction.base import Instruction
from halfbit.limits import UNIT, US, Limits
from halfbit.receiver import HalvesReceiver
from halfbit.vectors.case import VERSION, Answer, Case
from halfbit.vectors.case import SETS
from tests.vectors.case_spec import CaseSpec
from tests.vectors.case_instructions import instruction_cases
from tests.vectors.case_packets import packet_cases
from tests.vectors.case_pairing import pairing_cases
from tests.vectors.case_sum import sum_cases
from tests.vectors.case_sum_mixed import mixed_cases
from tests.vectors.case_torn import torn_cases
from tests.vectors.case_transmit import transmit_cases
from tests.vectors.case_windows import window_cases

__all__ = ["made", "specs", "text"]


@cache
def specs(limits: str) -> tuple[CaseSpec, ...]:
    """The specs of a set. Those by sum take a second."""
    if limits == "receive":
        return (*window_cases(), *pairing_cases(), *packet_cases(), *torn_cases(), *instruction_cases())
    return transmit_cases() if limits == "transmit" else (*sum_cases(), *mixed_cases())


#: Kinds whose detail is a time.
_TIMED = frozenset(
    (
        FaultKind.SHORT,
        FaultKind.GAP,
        FaultKind.LONG,
        FaultKind.UNPAIRED_ONE,
        FaultKind.UNPAIRED_ZERO,
        FaultKind.UNEQUAL,
        FaultKind.ZERO_TOO_LONG,
    )
)


def made(spec: CaseSpec, limits: Limits) -> Case:
    """A spec with what each layer makes of it."""
    if limits.decision == "sum":
        return _summed(spec, limits)
    layer_2 = limits.half_bits_core()
    receiver = limits.receiver_core()
    bits = ""
    answers = []
    for at, duration in enumerate(spec.durations, 1):
        answer = receiver.feed(duration * US)
        bits += f"{receiver.bit:X}"
        if answer == core.PACKET:
            packets = receiver.packets
            data = bytes(packets.data[: packets.length])
            answers.append(Answer(at, answer, packets.preamble, data))
        elif answer != core.MORE:
            answers.append(Answer(at, answer))
    whole = HalvesReceiver(limits)
    events = [*whole.feed_many(spec.durations, US), *whole.finish()]
    return Case(
        spec.id,
        spec.rule,
        spec.source,
        spec.text,
        tuple(spec.durations),
        "".join(f"{layer_2.feed(duration * US):X}" for duration in spec.durations),
        bits,
        tuple(answers),
        tuple(_event(event) for event in events),
        tuple(one.as_dict() for one in instructions(events) if isinstance(one, Instruction)),
    )


def _summed(spec: CaseSpec, limits: Limits) -> Case:
    """A spec with the output of the receiver by sum, which keeps as many durations as a board."""
    machine = limits.sums_core(core_sum.BLOCK)
    answers = []
    for at, duration in enumerate(spec.durations, 1):
        answer = machine.feed(duration * UNIT)
        if answer != core.MORE:
            answers.append(Answer(at, answer, machine.preamble, bytes(machine.data[: machine.length])))
    whole = SumReceiver(limits)
    events = [*whole.feed_many(spec.durations, US), *whole.finish()]
    found = tuple(one.as_dict() for one in instructions(events) if isinstance(one, Instruction))
    durations = tuple(spec.durations)
    shown = tuple(_event(event) for event in events)
    return Case(spec.id, spec.rule, spec.source, spec.text, durations, "", "", tuple(answers), shown, found)


def _event(event: PacketEvent) -> dict[str, Any]:
    times: dict[str, Any] = {"start": _us(event.start), "end": _us(event.end)}
    if isinstance(event, Packet):
        return {"packet": event.data.hex().upper(), "preamble": event.preamble, **times}
    if isinstance(event, Fault):
        detail = _us(event.detail) if event.kind in _TIMED else event.detail
        return {
            "fault": event.kind.name,
            "layer": int(event.layer),
            **times,
            "at": _us(event.at),
            "detail": detail,
            "data": event.data.hex().upper(),
            "count": event.count,
        }
    return {"cutout": True, **times}


def _us(time: int) -> int:
    whole, rest = divmod(time, US)
    if rest:
        raise AssertionError(f"{time} ns is no whole number of us")
    return whole


def text(limits: str) -> str:
    """The file of a set."""
    lines = [json.dumps(_heading(limits, SETS[limits]))]
    lines += [made(spec, SETS[limits]).to_json() for spec in specs(limits)]
    return "\n".join(lines) + "\n"


def _heading(name: str, limits: Limits) -> dict[str, Any]:
    if limits.decision == "sum":
        return {
            "version": VERSION,
            "limits": name,
            "one_min": _us(limits.one_min),
            "zero_max": _us(limits.zero_max),
            "latency_max": _us(limits.latency_max),
            "preamble_min": limits.preamble_min,
            "packet_min": limits.packet_min,
            "packet_max": limits.packet_max,
            "answers": {"MORE": core.MORE, "PACKET": core.PACKET},
        }
    total, difference = limits.zero_total_max, limits.one_difference
    return {
        "version": VERSION,
        "limits": name,
        "one_min": _us(limits.one_min),
        "one_max": _us(limits.one_max),
        "one_difference": None if difference is None else _us(difference),
        "zero_min": _us(limits.zero_min),
        "zero_max": _us(limits.zero_max),
        "zero_total_max": None if total is None else _us(total),
        "preamble_min": limits.preamble_min,
        "packet_min": limits.packet_min,
        "packet_max": limits.packet_max,
        "answers": {
            name: value
            for name, value in (
                ("MORE", core.MORE),
                *((kind.name, int(kind)) for kind in HalfBitKind),
                ("PACKET", core.PACKET),
                ("SYNC", core.SYNC),
                ("START", core.START),
                *((kind.name, int(kind)) for kind in FaultKind if kind < core.CUT),
            )
        },
    }


if __name__ == "__main__":
    for name in SETS:
        path = Path(halfbit.vectors.__file__).with_name("data") / f"{name}.jsonl"
        path.write_text(text(name), "ascii")
        print(f"{path.name}: {len(specs(name))} cases, {path.stat().st_size} bytes")
