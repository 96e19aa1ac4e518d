"""Snapshots of decoders: frozen, to compare, print, save as JSON and restore."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from ..error import HalfbitError
from ..instruction import Context
from .base import Heard
from .cv import CvState
from .effect import Speed

__all__ = ["AccessoryState", "Binary", "MultiFunctionState", "Vehicle"]

#: Version number of the form that ``as_dict`` makes.
SCHEMA = 1

SHORT = range(1, 128)  # binary states that the short form reaches
LONG = range(1, 32768)


@attrs.frozen(slots=True)
class Binary:
    """32767 binary states. Only those that differ from the others are stored."""

    #: The state of 1 to 127, except for numbers in ``others``.
    short: bool = False
    #: The state of 128 to 32767, except for numbers in ``others``.
    long: bool = False
    others: frozenset[int] = frozenset()

    def get(self, number: int) -> bool:
        """True if a state is on.

        :raises HalfbitError: for a number outside 1 to 32767.
        """
        if number not in LONG:
            raise HalfbitError(f"binary state {number!r} does not exist: give 1 to {LONG[-1]}")
        return (self.short if number in SHORT else self.long) is not (number in self.others)

    def set(self, number: int, on: bool, long: bool) -> Binary:
        """A copy with one state changed. Number 0 means all states of the form: 1 to 127, or with ``long`` 1 to 32767.

        The standard does not say if 0 in the long form includes 1 to 127; here it does.
        """
        if number:
            differs = on is not (self.short if number in SHORT else self.long)
            return attrs.evolve(self, others=self.others | {number} if differs else self.others - {number})
        if long:
            return Binary(on, on)
        return Binary(on, self.long, frozenset(other for other in self.others if other not in SHORT))


@attrs.frozen(slots=True)
class Vehicle:
    """The state of a vehicle, without the CVs of its decoder."""

    speed: Speed
    #: The last direction bit, as sent. The direction of the vehicle also depends on CV 29 and 19.
    direction: bool = True
    #: Numbers of the functions that are on; 0 is FL.
    functions: frozenset[int] = frozenset()
    binary: Binary = Binary()
    #: Analog outputs that were set: number to value.
    analog: Mapping[int, int] = attrs.Factory(dict)
    #: Bits 0 to 5 of a restricted speed step; ``None`` if not restricted.
    restriction: int | None = None


@attrs.frozen(slots=True)
class MultiFunctionState:
    """A snapshot of a multi-function decoder."""

    cvs: CvState
    mode: Context
    vehicle: Vehicle
    #: True if the vehicle must run forward.
    forward: bool
    #: The page register.
    page: int
    heard: Heard

    @property
    def lamp_forward(self) -> bool:
        """FL(f): True if FL is on and the direction is forward (S-9.2.2, CV 29 bit 0 and CV 33)."""
        return 0 in self.vehicle.functions and self.forward

    @property
    def lamp_reverse(self) -> bool:
        """FL(r): True if FL is on and the direction is reverse (S-9.2.2, CV 29 bit 0 and CV 34)."""
        return 0 in self.vehicle.functions and not self.forward

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        vehicle = attrs.asdict(self.vehicle)
        vehicle["functions"] = sorted(self.vehicle.functions)
        vehicle["binary"]["others"] = sorted(self.vehicle.binary.others)
        vehicle["analog"] = sorted(self.vehicle.analog.items())
        return {
            **_head("multi-function", self.cvs, self.mode, self.heard),
            "vehicle": vehicle,
            "forward": self.forward,
            "page": self.page,
        }

    @classmethod
    def from_dict(cls, value: Mapping[str, Any]) -> MultiFunctionState:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` does not have that form.
        """
        try:
            cvs, mode, heard = _read_head("multi-function", value)
            fields = dict(value["vehicle"])
            binary = dict(fields["binary"], others=frozenset(fields["binary"]["others"]))
            vehicle = Vehicle(
                **dict(
                    fields,
                    speed=Speed(**fields["speed"]),
                    functions=frozenset(fields["functions"]),
                    binary=Binary(**binary),
                    analog={output: number for output, number in fields["analog"]},
                )
            )
            return cls(cvs, mode, vehicle, value["forward"], value["page"], heard)
        except (KeyError, TypeError, ValueError) as error:
            raise _wrong("multi-function", error) from None


@attrs.frozen(slots=True)
class AccessoryState:
    """A snapshot of an accessory decoder."""

    cvs: CvState
    mode: Context
    #: Numbers of the outputs that are on, 0 to 7.
    outputs: frozenset[int]
    #: The aspect of each of its signals, 0 to 3.
    aspects: tuple[int, ...]
    #: Times when outputs go off without a packet: output to ns.
    off_at: Mapping[int, int]
    heard: Heard

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        return {
            **_head("accessory", self.cvs, self.mode, self.heard),
            "outputs": sorted(self.outputs),
            "aspects": list(self.aspects),
            "off_at": sorted(self.off_at.items()),
        }

    @classmethod
    def from_dict(cls, value: Mapping[str, Any]) -> AccessoryState:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` does not have that form.
        """
        try:
            cvs, mode, heard = _read_head("accessory", value)
            off_at = {output: time for output, time in value["off_at"]}
            return cls(cvs, mode, frozenset(value["outputs"]), tuple(value["aspects"]), off_at, heard)
        except (KeyError, TypeError, ValueError) as error:
            raise _wrong("accessory", error) from None


def _head(kind: str, cvs: CvState, mode: Context, heard: Heard) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "type": f"{kind} decoder",
        "mode": mode.value,
        "cvs": sorted(cvs.values.items()),
        "indexed": [[*key, value] for key, value in sorted(cvs.indexed.items())],
        "held": cvs.held,
        "heard": {**attrs.asdict(heard), "last": heard.last.hex(), "own": heard.own.hex()},
    }


def _read_head(kind: str, value: Mapping[str, Any]) -> tuple[CvState, Context, Heard]:
    if value["schema"] != SCHEMA or value["type"] != f"{kind} decoder":
        raise ValueError(f"{value['type']} of schema {value['schema']}")
    heard = dict(value["heard"])
    heard.update(last=bytes.fromhex(heard["last"]), own=bytes.fromhex(heard["own"]))
    indexed = {(high, low, number): held for high, low, number, held in value["indexed"]}
    cvs = CvState({number: held for number, held in value["cvs"]}, indexed, value["held"])
    return cvs, Context(value["mode"]), Heard(**heard)


def _wrong(kind: str, error: Exception) -> HalfbitError:
    return HalfbitError(f"not the state of a {kind} decoder: {error} is missing or wrong: give what as_dict() made")
