"""What an invented railway's station has to say: an endless row of packets, with their error bytes."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterator

import attrs

__all__ = ["IDLE", "Engine", "distinct_packets", "layout_packets", "long_address", "with_check"]

#: S-9.2 B: the idle packet.
IDLE = bytes((0xFF, 0x00, 0xFF))


def with_check(body: bytes | list[int]) -> bytes:
    """The bytes and their bitwise exclusive or (S-9.2 A)."""
    check = 0
    for byte in body:
        check ^= byte
    return bytes((*body, check))


def long_address(number: int) -> list[int]:
    """The two bytes of a 14-bit address, 11AAAAAA AAAAAAAA (S-9.2.1 A)."""
    return [0xC0 | number >> 8, number & 255]


@attrs.define
class Engine:
    """An engine as its station knows it."""

    address: list[int]
    steps: int
    speed: int = 0
    forward: bool = True
    #: F0 to F20.
    functions: int = 0

    def speed_packet(self) -> bytes:
        if self.steps == 128:  # S-9.2.1 C: 00111111 DSSSSSSS, steps 1 to 126 are 2 to 127
            return with_check([*self.address, 0x3F, self.forward << 7 | (self.speed + 1 if self.speed else 0)])
        code = self.speed + 3 if self.speed else 0  # S-9.2 B: step = 2 * SSSS - 3 + C
        return with_check([*self.address, 0x40 | self.forward << 5 | (code & 1) << 4 | code >> 1])

    def function_packet(self, group: int) -> bytes:
        """S-9.2.1 C: groups of F0 to F4, F5 to F8, F9 to F12, F13 to F20."""
        bits = self.functions
        if group == 0:
            return with_check([*self.address, 0x80 | (bits & 1) << 4 | bits >> 1 & 15])
        if group == 1:
            return with_check([*self.address, 0xB0 | bits >> 5 & 15])
        if group == 2:
            return with_check([*self.address, 0xA0 | bits >> 9 & 15])
        return with_check([*self.address, 0xDE, bits >> 13 & 255])

    def cv_packet(self, cv: int, value: int) -> bytes:
        """S-9.2.1 C: write byte, long form: 1110 11VV VVVVVVVV DDDDDDDD."""
        return with_check([*self.address, 0xEC | cv - 1 >> 8, cv - 1 & 255, value])


def _engine(rng: random.Random) -> Engine:
    if rng.random() < 0.5:
        address = [rng.randint(1, 99)]
    else:
        address = long_address(rng.randint(100, 9999))
    steps = rng.choice((28, 128, 128))
    return Engine(address, steps, rng.randint(0, steps - 2), rng.random() < 0.5, rng.getrandbits(21))


def _accessory(rng: random.Random) -> list[bytes]:
    """A turnout thrown, or a signal's aspect (S-9.2.1 D)."""
    board = rng.randint(1, 510)
    first, high = 0x80 | board & 63, (~board >> 6 & 7) << 4
    if rng.random() < 0.3:
        return [with_check([first, 1 | high | rng.randint(0, 3) << 1, rng.randint(0, 31)])] * rng.randint(2, 3)
    output = rng.randint(0, 7)
    on, off = (with_check([first, 0x80 | high | active << 3 | output]) for active in (1, 0))
    return [on] * rng.randint(2, 4) + [off] * rng.randint(1, 3)


def _change(engine: Engine, rng: random.Random) -> list[bytes]:
    """Somebody turns a knob or pushes a button: what changed is sent a few times at once."""
    chance = rng.random()
    if chance < 0.6:
        engine.speed = min(max(engine.speed + rng.choice((-3, -2, -1, 1, 2, 3)), 0), engine.steps - 2)
        packet = engine.speed_packet()
    elif chance < 0.7:
        engine.forward = not engine.forward
        packet = engine.speed_packet()
    elif chance < 0.88:
        number = rng.randint(0, 20)
        engine.functions ^= 1 << number
        packet = engine.function_packet(sum(number > last for last in (4, 8, 12)))
    else:
        packet = engine.cv_packet(rng.randint(1, 1024), rng.randint(0, 255))
    return [packet] * rng.randint(2, 4)


def layout_packets(rng: random.Random, engines: int = 6) -> Iterator[bytes]:
    """A layout at work: refreshes that repeat, changes small and frequent, turnouts, a CV now and then, idle packets.

    Packets of 3 to 6 bytes. A packet that has never been seen before comes about every tenth.
    """
    fleet = [_engine(rng) for _ in range(engines)]
    urgent: deque[bytes] = deque()
    refresh = 0
    while True:
        chance = rng.random()
        if chance < 0.10:
            urgent.extend(_change(rng.choice(fleet), rng))
        elif chance < 0.115:
            urgent.extend(_accessory(rng))
        if urgent:
            yield urgent.popleft()
        elif rng.random() < 0.15:
            yield IDLE
        else:
            engine, part = fleet[refresh // 4 % len(fleet)], refresh % 4
            refresh += 1
            yield engine.speed_packet() if part % 2 == 0 else engine.function_packet(refresh // 4 % 4)


def distinct_packets(rng: random.Random) -> Iterator[bytes]:
    """Packets of 3 to 6 random bytes: nothing repeats, so nothing can be guessed from what came before."""
    while True:
        yield with_check([rng.getrandbits(8) for _ in range(rng.randint(2, 5))])
