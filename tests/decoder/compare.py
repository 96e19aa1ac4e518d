"""Both models side by side: the same packets into each, states and effects brought to one form, rules counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any

from halfbit import Fault, FaultKind, Packet
from halfbit.decoder import (
    AccessoryDecoder,
    Acknowledgement,
    AnalogSet,
    Answer,
    AspectChanged,
    BinaryStateSet,
    CvHeld,
    CvRefused,
    CvWritten,
    DirectionChanged,
    Effect,
    FactoryResetDone,
    FunctionChanged,
    ModeChanged,
    MultiFunctionDecoder,
    OutputChanged,
    PacketTimeOut,
    ResetDone,
    RestrictionChanged,
    Speed,
    SpeedChanged,
    drive_level,
    momentum,
)
from halfbit.instruction import Context
from halfbit.simulate.signal import with_error_byte

from .plain_accessory import PlainAccessory
from .plain_decoder import PlainDecoder

__all__ = ["AccessoryPair", "MultiFunctionPair"]

Plain = tuple[object, ...]

_MODES = {Context.OPERATIONS: "operations", Context.SERVICE: "service", Context.LEFT: "waiting"}

_BINARY = (1, 2, 126, 127, 128, 129, 300, 32767)


def _speed(speed: Speed) -> object:
    return speed.step or ("emergency_stop" if speed.emergency else "stop")


_FORMS: dict[type, Callable[[Any], Plain]] = {
    Acknowledgement: lambda one: ("acknowledge",),
    AnalogSet: lambda one: ("analog", one.output, one.value),
    Answer: lambda one: ("answer_operations", one.cv, one.value),
    AspectChanged: lambda one: ("aspect", one.head, one.aspect),
    BinaryStateSet: lambda one: ("binary_state", one.number, one.on),
    CvHeld: lambda one: ("cv_held", one.cv, one.value),
    CvWritten: lambda one: ("cv_written", one.cv, one.old, one.new),
    DirectionChanged: lambda one: ("direction", one.forward),
    FactoryResetDone: lambda one: ("factory_reset",),
    FunctionChanged: lambda one: ("function", one.number, one.on),
    ModeChanged: lambda one: ("mode", _MODES[one.mode]),
    OutputChanged: lambda one: ("output", one.output, one.on),
    PacketTimeOut: lambda one: ("packet_timeout",),
    ResetDone: lambda one: ("hard_reset",) if one.hard else ("reset",),
    RestrictionChanged: lambda one: ("restricted", one.code),
    SpeedChanged: lambda one: ("speed", _speed(one.speed)),
}


def _ours(effects: tuple[Effect, ...], speed: object) -> list[Plain]:
    """Our effects in the plain form, which knows no refusals, nor step 5 of 28 from step 5 of 126."""
    plain = [_FORMS[type(one)](one) for one in effects if not isinstance(one, CvRefused)]
    return [one for one in plain if one != ("speed", speed)]


def _theirs(effects: list[Plain]) -> list[Plain]:
    """The plain model tells each emergency stop, and a reset after a hard reset."""
    hard = ("hard_reset",) in effects
    return [one for one in effects if one != ("emergency_stop",) and not (hard and one == ("reset",))]


class _Pair:
    """Feeds both, and raises AssertionError at the first difference."""

    def __init__(self) -> None:
        self.now = 0
        self.last = b"\xff\x00\xff"
        self.seen: Counter[str] = Counter()
        self.ours: Any
        self.plain: Any

    def packet(self, data: bytes, gap: int) -> list[Plain]:
        """A sound packet that ends ``gap`` ns after what was before."""
        start, self.now = self.now, self.now + gap
        self.last = data
        before = self.plain.state()
        ours = self.ours.feed(Packet(data, 14, start, self.now))
        theirs = self.plain.packet(data, start, self.now)
        return self._same(ours, theirs, before, data)

    def torn(self, gap: int) -> None:
        """A stretch that was lost."""
        start, self.now = self.now, self.now + gap
        before = self.plain.state()
        ours = self.ours.feed(Fault(FaultKind.ERROR_BYTE, start, self.now, start))
        self._same(ours, self.plain.torn(start, self.now), before, b"")

    def tick(self, gap: int) -> None:
        """Time passes."""
        self.now += gap
        before = self.plain.state()
        self._same(self.ours.tick(self.now), self.plain.tick(self.now), before, b"")

    def _same(self, ours: tuple[Effect, ...], theirs: list[Plain], before: dict[str, Any], data: bytes) -> list[Plain]:
        mine, plain = _ours(ours, before.get("speed")), _theirs(theirs)
        after = self.plain.state()
        seen = {key: value for key, value in before.items() if key not in ("functions", "binary_states")}
        where = f"at {self.now} ns, packet {data.hex(' ')}, before {seen}"
        assert sorted(map(repr, mine)) == sorted(map(repr, plain)), f"ours {mine}, plain {plain}, {where}"
        assert self._state() == self._plain_state(after), where
        for effect in plain:
            self.seen[f"effect: {str(effect[0]).replace('_', ' ')}"] += 1
        for one in ours:
            if isinstance(one, CvRefused):
                self.seen[f"refused: {one.reason.split(':')[0]}"] += 1
        if data:
            self._count(before, after, data, plain)
        return mine

    def _state(self) -> dict[str, object]:
        raise NotImplementedError

    def _plain_state(self, state: dict[str, Any]) -> dict[str, object]:
        raise NotImplementedError

    def _count(self, before: dict[str, Any], after: dict[str, Any], data: bytes, effects: list[Plain]) -> None:
        raise NotImplementedError


class MultiFunctionPair(_Pair):
    """Multi-function decoders."""

    def __init__(self, cvs: Mapping[int, int]) -> None:
        super().__init__()
        self.ours = MultiFunctionDecoder(cvs)
        self.plain = PlainDecoder(dict(cvs))

    def _state(self) -> dict[str, object]:
        state = self.ours.state()
        vehicle = state.vehicle
        return {
            "mode": _MODES[state.mode],
            "forward": state.forward,
            "speed": _speed(vehicle.speed),
            "steps": vehicle.speed.steps or None,
            "functions": vehicle.functions,
            "binary": [vehicle.binary.get(number) for number in _BINARY],
            "analog": dict(vehicle.analog),
            "consist": self.ours.cvs[19] & 127,
            "restricted": vehicle.restriction,
            "page": state.page,
            "cvs": state.cvs.values,
            "indexed": state.cvs.indexed,
            "drive": drive_level(self.ours.cvs.__getitem__, vehicle.speed, forward=state.forward),
            "rising": [self._momentum(rising) for rising in (True, False)],
        }

    def _momentum(self, rising: bool) -> int:
        return momentum(self.ours.cvs.__getitem__, 28, rising=rising)

    def _plain_state(self, state: dict[str, Any]) -> dict[str, object]:
        moving = isinstance(state["speed"], int)
        vehicle = self.plain.vehicle
        return {
            "mode": state["mode"],
            "forward": state["forward"],
            "speed": state["speed"],
            "steps": state["steps"] if moving else None,
            "functions": frozenset(number for number, on in state["functions"].items() if on),
            "binary": [state["binary_states"].get(number, False) for number in _BINARY],
            "analog": state["analog"],
            "consist": state["consist"],
            "restricted": state["restricted"],
            "page": state["page"],
            "cvs": {number: value for number, value in sorted(state["cvs"].items()) if value},
            "indexed": state["indexed"],
            "drive": vehicle.drive_level(state["speed"], state["steps"]) if moving else 0,
            "rising": [round(vehicle.momentum(faster, 28) * 1_000_000_000) for faster in (True, False)],
        }

    def _count(self, before: dict[str, Any], after: dict[str, Any], data: bytes, effects: list[Plain]) -> None:
        cvs = before["cvs"]
        said = {effect[0] for effect in effects}
        extended, consist, first = cvs[29] & 32 != 0, before["consist"], data[0]
        own = first == cvs[17] and data[1] == cvs[18] if extended else first == cvs[1]
        operations = after["mode"] == "operations"
        body = data[2:-1] if extended and own else data[1:-1]
        opcode = body[0] if body else 0
        to_consist = consist != 0 and first == consist
        long_cv = opcode & 0xF0 == 0xE0 and len(body) == 3
        speed = opcode & 0xC0 == 0x40 or opcode == 0x3F
        service = after["mode"] == "service"
        for name, holds in (
            ("own primary address", operations and own and not extended),
            ("own extended address", operations and own and extended),
            ("primary address while extended is in force", operations and extended and first == cvs[1]),
            ("consist address", operations and to_consist),
            ("broadcast", operations and first == 0),
            ("reserved address", operations and 232 <= first <= 254),
            ("no digital mode: CV 1 = 0", operations and cvs[1] == 0),
            ("consist: speed to the own address ignored", operations and own and consist and speed and not to_consist),
            ("consist: speed obeyed", operations and to_consist and speed and "speed" in said),
            ("consist: direction opposite", operations and to_consist and speed and cvs[19] & 128),
            ("consist: functions obeyed by CV 21, 22", operations and to_consist and not own and "function" in said),
            (
                "consist: functions not obeyed",
                operations and to_consist and not own and opcode & 0xC0 == 0x80 and "function" not in said,
            ),
            ("consist: no long form of CV access", operations and to_consist and long_cv),
            (
                "consist: short form of CV access",
                operations and to_consist and opcode & 0xFE == 0xF2 and "cv_written" in said,
            ),
            ("consist control", operations and own and opcode & 0xFE == 0x12 and "cv_written" in said),
            (
                "14 steps: FL in speed and direction",
                operations and own and not cvs[29] & 2 and opcode & 0xC0 == 0x40 and "function" in said,
            ),
            (
                "28 steps: FL in function group one",
                operations
                and cvs[29] & 2
                and opcode & 0xE0 == 0x80
                and any(effect[:2] == ("function", 0) for effect in effects),
            ),
            ("CV 29 bit 0 turns the direction", operations and own and speed and cvs[29] & 1 and "direction" in said),
            ("CV written in operations", operations and "cv_written" in said and long_cv),
            ("CV verified in operations", operations and "answer_operations" in said and "cv_written" not in said),
            (
                "CV 1 clears CV 19 or bit 5 of 29",
                {("cv_written", 1), ("cv_written", 19)} <= {effect[:2] for effect in effects}
                or {("cv_written", 1), ("cv_written", 29)} <= {effect[:2] for effect in effects},
            ),
            (
                "CV 17 in force with CV 18",
                {("cv_written", 17), ("cv_written", 18)} <= {effect[:2] for effect in effects},
            ),
            ("indexed CV written", before["indexed"] != after["indexed"]),
            ("lock in force", cvs[15] != cvs[16]),
            (
                "CV 15 written in spite of the lock",
                cvs[15] != cvs[16] and any(effect[:2] == ("cv_written", 15) for effect in effects),
            ),
            ("service: entered", ("mode", "service") in effects),
            ("service: left by a packet", before["mode"] == "service" and ("mode", "operations") in effects),
            ("service: left by time, packet of its form ignored", after["mode"] == "waiting" and 112 <= first <= 127),
            ("service: left by time, operations resume", before["mode"] == "waiting" and after["mode"] == "operations"),
            ("service: write acknowledged", service and {"cv_written", "acknowledge"} <= said),
            ("service: verify acknowledged", service and said == {"acknowledge"}),
            ("service: direct mode acknowledged", service and len(data) == 4 and "acknowledge" in said),
            ("service: bit written", service and len(data) == 4 and first & 0x0C == 8 and "cv_written" in said),
            ("service: register or paged mode acknowledged", service and len(data) == 3 and "acknowledge" in said),
            ("service: page register set", before["page"] != after["page"]),
            ("service: factory reset", service and "factory_reset" in said),
            (
                "operations: no acknowledgement pulse",
                operations and "answer_operations" in said and "acknowledge" not in said,
            ),
            ("emergency stop", after["speed"] == "emergency_stop" != before["speed"]),
            ("speed table in force while moving", after["cvs"][29] & 16 and isinstance(after["speed"], int)),
            (
                "trim in force",
                after["cvs"][29] & 16
                and isinstance(after["speed"], int)
                and after["cvs"][66 if after["forward"] else 95],
            ),
        ):
            self.seen[name] += bool(holds)


class AccessoryPair(_Pair):
    """Accessory decoders."""

    def __init__(self, cvs: Mapping[int, int]) -> None:
        super().__init__()
        self.ours = AccessoryDecoder(cvs)
        self.plain = PlainAccessory(dict(cvs))

    def _state(self) -> dict[str, object]:
        state = self.ours.state()
        return {"mode": _MODES[state.mode], "outputs": state.outputs, "aspects": state.aspects, "cvs": state.cvs.values}

    def _plain_state(self, state: dict[str, Any]) -> dict[str, object]:
        return {
            "mode": state["mode"],
            "outputs": frozenset(number for number, on in state["outputs"].items() if on),
            "aspects": tuple(state["aspects"].values()),
            "cvs": {number: value for number, value in sorted(state["cvs"].items()) if value},
        }

    def _count(self, before: dict[str, Any], after: dict[str, Any], data: bytes, effects: list[Plain]) -> None:
        cvs = before["cvs"]
        said = {effect[0] for effect in effects}
        kind = "extended" if cvs[29] & 32 else "basic"
        way = "output" if cvs[29] & 64 else "decoder"
        on = any(effect[0] == "output" and effect[2] for effect in effects)
        for name, holds in (
            (f"{kind}, {way} addressing: obeyed", {"output", "aspect"} & said and data[0] != 191),
            (f"{kind} broadcast", {"output", "aspect"} & said and data[0] == 191),
            ("on-time set", on and any(cvs[number] for number in range(3, 7))),
            (f"{kind} CV access, {way} addressing", after["mode"] == "operations" and "answer_operations" in said),
            ("legacy CV access", "cv_written" in said and len(data) == 5 and 128 <= data[0] <= 191),
            ("service: direct mode acknowledged", "acknowledge" in said and len(data) == 4),
            ("service: CV number from 513", "acknowledge" in said and len(data) == 4 and data[0] & 3 == 2),
            (
                "service: register acknowledged",
                "acknowledge" in said and len(data) == 3 and "factory_reset" not in said,
            ),
            ("service: factory reset", "factory_reset" in said),
        ):
            self.seen[name] += bool(holds)


def sound(*parts: int) -> bytes:
    """A packet with its error detection byte."""
    return with_error_byte(bytes(parts))
