"""The rules for stations, one row each with bounds and source, and the findings of an audit."""

from __future__ import annotations

import enum
from collections import Counter
from typing import Any

import attrs

_US = 1_000
_MS = 1_000_000


class Unit(enum.Enum):
    """The unit of a rule's bounds."""

    US = "us"
    MS = "ms"
    BITS = "bits"
    PACKETS = "packets"

    def words(self, value: int) -> str:
        """A value with its unit, as text. Times are given in ns."""
        if self is Unit.US:
            return f"{value / _US:g} us"
        if self is Unit.MS:
            return f"{round(value / _MS, 3):g} ms"
        return f"{value} {self.value}"


class Verdict(enum.Enum):
    """The result of an audit for one rule."""

    KEPT = "kept"  #: The rule was kept every time.
    BROKEN = "broken"  #: The rule was broken at least once.
    #: The capture has nothing that the rule covers, or part of the signal was lost there, or it is not exact enough.
    UNCLEAR = "this capture cannot tell"


@attrs.frozen(slots=True)
class Rule:
    """A rule for stations: ``least`` and ``most`` are its bounds. Times are in ns."""

    name: str
    words: str
    source: str
    unit: Unit
    least: int | None = None
    most: int | None = None

    @property
    def from_memory(self) -> bool:
        """True if the source is from memory. Such a rule never makes an audit fail."""
        return "from memory" in self.source

    @property
    def is_time(self) -> bool:
        """True if the values are times, in ns."""
        return self.unit in (Unit.US, Unit.MS)

    def strain(self, value: int) -> int:
        """How close a value is to a bound (negative or 0), or how far beyond it (positive)."""
        if self.least is None:
            return value - (self.most or 0)
        return self.least - value if self.most is None else max(self.least - value, value - self.most)

    @property
    def bounds(self) -> str:
        """The bounds as text, with the unit."""
        if self.least is None:
            return f"at most {self.unit.words(self.most or 0)}"
        if self.most is None:
            return f"at least {self.unit.words(self.least)}"
        return f"{self.unit.words(self.least).split()[0]} to {self.unit.words(self.most)}"


RULES = (
    Rule("one half", "half of a one-bit", "S-9.1 A, table 1", Unit.US, 55 * _US, 61 * _US),
    Rule("one difference", "difference between the halves of a one-bit", "S-9.1 A, table 1", Unit.US, most=3 * _US),
    Rule("zero half", "half of a zero-bit", "S-9.1 A, table 1", Unit.US, 95 * _US, 9_900 * _US),
    Rule("zero total", "whole zero-bit", "S-9.1 A, table 1", Unit.US, most=12_000 * _US),
    Rule("preamble", "preamble", "S-9.2 A", Unit.BITS, 14),
    Rule("long preamble", "preamble in service mode", "S-9.2.3 E", Unit.BITS, 20),
    Rule("packet rate", "from one packet start bit to the next", "S-9.2 C", Unit.MS, most=30 * _MS),
    Rule(
        "same decoder", "from a packet end bit to the next start bit to the same decoder", "S-9.2 C", Unit.MS, 5 * _MS
    ),
    Rule("20 ms after reset", "from a reset to a packet to addresses 100 to 127", "S-9.2 B", Unit.MS, 20 * _MS),
    Rule("10 packets after reset", "between a reset and a packet to addresses 112 to 127", "S-9.2.1 C", Unit.PACKETS, 10),
    Rule("power on", "valid packets from power on to service mode", "S-9.2.3 E", Unit.PACKETS, 20),
    Rule("resets before", "resets before a service mode sequence", "S-9.2.3 E", Unit.PACKETS, 3),
    Rule("verifies", "verifies in a row, direct and paged mode", "S-9.2.3 E", Unit.PACKETS, 5),
    Rule("register verifies", "verifies in a row, register and address-only mode", "S-9.2.3 E", Unit.PACKETS, 7),
    Rule("writes", "writes in a row, all modes", "S-9.2.3 E", Unit.PACKETS, 5),
    Rule("recovery", "writes or resets after 5 writes, direct, paged and register mode", "S-9.2.3 E", Unit.PACKETS, 6),
    Rule("address recovery", "the same after a write of register 1, not paged", "S-9.2.3 E", Unit.PACKETS, 10),
    Rule("page recovery", "resets after writes of the page register", "S-9.2.3 E", Unit.PACKETS, 6),
    Rule("functions twice", "F13 to F28: sent with the same states", "S-9.2.1 C", Unit.PACKETS, 2),
    Rule("binary states twice", "binary state: sent with the same state", "S-9.2.1 C, from memory", Unit.PACKETS, 2),
    Rule("binary short form", "binary states 1 to 127: in the long form", "S-9.2.1 C", Unit.PACKETS, most=0),
)


