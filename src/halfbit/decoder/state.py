"""Snapshots of decoders: frozen, to compare, print, save as JSON and restore."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, TypeVar

import attrs

from ..error import HalfbitError
from ..event import SCHEMA, as_json, reading
from ..instruction import Context
from .base import Heard
from .cv import CvState
from .effect import Speed

SHORT = range(1, 128)  # binary states that the short form reaches
LONG = range(1, 32768)


# What turns values from JSON into those of a snapshot. Other values stay.


def _set(numbers: Iterable[int]) -> frozenset[int]:
    return frozenset(numbers)


def _dict(pairs: Mapping[int, int] | Iterable[tuple[int, int]]) -> dict[int, int]:
    return dict(pairs)


def _tuple(numbers: Iterable[int]) -> tuple[int, ...]:
    return tuple(numbers)


@attrs.frozen(slots=True)
class Binary:
    """32767 binary states. Only those that differ from the others are stored."""

    short: bool = False  #: The state of 1 to 127, except for numbers in ``others``.
    long: bool = False  #: The state of 128 to 32767, except for numbers in ``others``.
    others: frozenset[int] = attrs.field(default=frozenset(), converter=_set)

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
    functions: frozenset[int] = attrs.field(default=frozenset(), converter=_set)
    binary: Binary = Binary()
    #: Analog outputs that were set: number to value.
    analog: Mapping[int, int] = attrs.field(factory=dict, converter=_dict)
    restriction: int | None = None  #: Bits 0 to 5 of a restricted speed step; ``None`` if not restricted.


def _vehicle(value: Vehicle | Mapping[str, Any]) -> Vehicle:
    if isinstance(value, Vehicle):
        return value
    return Vehicle(**{**value, "speed": Speed(**value["speed"]), "binary": Binary(**value["binary"])})


@attrs.frozen(slots=True)
class DecoderState:
    """A snapshot of a decoder: the part that both kinds have."""

    _type: ClassVar[str] = "decoder"
    cvs: CvState
    mode: Context
    heard: Heard

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        own = as_json(self)
        cvs, mode, heard = (own.pop(name) for name in ("cvs", "mode", "heard"))
        indexed = [[*key, value] for key, value in cvs["indexed"]]
        store = {"cvs": cvs["values"], "indexed": indexed, "held": cvs["held"]}
        return {"schema": SCHEMA, "type": self._type, "mode": mode, **store, "heard": heard, **own}

    @classmethod
    def from_dict(cls: type[_AnyState], value: Mapping[str, Any]) -> _AnyState:
        """The inverse of :meth:`as_dict`.

        :raises HalfbitError: if ``value`` does not have that form.
        """
        with reading(value, cls._type):
            heard = dict(value["heard"])
            heard.update(last=bytes.fromhex(heard["last"]), own=bytes.fromhex(heard["own"]))
            indexed = {(high, low, number): held for high, low, number, held in value["indexed"]}
            cvs = CvState(dict(value["cvs"]), indexed, value["held"])
            own = {name: value[name] for name in attrs.fields_dict(cls) if name not in attrs.fields_dict(DecoderState)}
            return cls(cvs, Context(value["mode"]), Heard(**heard), **own)


_AnyState = TypeVar("_AnyState", bound=DecoderState)


@attrs.frozen(slots=True)
class MultiFunctionState(DecoderState):
    """A snapshot of a multi-function decoder."""

    _type: ClassVar[str] = "multi-function decoder"
    vehicle: Vehicle = attrs.field(converter=_vehicle)
    forward: bool  #: True if the vehicle must run forward.
    page: int  #: The page register.


@attrs.frozen(slots=True)
class AccessoryState(DecoderState):
    """A snapshot of an accessory decoder."""

    _type: ClassVar[str] = "accessory decoder"
    outputs: frozenset[int] = attrs.field(converter=_set)  #: Numbers of the outputs that are on, 0 to 7.
    aspects: tuple[int, ...] = attrs.field(converter=_tuple)  #: The aspect of each of its signals, 0 to 3.
    #: Times when outputs go off without a packet: output to ns.
    off_at: Mapping[int, int] = attrs.field(converter=_dict)
