"""The C decoder beside the Python model: the same packets and times to both, and what shows of each."""

from __future__ import annotations

import ctypes
import functools
import random
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import attrs

from halfbit.decoder import (
    AccessoryDecoder,
    Acknowledgement,
    AnalogSet,
    Answer,
    AspectChanged,
    BinaryStateSet,
    CvWritten,
    Effect,
    FunctionChanged,
    MultiFunctionDecoder,
    OutputChanged,
)
from halfbit.decoder.cv import INDEXED, OLDER
from halfbit.decoder import momentum
from halfbit.event import Packet
from halfbit.instruction import Context
from halfbit.simulate.signal import with_error_byte

from .support_build import C, STRICT, ZIG, build
from .support_motion import ModelMotion, motion

__all__ = ["CVS", "Pair", "Port", "SOURCES", "bodies", "steps"]

SOURCES = tuple(C / f"{name}.c" for name in ("decoder", "multi_function", "instruction_size", "accessory", "motor"))
HERE = Path(__file__).parent
CVS = 1024
MS = 1_000_000
MODES = [Context.OPERATIONS, Context.SERVICE, Context.LEFT]
CONFIGURATION = 0x02


@functools.cache
def library() -> ctypes.CDLL:
    """The decoder with its log, undefined behaviour trapped."""
    flags = (*STRICT, f"-DHALFBIT_CVS={CVS}", "-O1", "-shared", "-fPIC", "-fsanitize=undefined", "-fsanitize-trap=undefined")
    loaded = ctypes.CDLL(str(build(ZIG, flags, (*SOURCES, HERE / "decoder_steps.c"), suffix=".so")))
    loaded.world_motion.restype = ctypes.c_uint8
    loaded.world_cvs.restype = ctypes.POINTER(ctypes.c_uint8)
    return loaded


class Port:
    """The C decoder."""

    def __init__(self, accessory: bool, now: int = 2**32 - 100_000) -> None:
        self._lib = library()
        self._world = ctypes.create_string_buffer(self._lib.world_size())
        self._out = ctypes.create_string_buffer(8192)
        self._start = now  # the counter wraps on the way
        self._lib.world_init(self._world, int(accessory), ctypes.c_uint32(now))
        self._cvs = self._lib.world_cvs(self._world)

    def cvs(self) -> bytes:
        """All of them, CV 1 first."""
        return ctypes.string_at(self._cvs, CVS)

    def pages(self) -> dict[tuple[int, int, int], int]:
        """The indexed CVs that were written: (CV 31, CV 32, number) to value."""
        keys, values = (ctypes.c_uint32 * 512)(), (ctypes.c_uint8 * 512)()
        count = self._lib.world_pages(self._world, keys, values)
        return {(k >> 16, k >> 8 & 255, 257 + (k & 255)): v for k, v in zip(keys[:count], values[:count])}

    def set(self, cv: int, value: int) -> None:
        """As it was saved before power came on."""
        self._cvs[cv - 1] = value

    def take(self, data: bytes, ms: int) -> None:
        """A packet."""
        self._lib.world_take(self._world, data, len(data), ctypes.c_uint32(self._start + ms))

    def tick(self, ms: int) -> None:
        """Time passes."""
        self._lib.world_tick(self._world, ctypes.c_uint32(self._start + ms))

    def motion(self, ms: int) -> int:
        """The drive level with momentum; time passes for it."""
        level: int = self._lib.world_motion(self._world, ctypes.c_uint32(self._start + ms))
        return level

    def shown(self) -> tuple[tuple[int, ...], frozenset[int], list[tuple[str, int, int, int]]]:
        """State, functions, and what it did in the last step."""
        self._lib.world_state(self._world, self._out)
        raw = self._out.raw
        functions = int.from_bytes(raw[18:27], "little")
        length = int.from_bytes(raw[27:29], "little")
        log = raw[29 : 29 + length]
        done = [(chr(log[i]), log[i + 1] | log[i + 2] << 8, log[i + 3], log[i + 4]) for i in range(0, length, 5)]
        return tuple(raw[:18]), frozenset(n for n in range(69) if functions >> n & 1), done


