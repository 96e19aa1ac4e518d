"""The test cases: durations in, the correct output of each layer out. Times are in whole microseconds."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

import attrs

from ..error import HalfbitError
from ..limits import RECEIVE, TRANSMIT, Limits

VERSION = 1  #: The version of the format. It increases when an older reader could not read the new files.


@attrs.frozen(slots=True)
class Answer:
    """An answer of layer 4 other than MORE, as a port prints it."""

    at: int  #: Number of durations fed so far, this one included.
    answer: int  #: The number of the answer, as in ``halfbit.core``.
    preamble: int = 0  #: For a packet, the number of one-bits before it (255 for 255 or more); else 0.
    data: bytes = b""  #: For a packet, its bytes, error detection byte included; else empty.

    def to_json(self) -> list[Any]:
        """The answer as a list for JSON: two elements, or four for a packet."""
        packet = [self.preamble, self.data.hex().upper()] if self.data else []
        return [self.at, self.answer, *packet]

    @classmethod
    def from_json(cls, value: Sequence[Any]) -> Answer:
        """The inverse of :meth:`to_json`."""
        at, answer, preamble, data = (*value, 0, "")[:4]
        return cls(at, answer, preamble, bytes.fromhex(data))


@attrs.frozen(slots=True)
class Case:
    """A signal, the rule that it tests, and the correct output of each layer."""

    id: str  #: Its name. It does not change between versions.
    rule: str  #: The rule that it tests. Several cases can test the same rule.
    source: str  #: Document and section of the rule.
    text: str  #: What happens in the signal, in one line.
    durations: tuple[int, ...]  #: Times between level changes, us.
    half_bits: str  #: Layer 2's answer to each duration, a hexadecimal digit each. Empty for the decision by sum.
    bits: str  #: Layer 3's answers in the same form; 0 for MORE. Empty for the decision by sum.
    answers: tuple[Answer, ...]  #: Layer 4's answers other than MORE, or those of the receiver by sum.
    events: tuple[dict[str, Any], ...]  #: The events of the capture: packets, faults and cutouts; times in us.
    instructions: tuple[dict[str, Any], ...]  #: Layer 5's instructions in order, without the faults.

    def to_json(self) -> str:
        """The case as one line of JSON."""
        value = {field.name: getattr(self, field.name) for field in attrs.fields(Case)}
        value["answers"] = [answer.to_json() for answer in self.answers]
        return json.dumps(value, separators=(",", ":"))

    @classmethod
    def from_json(cls, line: str) -> Case:
        """The inverse of :meth:`to_json`."""
        value = json.loads(line)
        value["answers"] = map(Answer.from_json, value["answers"])
        for name in ("durations", "answers", "events", "instructions"):
            value[name] = tuple(value[name])
        return cls(**value)


SUM = attrs.evolve(Limits.for_sampling_period(40), recover=False)  #: For a board that sees changes up to 40 us late.

SETS: dict[str, Limits] = {"receive": RECEIVE, "transmit": TRANSMIT, "sum": SUM}  #: The sets, with their limits.


def cases(limits: str = "receive") -> tuple[Case, ...]:
    """The cases of a set, in the order of the file.

    :param limits: ``"receive"`` for the limits of decoders; ``"transmit"`` for the limits of stations;
        ``"sum"`` for the decision by sum.
    :raises HalfbitError: for another set, or a file of another version.
    """
    first, *lines = _lines(limits)
    version = json.loads(first)["version"]
    if version != VERSION:
        raise HalfbitError(f"vectors: version {version} is not {VERSION}")
    return tuple(Case.from_json(line) for line in lines)


def heading(limits: str = "receive") -> dict[str, Any]:
    """The heading of a set: its version, its limits in us and counts, and the numbers of the answers by name.

    :param limits: as for :func:`cases`.
    :raises HalfbitError: for another set.
    """
    found: dict[str, Any] = json.loads(_lines(limits)[0])
    return found


def _lines(limits: str) -> list[str]:
    if limits not in SETS:
        raise HalfbitError(f"limits: {limits!r} is not one of {', '.join(SETS)}")
    return files("halfbit.vectors").joinpath("data", f"{limits}.jsonl").read_text("ascii").splitlines()
