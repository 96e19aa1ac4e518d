"""The vectors made anew from their stories: ``python -m halfbit.vectors``."""

from __future__ import annotations

import json
from typing import Any

from .. import core
from ..account import Event
from ..fault import Fault, FaultKind
from ..half_bit import HalfBitKind
from ..instruction import instructions
from ..instruction.base import Instruction
from ..limits import US, Limits
from ..packet_type import Packet
from ..receive import Receiver
from .case import VERSION, Answer, Case
from .reader import SETS
from .story import Story
from .story_instructions import instruction_stories
from .story_packets import packet_stories
from .story_torn import torn_stories
from .story_transmit import transmit_stories
from .story_windows import window_stories

__all__ = ["STORIES", "made", "text"]

#: The stories of each set.
STORIES: dict[str, tuple[Story, ...]] = {
    "receive": (*window_stories(), *packet_stories(), *torn_stories(), *instruction_stories()),
    "transmit": transmit_stories(),
}

#: Kinds whose detail is a time.
_TIMED = frozenset(
    (
        FaultKind.SHORT,
        FaultKind.BETWEEN,
        FaultKind.LONG,
        FaultKind.LONE_ONE,
        FaultKind.LONE_ZERO,
        FaultKind.UNEQUAL,
        FaultKind.STRETCHED,
    )
)


def made(story: Story, limits: Limits) -> Case:
    """A story with what each layer makes of it."""
    layer_2 = limits.half_bits_core()
    receiver = limits.receiver_core()
    bits = ""
    answers = []
    for at, duration in enumerate(story.durations, 1):
        answer = receiver.feed(duration * US)
        bits += f"{receiver.bit:X}"
        if answer == core.PACKET:
            packets = receiver.packets
            data = bytes(packets.data[: packets.length])
            answers.append(Answer(at, answer, packets.preamble, data))
        elif answer != core.MORE:
            answers.append(Answer(at, answer))
    whole = Receiver(limits)
    events = [*whole.feed_many(story.durations, US), *whole.finish()]
    return Case(
        story.id,
        story.rule,
        story.source,
        story.text,
        tuple(story.durations),
        "".join(f"{layer_2.feed(duration * US):X}" for duration in story.durations),
        bits,
        tuple(answers),
        tuple(_event(event) for event in events),
        tuple(one.as_dict() for one in instructions(events) if isinstance(one, Instruction)),
    )


def _event(event: Event) -> dict[str, Any]:
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
    lines += [made(story, SETS[limits]).to_json() for story in STORIES[limits]]
    return "\n".join(lines) + "\n"


def _heading(name: str, limits: Limits) -> dict[str, Any]:
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