@attrs.define
class Pair:
    """Both, from the same CVs."""

    accessory: bool
    values: dict[int, int]
    port: Port = attrs.field(init=False)
    model: MultiFunctionDecoder | AccessoryDecoder = attrs.field(init=False)
    ms: int = 0
    motion: Any = attrs.field(factory=lambda: motion.Motion())
    #: How often each kind of effect came.
    seen: dict[str, int] = attrs.field(factory=dict)

    def __attrs_post_init__(self) -> None:
        self.port = Port(self.accessory)
        if self.accessory:
            self.model = AccessoryDecoder(self.values)
        else:
            self.model = MultiFunctionDecoder({29: CONFIGURATION, **self.values}, defaults={29: CONFIGURATION})
        for cv, value in self.values.items():
            self.port.set(cv, value)
        if not self.accessory:
            self.port.motion(0)  # as a board's loop does before the first packet; the counter does not start at 0

    def step(self, body: bytes | None, after: int, *, spoiled: bool = False) -> None:
        """Both take a packet, or only time passes if ``body`` is None, ``after`` ms later. They must show the same.

        :raises AssertionError: with all that led there, if it is not.
        """
        self.ms += after
        now = self.ms * MS
        effects: list[Effect] = []
        if body is None:
            effects += self.model.tick(now)
            self.port.tick(self.ms)
        else:
            data = with_error_byte(body)
            if spoiled:
                data = bytes((*data[:-1], data[-1] ^ 1))
            effects += self.model.feed(Packet(data, end=now))
            self.port.take(data, self.ms)
        state, functions, done = self.port.shown()
        model = self.model
        acts = {"K": [], "A": [], "B": [], "N": []}  # type: dict[str, list[tuple[int, int, int]]]
        for effect in effects:
            self.seen[type(effect).__name__] = self.seen.get(type(effect).__name__, 0) + 1
            if isinstance(effect, CvWritten) and effect.cv in INDEXED:
                self.seen["indexed"] = self.seen.get("indexed", 0) + 1
            if isinstance(effect, Acknowledgement):
                acts["K"].append((0, 0, 0))
            elif isinstance(effect, Answer):
                acts["A"].append((effect.cv, effect.value, 0))
            elif isinstance(effect, BinaryStateSet):
                acts["B"].append((effect.number, effect.on, effect.long))
            elif isinstance(effect, AnalogSet):
                acts["N"].append((effect.output, effect.value, 0))
        context = (body.hex() if body else None, self.ms, self.values)
        for kind, expected in acts.items():
            got = [rest for (name, *rest) in done if name == kind]
            assert got == [list(one) for one in expected], (context, kind, got, expected)
        cvs, expected_cvs = bytearray(self.port.cvs()), bytearray(CVS)
        for cv in (cv + 512 for cv in OLDER) if self.accessory else INDEXED:
            cvs[cv - 1] = 0  # the model has these elsewhere
        for cv, value in model.cvs.state().values.items():
            expected_cvs[cv - 1] = value
        assert cvs == expected_cvs, (context, effects)
        assert MODES[state[0]] is model.mode, (context, state, model.mode)
        if isinstance(model, AccessoryDecoder):
            assert {n for n in range(8) if state[13] >> n & 1} == set(model.outputs), (context, effects)
            assert state[14:18] == model.aspects, (context, effects)
            changes = {(e.output, int(e.on)) for e in effects if isinstance(e, OutputChanged)}
            changes |= {(100 + e.head, e.aspect) for e in effects if isinstance(e, AspectChanged)}
            assert {(n + 100 * (k == "H"), v) for k, n, v, _ in done if k in "OH"} >= changes, context
            return
        speed, shown = model.speed, model.state()
        written = {key: value for key, value in shown.cvs.indexed.items() if value}
        assert {key: value for key, value in self.port.pages().items() if value} == written, (context, effects)
        expected_state = (shown.page, speed.step, speed.steps, speed.emergency, model.forward)
        assert state[1:6] == expected_state, (context, state, expected_state, effects)
        restriction = shown.vehicle.restriction
        assert state[6:8] == (restriction is not None, restriction or 0), (context, state)
        assert functions == shown.vehicle.functions, (context, functions, effects)
        changed = {(e.number, int(e.on)) for e in effects if isinstance(e, FunctionChanged)}
        assert changed <= {(n, v) for k, n, v, _ in done if k == "O"}, context
        assert self.port.motion(self.ms) == self.motion.tick(ModelMotion(model), self.ms), context
        assert state[8] == model.drive_level, (context, state[8], model.drive_level)
        count = speed.steps or (28 if model.cvs[29] & 2 else 14)
        for at, rising in ((9, True), (11, False)):
            ms = momentum(model.cvs.__getitem__, count, rising=rising) / MS
            assert abs((state[at] | state[at + 1] << 8) - ms) <= 0.5, context


def _cv(rng: random.Random) -> int:
    return rng.choice((1, 2, 3, 5, 6, 7, 8, 11, 15, 16, 17, 18, 19, 21, 22, 23, 29, 29, 31, 31, 32, 65, 66, 95, 120, 256, *(257, 300, 512) * 3, 513, 1024))


