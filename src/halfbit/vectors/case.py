"""One case: durations in, what each layer makes of them out. Times are in whole microseconds."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import attrs

__all__ = ["VERSION", "Answer", "Case"]

#: The version of the format. It grows when a reader of the version before would not understand it.
VERSION = 1


@attrs.frozen(slots=True)
class Answer:
    """A complete answer of layer 4 other than MORE: what a port prints."""

    #: How many durations had been fed, this one included.
    at: int
    #: One of the core's numbers.
    answer: int
    #: For a packet, the one-bits before it (255 for that many or more); else 0.
    preamble: int = 0
    #: For a packet its bytes, error detection byte included.
    data: bytes = b""

    def to_json(self) -> list[Any]:
        """As it stands in a file: two elements, or four for a packet."""
        if not self.data:
            return [self.at, self.answer]
        return [self.at, self.answer, self.preamble, self.data.hex().upper()]

    @classmethod
    def from_json(cls, value: Sequence[Any]) -> Answer:
        """The inverse of :meth:`to_json`."""
        if len(value) == 2:
            return cls(value[0], value[1])
        return cls(value[0], value[1], value[2], bytes.fromhex(value[3]))


@attrs.frozen(slots=True)
class Case:
    """A signal, the rule it stands for, and what each layer must make of it."""

    #: Its name, the same from version to version.
    id: str
    #: The rule it stands for: several cases share one.
    rule: str
    #: Document and section of the rule.
    source: str
    #: What happens in the signal, in one line.
    text: str
    #: Between changes, us.
    durations: tuple[int, ...]
    #: Layer 2's answer to each duration, a hexadecimal digit each.
    half_bits: str
    #: Layer 3's, the same way; 0 for MORE.
    bits: str
    #: Layer 4's.
    answers: tuple[Answer, ...]
    #: What the whole capture comes to: packets, faults and cutouts with their times, us.
    events: tuple[dict[str, Any], ...]
    #: Layer 5's instructions, in order, without the faults.
    instructions: tuple[dict[str, Any], ...]

    def to_json(self) -> str:
        """The case as one line."""
        value = {
            "id": self.id,
            "rule": self.rule,
            "source": self.source,
            "text": self.text,
            "durations": list(self.durations),
            "half_bits": self.half_bits,
            "bits": self.bits,
            "answers": [answer.to_json() for answer in self.answers],
            "events": list(self.events),
            "instructions": list(self.instructions),
        }
        return json.dumps(value, separators=(",", ":"))

    @classmethod
    def from_json(cls, line: str) -> Case:
        """The inverse of :meth:`to_json`."""
        value = json.loads(line)
        return cls(
            value["id"],
            value["rule"],
            value["source"],
            value["text"],
            tuple(value["durations"]),
            value["half_bits"],
            value["bits"],
            tuple(Answer.from_json(answer) for answer in value["answers"]),
            tuple(value["events"]),
            tuple(value["instructions"]),
        )