@attrs.frozen(slots=True)
class Finding:
    """The result of an audit for one rule: how often it was kept, broken and unclear."""

    rule: Rule
    kept: int = 0
    broken: int = 0
    unclear: int = 0  #: How often the capture could not decide.
    worst: int | None = None  #: The value nearest to a bound, or furthest beyond it; ``None`` if there is no value.
    at: int | None = None  #: Its time, ns.
    allowed: int = 0  #: Allowance beyond the bounds for the errors of the capture, ns.

    @property
    def verdict(self) -> Verdict:
        """BROKEN if broken at least once; KEPT if kept and never unclear; else UNCLEAR."""
        if self.broken:
            return Verdict.BROKEN
        return Verdict.KEPT if self.kept and not self.unclear else Verdict.UNCLEAR

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        rule = self.rule
        return {
            "rule": rule.name, "words": rule.words, "source": rule.source, "from_memory": rule.from_memory,
            "unit": "ns" if rule.is_time else rule.unit.value, "least": rule.least, "most": rule.most,
            "verdict": self.verdict.value,
            **attrs.asdict(self, filter=attrs.filters.exclude(attrs.fields(Finding).rule)),
        }  # fmt: skip


class Tally:
    """Values in the unit of one rule (times in ns), counted for its finding."""

    def __init__(self, rule: Rule) -> None:
        self._rule = rule
        self._kept = self._unclear = 0
        self._misses: Counter[int] = Counter()  # values out of bounds, by how far
        self._worst: tuple[int, int, int] | None = None  # strain, value and time

    def keep(self) -> None:
        """Note that the rule was kept, without a value."""
        self._kept += 1

    def add(self, value: int, at: int, sure: bool = True) -> None:
        """Note a value and its time.

        :param sure: False if packets may have been missed; a value out of bounds is then unclear.
        """
        strain = self._rule.strain(value)
        if strain <= 0:
            self._kept += 1
        elif sure:
            self._misses[strain] += 1
        else:
            self._unclear += 1
            return
        if self._worst is None or strain > self._worst[0]:
            self._worst = strain, value, at

    def finding(self, allowed: int) -> Finding:
        """The finding. Values out of bounds by at most ``allowed`` count as unclear."""
        broken = sum(number for miss, number in self._misses.items() if miss > allowed)
        unclear = self._unclear + sum(self._misses.values()) - broken
        _, worst, at = self._worst or (None, None, None)
        return Finding(self._rule, self._kept, broken, unclear, worst, at, allowed)


@attrs.frozen(slots=True)
class Audit:
    """The result of an audit of a station: the findings of all rules, and facts about the capture."""

    findings: tuple[Finding, ...]
    #: Scatter of the capture, ns: 95 % of whole one-bits differ from the previous one by no more than this.
    jitter: int
    asymmetry: int  #: How much the capture may lengthen the halves of one polarity and shorten those of the other, ns.
    packets: int
    losses: int

    def of(self, name: str) -> Finding:
        """The finding of a rule, by the rule's name.

        :raises KeyError: if there is no such rule.
        """
        return {one.rule.name: one for one in self.findings}[name]

    @property
    def sound(self) -> bool:
        """True if no rule is broken. Rules from memory do not count."""
        return not any(one.verdict is Verdict.BROKEN and not one.rule.from_memory for one in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        rest = attrs.asdict(self, filter=attrs.filters.exclude(attrs.fields(Audit).findings))
        return {"sound": self.sound, **rest, "rules": [one.as_dict() for one in self.findings]}