def _value(rng: random.Random, cv: int) -> int:
    likely = {1: (0, 3, 3, 5, 100, 128), 17: (192, 196, 231, 232), 18: (87, 0), 19: (0, 0, 9, 137), 31: (0, 16, 16, 17, 255), 32: (0, 0, 1), 15: (0, 0, 1), 16: (0, 0, 1),
              29: (0, 2, 2, 3, 6, 18, 34, 34, 35), 11: (0, 1, 2)}  # fmt: skip
    return rng.choice((*likely.get(cv, ()), rng.randrange(256)))


def _long_form(rng: random.Random) -> bytes:
    cv = _cv(rng)
    kind = rng.randrange(4)
    value = _value(rng, cv)
    if kind == 2:
        value = 0xE0 | rng.randrange(32) if rng.random() < 0.9 else value
    return bytes((kind << 2 | (cv - 1) >> 8, (cv - 1) & 255, value))


def _instruction(rng: random.Random) -> bytes:
    pick = rng.random()
    if pick < 0.25:
        long_form = _long_form(rng)
        return bytes((0xE0 | long_form[0], *long_form[1:]))
    if pick < 0.45:
        return rng.choice((bytes((0x3F, rng.randrange(256))), bytes((0x40 | rng.randrange(64),))))
    if pick < 0.65:
        return rng.choice((bytes((0x80 | rng.randrange(64),)), bytes((rng.choice((0xD8, 0xDC, 0xDE, 0xDF)), rng.randrange(256)))))
    if pick < 0.8:
        first = rng.choice((0, 1, 2, 6, 10, 11, 14, 15, 18, 19, 16, 0x3E, 0x3D, 0x3C, 0xC0, 0xC1, 0xC2, 0xDD, 0xF2, 0xF3, 0xF4, 0xF5, 0xF9))
        return bytes((first, *(rng.choice((0, 9, 137, 200, rng.randrange(256))) for _ in range(rng.randrange(5)))))
    return rng.randbytes(rng.randint(1, 4))


def service(rng: random.Random) -> bytes:
    """A packet in the form of service mode."""
    if rng.random() < 0.6:
        long_form = _long_form(rng)
        return bytes((0x70 | long_form[0], *long_form[1:]))
    return bytes((0x70 | rng.randrange(16), rng.choice((1, 1, 8, 17, 64, 65, 75, 128, 0, 5, rng.randrange(256)))))


def bodies(rng: random.Random, accessory: bool) -> bytes:
    """A packet without its error byte, likely one that means something here."""
    pick = rng.random()
    if pick < 0.3:
        return service(rng)
    if pick < 0.4:
        return b"\0\0"
    if accessory:
        first = rng.choice((0x81, 0x81, 0x80, 0xBF, 0x80 | rng.randrange(64)))
        second = rng.choice((0xF0, 0xF8, 0x70, 0x71, 0x01, 0x80, 0x07)) | rng.randrange(16) * rng.randrange(2)
        rest = rng.choice((b"", b"", bytes((rng.randrange(32),)), bytes((0xE0 | (f := _long_form(rng))[0], *f[1:])), _long_form(rng)[1:]))
        return bytes((first, second)) + rest
    address = rng.choice((b"\3", b"\3", b"\3", b"\5", b"\x09", b"\x09", b"\0", b"\xc4\x57", b"\xc4\x57", b"\xc0\0", b"\x64", b"\xff\0", b"\xe8"))
    return address + b"".join(_instruction(rng) for _ in range(rng.choice((1, 1, 1, 2, 2, 3))))


def steps(rng: random.Random, accessory: bool) -> Iterator[tuple[bytes | None, int, bool]]:
    """Packets, repeats, pauses and torn packets without end."""
    recent: list[bytes] = [b"\0\0"]
    while True:
        if rng.random() < 0.08:
            yield None, rng.choice((1, 5, 19, 20, 21, 100, 999, 1000, 2000)), False
            continue
        if not accessory and rng.random() < 0.05:  # an index or an indexed CV, written in operations
            cv = rng.choice((31, 32, 257, 300, 512))
            write = bytes((3, 0xEC | (cv - 1) >> 8, (cv - 1) & 255, _value(rng, cv)))
            for _ in range(2):
                yield write, 8, False
            continue
        if rng.random() < 0.03:  # service mode
            served = service(rng)
            for one in (b"\0\0", served, served):
                yield one, 8, False
            continue
        body = rng.choice(recent[-2:]) if rng.random() < 0.45 else bodies(rng, accessory)
        if len(body) < 2:
            body += b"\0"
        recent = [*recent[-3:], body]
        yield body, rng.choice((5, 5, 7, 8, 10, 19, 20, 30)), rng.random() < 0.03


def run(pair: Pair, moves: Sequence[tuple[bytes | None, int, bool]]) -> None:
    """All moves through both."""
    for body, after, spoiled in moves:
        pair.step(body, after, spoiled=spoiled)
